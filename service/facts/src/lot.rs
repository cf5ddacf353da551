//! What becomes of a bottle: opened, used from, thrown out.

use serde::{Deserialize, Serialize};

use crate::{CureId, Invalid, LotId};

/// How much of something, in the unit it is sold in; volume and weight are not turned into each other.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Amount {
    /// Volume, mL.
    Ml(f64),
    /// Mass, g.
    G(f64),
}

impl Amount {
    /// The number, in its own unit.
    pub fn get(self) -> f64 {
        match self {
            Self::Ml(amount) | Self::G(amount) => amount,
        }
    }

    /// Its unit.
    pub fn unit(self) -> &'static str {
        match self {
            Self::Ml(_) => "ml",
            Self::G(_) => "g",
        }
    }

    /// Another number in the same unit.
    #[must_use]
    pub fn of(self, amount: f64) -> Self {
        match self {
            Self::Ml(_) => Self::Ml(amount),
            Self::G(_) => Self::G(amount),
        }
    }

    /// Checks an amount, `least` to 100 L or 100 kg.
    ///
    /// # Errors
    /// Names the field and the range.
    pub fn check(self, what: &str, least: f64) -> Result<Self, Invalid> {
        let unit = if self.unit() == "ml" { "mL" } else { "g" };
        let mend = "write {\"ml\": 250} or {\"g\": 250}";
        crate::within(what, self.get(), least, 100_000.0, unit, mend).map(|amount| self.of(amount))
    }
}

/// Something was taken from a bottle.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LotUsed {
    /// The bottle.
    pub lot: LotId,
    /// The glue-up or coat it was for, if it was for one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cure: Option<CureId>,
    /// How much.
    pub amount: Amount,
}

/// A bottle left the shelf.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LotClosed {
    /// The bottle.
    pub lot: LotId,
    /// What was thrown out with it; nothing of one used up, none where nobody said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub left: Option<Amount>,
    /// Why, in the luthier's words.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub reason: String,
}
