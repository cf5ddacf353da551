//! What `fitted()` adds to a rule: the sheet's numbers stand as they were, and what was fitted at the bench and accepted
//! stands beside them. `expected()` is held against the sheet alone.

use std::collections::BTreeMap;

use clock::Air;
use facts::TargetAge;
use serde::Deserialize;

use crate::contract::ReferenceAir;

/// What `fitted()` says.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Fitted {
    /// By stage.
    #[serde(default)]
    pub(crate) stages: BTreeMap<String, FittedStage>,
    /// How many times faster per 10 K than the sheet's rate says.
    #[serde(default = "one")]
    pub(crate) per_10_k: f64,
}

/// What was fitted of one stage.
#[derive(Debug, Clone, Copy, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct FittedStage {
    /// How many times the sheet's hours it takes.
    pub(crate) times: f64,
    /// Its spread, in place of the sheet's.
    #[serde(default)]
    pub(crate) spread: Option<(f64, f64)>,
}

fn one() -> f64 {
    1.0
}

/// Further from its sheet than this no material is; somebody measured something else.
pub(crate) const TIMES: std::ops::RangeInclusive<f64> = 0.05..=20.0;
/// The same of the temperature response.
pub(crate) const PER_10_K: std::ops::RangeInclusive<f64> = 0.2..=5.0;

impl Fitted {
    /// Whether its numbers can be.
    pub(crate) fn check(&self, stages: &[TargetAge]) -> Result<(), String> {
        if !PER_10_K.contains(&self.per_10_k) {
            return Err(format!("fitted(): per_10_k is {}; it must be 0.2 to 5", self.per_10_k));
        }
        for (stage, fitted) in &self.stages {
            if !stages.iter().any(|target| target.stage == *stage) {
                return Err(format!("fitted(): there is no stage \"{stage}\""));
            }
            if !TIMES.contains(&fitted.times) {
                return Err(format!(
                    "fitted(): \"{stage}\" takes {} times the sheet's hours; 0.05 to 20",
                    fitted.times
                ));
            }
            let fits = |(low, high): (f64, f64)| (0.05..=1.0).contains(&low) && (1.0..=20.0).contains(&high);
            if !fitted.spread.is_none_or(fits) {
                return Err(format!("fitted(): the spread of \"{stage}\" must be [0.05 to 1, 1 to 20]"));
            }
        }
        Ok(())
    }

    /// What the rate is multiplied by in an air.
    pub(crate) fn warmth(&self, air: Air, reference: &ReferenceAir) -> f64 {
        self.per_10_k.powf((air.temp_c - reference.temp_c) / 10.0)
    }

    /// The target age as it was fitted. No fit shortens a floor.
    pub(crate) fn target(&self, target: TargetAge) -> TargetAge {
        let Some(fitted) = self.stages.get(&target.stage) else { return target };
        let likely_h = target.likely_h * fitted.times;
        let (low, high) = fitted.spread.unwrap_or_else(|| {
            let of = |h: f64| if target.likely_h > 0.0 { h / target.likely_h } else { 1.0 };
            (of(target.earliest_h), of(target.safe_h))
        });
        TargetAge { earliest_h: likely_h * low, likely_h, safe_h: likely_h * high, ..target }
    }

    /// How many times the sheet's age a strength takes: as fitted for full strength, else as for the slowest stage fitted,
    /// and then never quicker than the sheet.
    pub(crate) fn slower(&self) -> f64 {
        match self.stages.get("full_strength") {
            Some(full) => full.times,
            None => self.stages.values().map(|stage| stage.times).fold(1.0, f64::max),
        }
    }
}
