//! The air at one instant, and the law by which a material cures in it.

use std::sync::Arc;

use facts::{RhPct, TempC};

/// Air: temperature in °C and relative humidity in % over water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Air {
    /// Temperature, °C.
    pub temp_c: f64,
    /// Relative humidity, %.
    pub rh_pct: f64,
}

impl Air {
    /// Checked quantities as plain numbers.
    pub fn new(temp_c: TempC, rh_pct: RhPct) -> Self {
        Self { temp_c: temp_c.get(), rh_pct: rh_pct.get() }
    }

    /// The air a part of the way from `self` to `to`; linear, because readings are minutes apart.
    pub(crate) fn towards(self, to: Self, part: f64) -> Self {
        Self {
            temp_c: self.temp_c + (to.temp_c - self.temp_c) * part,
            rh_pct: self.rh_pct + (to.rh_pct - self.rh_pct) * part,
        }
    }

    /// The nearest air that can exist in a workshop: the edge of a forecast band may step outside it.
    pub(crate) fn held_physical(self) -> Self {
        Self { temp_c: self.temp_c.clamp(TempC::RANGE.0, TempC::RANGE.1), rh_pct: self.rh_pct.clamp(1.0, 100.0) }
    }
}

/// How fast a material cures in this air, 1 at its reference condition, never negative. Shared by all clocks of a
/// rule version; must be cheap, since the integrator asks it for every reading.
pub type Law = Arc<dyn Fn(Air) -> f64 + Send + Sync>;

/// The seam to the rules: the law of one version of a rule, in one of its modes.
pub trait Laws: Send + Sync {
    /// Finds the law.
    ///
    /// # Errors
    /// A sentence for the luthier when that version is not known or no longer compiles.
    fn law(&self, version: &facts::VersionId, mode: &str) -> Result<Law, String>;
}
