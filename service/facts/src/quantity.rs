//! Quantities checked at the door: what is stored has passed here once and is plain numbers inside.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::{SensorId, ZoneId};

/// Something given that cannot be: what, what was given, what is expected, how to mend it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{what} is {given}; expected {expected}")]
pub struct Invalid {
    /// The field or quantity, as the sender named it.
    pub what: String,
    /// What was given, as text.
    pub given: String,
    /// The valid range or form.
    pub expected: String,
    /// How to mend it.
    pub mend: String,
}

/// A number in `min..=max`, else an [`Invalid`] that names the field and the range.
///
/// # Errors
/// When the number is outside the range, or is not a number.
pub fn within(what: &str, value: f64, min: f64, max: f64, unit: &str, mend: &str) -> Result<f64, Invalid> {
    if (min..=max).contains(&value) {
        return Ok(value);
    }
    Err(Invalid {
        what: what.into(),
        given: format!("{value} {unit}"),
        expected: format!("{min} to {max} {unit}"),
        mend: mend.into(),
    })
}

/// Air temperature of a workshop, -20 to 60 °C: wider than any bench, narrow enough to catch most °F.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct TempC(f64);

impl TempC {
    /// Coldest and warmest temperature accepted, °C. The rate tables of the rules span exactly this.
    pub const RANGE: (f64, f64) = (-20.0, 60.0);

    /// Checks a temperature in °C.
    ///
    /// # Errors
    /// Outside [`TempC::RANGE`]; the message works out what a value in °F would be.
    pub fn new(temp_c: f64) -> Result<Self, Invalid> {
        let as_if_f = (temp_c - 32.0) / 1.8;
        let mend = if (Self::RANGE.0..=Self::RANGE.1).contains(&as_if_f) {
            format!("temperatures are in °C; if this is °F, send {as_if_f:.1}")
        } else {
            "temperatures are in °C; check the sensor".into()
        };
        within("temp_c", temp_c, Self::RANGE.0, Self::RANGE.1, "°C", &mend).map(Self)
    }

    /// The temperature, °C.
    pub fn get(self) -> f64 {
        self.0
    }
}

/// Relative humidity over water, 1 to 100 %. Zero is what a broken sensor says.
#[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
#[serde(try_from = "f64", into = "f64")]
pub struct RhPct(f64);

impl RhPct {
    /// Checks a relative humidity in percent.
    ///
    /// # Errors
    /// Outside 1 to 100 %; a value of 0 to 1 is answered as a likely fraction.
    pub fn new(rh_pct: f64) -> Result<Self, Invalid> {
        let mend = if rh_pct > 0.0 && rh_pct < 1.0 {
            format!("rh_pct is in percent; if this is a fraction, send {:.1}", rh_pct * 100.0)
        } else {
            "rh_pct is relative humidity in percent; a sensor that says 0 or more than 100 needs looking at".into()
        };
        within("rh_pct", rh_pct, 1.0, 100.0, "%", &mend).map(Self)
    }

    /// The relative humidity, %.
    pub fn get(self) -> f64 {
        self.0
    }
}

impl TryFrom<f64> for TempC {
    type Error = Invalid;
    fn try_from(temp_c: f64) -> Result<Self, Invalid> {
        Self::new(temp_c)
    }
}
impl From<TempC> for f64 {
    fn from(temp: TempC) -> f64 {
        temp.0
    }
}
impl TryFrom<f64> for RhPct {
    type Error = Invalid;
    fn try_from(rh_pct: f64) -> Result<Self, Invalid> {
        Self::new(rh_pct)
    }
}
impl From<RhPct> for f64 {
    fn from(rh: RhPct) -> f64 {
        rh.0
    }
}

/// What the air of a zone was at an instant, as it was read: a hygrometer's correction is applied where it is used. A
/// later reading of the same zone, sensor and instant corrects it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Reading {
    /// Where; the zone must have been set up.
    pub zone: ZoneId,
    /// Which sensor of the zone; none when a person read it off, or the zone's only sensor was never named.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sensor: Option<SensorId>,
    /// When the sensor took it, not when it arrived.
    pub at: DateTime<Utc>,
    /// Air temperature.
    pub temp_c: TempC,
    /// Relative humidity.
    pub rh_pct: RhPct,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fahrenheit_is_refused_with_the_value_in_celsius() {
        let refused = TempC::new(72.0).expect_err("72 °C is no bench");
        assert!(refused.mend.contains("22.2"), "{refused:?}");
    }

    #[test]
    fn humidity_of_zero_130_and_not_a_number_is_refused() {
        for rh_pct in [0.0, 130.0, f64::NAN, -3.0] {
            assert!(RhPct::new(rh_pct).is_err(), "{rh_pct} passed");
        }
        assert!(RhPct::new(0.45).expect_err("a fraction").mend.contains("45.0"));
        assert_eq!(RhPct::new(100.0).map(RhPct::get), Ok(100.0));
    }
}
