//! Units as the shop reads them. Inside and over HTTP everything is SI; only pages and sentences are in these.

use serde::{Deserialize, Serialize};

/// In what temperatures are shown.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
pub enum TempUnit {
    /// Degrees Celsius.
    #[default]
    C,
    /// Degrees Fahrenheit.
    F,
}

/// In what lengths are shown.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "lowercase")]
pub enum LengthUnit {
    /// Millimetres.
    #[default]
    Mm,
    /// Inches, in thousandths.
    In,
}

impl TempUnit {
    /// A temperature in this unit: °F is °C · 9/5 + 32 (ISO 80000-5 with the definition of the degree Fahrenheit).
    pub(crate) fn of(self, temp_c: f64) -> f64 {
        match self {
            Self::C => temp_c,
            Self::F => temp_c * 9.0 / 5.0 + 32.0,
        }
    }

    /// The temperature somebody means who writes this number in this unit, °C.
    pub(crate) fn celsius(self, shown: f64) -> f64 {
        match self {
            Self::C => shown,
            Self::F => (shown - 32.0) * 5.0 / 9.0,
        }
    }

    /// A difference of temperatures in this unit.
    pub(crate) fn of_difference(self, k: f64) -> f64 {
        match self {
            Self::C => k,
            Self::F => k * 9.0 / 5.0,
        }
    }

    /// Its sign.
    pub(crate) fn sign(self) -> &'static str {
        match self {
            Self::C => "°C",
            Self::F => "°F",
        }
    }

    /// A temperature as it is written: "20.4 °C".
    pub(crate) fn text(self, temp_c: f64) -> String {
        format!("{:.1} {}", self.of(temp_c), self.sign())
    }
}

impl LengthUnit {
    /// In what a film or a gap is said, and how many µm that is (25.4 mm to the inch, exact).
    pub(crate) fn thin(self) -> (&'static str, f64) {
        match self {
            Self::Mm => ("µm", 1.0),
            Self::In => ("thousandths of an inch", 25.4),
        }
    }

    /// A length in this unit.
    pub(crate) fn of(self, mm: f64) -> f64 {
        match self {
            Self::Mm => mm,
            Self::In => mm / 25.4,
        }
    }

    /// Its sign.
    pub(crate) fn sign(self) -> &'static str {
        match self {
            Self::Mm => "mm",
            Self::In => "in",
        }
    }

    /// A length in this unit without its sign, to the same places.
    pub(crate) fn bare(self, mm: f64) -> String {
        match self {
            Self::Mm => format!("{:.2}", self.of(mm)),
            Self::In => format!("{:.3}", self.of(mm)),
        }
    }

    /// A length as it is written: "0.10 mm" or "0.004 in" (25.4 mm to the inch, exact).
    pub(crate) fn text(self, mm: f64) -> String {
        format!("{} {}", self.bare(mm), self.sign())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fixed points: ice and steam, and where the two scales meet. Inches: 0.427 in is 10.8 mm.
    #[test]
    fn units_meet_at_their_fixed_points() {
        for (c, f) in [(0.0, 32.0), (100.0, 212.0), (-40.0, -40.0)] {
            assert!((TempUnit::F.of(c) - f).abs() < 1e-9, "{c} °C");
            assert!((TempUnit::F.celsius(f) - c).abs() < 1e-9, "{f} °F");
        }
        assert_eq!(TempUnit::F.text(20.0), "68.0 °F");
        assert_eq!(TempUnit::C.text(20.44), "20.4 °C");
        assert_eq!(LengthUnit::In.text(10.8458), "0.427 in");
        assert_eq!(LengthUnit::Mm.text(0.1), "0.10 mm");
    }
}
