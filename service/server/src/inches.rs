//! Lengths as people send them: millimetres, inches (also as fractions, "25 1/2"), thousandths. What is kept is in
//! millimetres, exact.

use facts::Invalid;
use physics::strings::{mm_from_inches, mm_from_thousandths};
use serde::Deserialize;

use crate::problem::{Kind, Problem};

/// Inches as a number, or as text with a fraction.
#[derive(Debug, Clone, PartialEq, Deserialize, utoipa::ToSchema)]
#[serde(untagged)]
pub(crate) enum Inches {
    /// 25.5
    Number(f64),
    /// "25 1/2", "7/16", "25.5"
    Text(String),
}

impl Inches {
    /// The number; none where the text is none.
    fn get(&self) -> Option<f64> {
        let text = match self {
            Self::Number(inches) => return Some(*inches),
            Self::Text(text) => text.trim(),
        };
        let part = |part: &str| match part.split_once('/') {
            Some((over, under)) => {
                let (over, under) = (over.parse::<u32>().ok()?, under.parse::<u32>().ok()?);
                (under > 0).then(|| f64::from(over) / f64::from(under))
            }
            None => part.parse::<f64>().ok(),
        };
        text.split_whitespace().map(part).sum()
    }

    /// In millimetres.
    ///
    /// # Errors
    /// A text that is no length, or a length out of range; names the field.
    pub(crate) fn mm(&self, field: &str) -> Result<f64, Problem> {
        let unread = || {
            let mend = "write 25.5, \"25 1/2\" or \"7/16\"";
            Problem::new(Kind::Invalid, format!("{field} is no length in inches"), mend).about(field)
        };
        let inches = self.get().ok_or_else(unread)?;
        mm_from_inches(inches).map_err(|e| Problem::new(Kind::Invalid, e.to_string(), "send it in inches").about(field))
    }
}

/// A gauge in whichever unit it was sent.
#[derive(Debug, Clone, Default, Deserialize, utoipa::ToSchema)]
pub(crate) struct Gauge {
    pub(crate) gauge_mm: Option<f64>,
    pub(crate) gauge_in: Option<Inches>,
    pub(crate) gauge_thou: Option<f64>,
}

impl Gauge {
    /// In millimetres, if one was sent.
    ///
    /// # Errors
    /// Two units at once, or a number that is likely in another unit: then the answer asks.
    pub(crate) fn mm(&self) -> Result<Option<f64>, Problem> {
        let field = match (self.gauge_mm, &self.gauge_in, self.gauge_thou) {
            (None, None, None) => return Ok(None),
            (Some(mm), None, None) => return Ok(Some(facts::gauge(mm)?)),
            (None, Some(_), None) => "gauge_in",
            (None, None, Some(_)) => "gauge_thou",
            _ => {
                let mend = "send one of gauge_mm, gauge_in, gauge_thou";
                return Err(Problem::new(Kind::Invalid, "a gauge is given in two units", mend).about("gauge_mm"));
            }
        };
        let (mm, given) = match (&self.gauge_in, self.gauge_thou) {
            (Some(inches), _) => (inches.mm(field)?, inches.get().unwrap_or_default()),
            (None, thou) => {
                let thou = thou.unwrap_or_default();
                let read = mm_from_thousandths(thou);
                (read.map_err(|e| Problem::new(Kind::Invalid, e.to_string(), "send thousandths").about(field))?, thou)
            }
        };
        facts::gauge(mm).map(Some).map_err(|invalid| other_unit(field, given, &invalid).about(field))
    }
}

/// A gauge that cannot be, with the unit it may have been in.
fn other_unit(field: &str, given: f64, invalid: &Invalid) -> Problem {
    let other = [("gauge_mm", 1.0), ("gauge_in", 25.4), ("gauge_thou", 0.0254)];
    let fits = other.into_iter().find(|(unit, mm)| *unit != field && facts::gauge(given * mm).is_ok());
    let mend = fits.map_or_else(
        || invalid.mend.clone(),
        |(unit, mm)| format!("did you mean {unit} {given} ({:.3} mm)?", given * mm),
    );
    Problem::new(Kind::Invalid, format!("{field} is {given}: {invalid}"), mend)
}

/// A scale length in millimetres or inches, if one was sent.
///
/// # Errors
/// Both at once, or a length no instrument has.
pub(crate) fn scale_mm(scale_mm: Option<f64>, scale_in: Option<&Inches>) -> Result<Option<f64>, Problem> {
    let mm = match (scale_mm, scale_in) {
        (Some(_), Some(_)) => {
            let mend = "send scale_mm or scale_in";
            return Err(Problem::new(Kind::Invalid, "a scale length is given in two units", mend).about("scale_in"));
        }
        (Some(mm), None) => Some(mm),
        (None, None) => None,
        (None, Some(inches)) => {
            let mm = inches.mm("scale_in")?;
            // What is far too long in inches is a length in millimetres.
            if let (Err(invalid), Some(given)) =
                (facts::scale(mm), inches.get().filter(|given| facts::scale(*given).is_ok()))
            {
                let mend = format!("did you mean millimetres? then send scale_mm {given}");
                let detail = format!("scale_in is {given}: {invalid}");
                return Err(Problem::new(Kind::Invalid, detail, mend).about("scale_in"));
            }
            Some(mm)
        }
    };
    Ok(mm.map(facts::scale).transpose()?)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn inches_are_read_as_numbers_and_as_fractions() {
        for (text, mm) in [("25 1/2", 647.7), ("7/16", 11.1125), ("1/2", 12.7), ("0.427", 10.8458), ("24.75", 628.65)] {
            let read = Inches::Text(text.into()).mm("x").unwrap_or_else(|e| panic!("{text}: {e}"));
            assert!((read - mm).abs() < 1e-12, "{text}: {read}");
        }
        for text in ["", "x", "1/0", "1/2/3", "-4", "25 1/x", "inf"] {
            let read = Inches::Text(text.into());
            assert!(read.mm("x").is_err() || text.is_empty(), "{text}");
        }
    }

    #[test]
    fn a_gauge_in_another_unit_is_asked_about() {
        let asks = |gauge: Gauge| gauge.mm().expect_err("no gauge").mend;
        let thou = |thou| Gauge { gauge_thou: Some(thou), ..Gauge::default() };
        let inch = |inches| Gauge { gauge_in: Some(Inches::Number(inches)), ..Gauge::default() };
        assert!(asks(thou(0.012)).contains("gauge_in 0.012 (0.305 mm)"));
        assert!(asks(thou(0.3)).contains("gauge_mm 0.3"));
        assert!(asks(inch(12.0)).contains("gauge_thou 12 (0.305 mm)"));
        assert!(asks(inch(0.3)).contains("gauge_mm 0.3"));
        assert_eq!(thou(12.0).mm().expect("a twelve"), Some(0.3048));
    }
}
