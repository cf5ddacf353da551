//! Retarder: how much damper the air may be for a finish that blushes, by how much of it went in.

use facts::{Bound, Limit};

use crate::Air;

/// Retarder that does all it can, parts to one of finish by volume; less does its share. Common practice, no source.
const FULL_PARTS: f64 = 0.1;
/// The limit that it lifts.
const BLUSH: &str = "blush";

/// What retarder in a finish does to the damp it stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Retarder {
    /// Relative humidity above which the finish blushes without it, %.
    blushes_rh_pct: f64,
    /// Relative humidity up to which it does not with it, %.
    up_to_rh_pct: f64,
}

impl Retarder {
    /// So many parts of retarder in a finish of these limits, which a tenth keeps from blushing up to `up_to_rh_pct`; none
    /// where damp is not among its limits.
    pub fn new(limits: &[Limit], up_to_rh_pct: f64, parts: f64) -> Option<Self> {
        let blushes_rh_pct = limits.iter().find_map(blushes)?;
        let share = (parts / FULL_PARTS).clamp(0.0, 1.0);
        let lifted_pct = (up_to_rh_pct - blushes_rh_pct).max(0.0) * share;
        Some(Self { blushes_rh_pct, up_to_rh_pct: blushes_rh_pct + lifted_pct })
    }

    /// The same, as much as helps.
    pub fn full(limits: &[Limit], up_to_rh_pct: f64) -> Option<Self> {
        Self::new(limits, up_to_rh_pct, FULL_PARTS)
    }

    /// The limits with it in.
    pub fn limits(&self, limits: &[Limit]) -> Vec<Limit> {
        let lifted = |limit: &Limit| match blushes(limit) {
            Some(_) => Limit { bound: Bound::AboveRhPct(self.up_to_rh_pct), ..limit.clone() },
            None => limit.clone(),
        };
        limits.iter().map(lifted).collect()
    }

    /// The air that is to the finish without retarder what this one is to it with: a rule that is asked about it says no
    /// word of damp that the retarder sees to.
    pub fn air(&self, air: Air) -> Air {
        let lifted_pct = self.up_to_rh_pct - self.blushes_rh_pct;
        let rh_pct = if air.rh_pct > self.blushes_rh_pct {
            (air.rh_pct - lifted_pct).max(self.blushes_rh_pct)
        } else {
            air.rh_pct
        };
        Air { rh_pct, ..air }
    }

    /// Whether a broken limit is one that it lifts, and the air not too damp for that.
    pub(crate) fn helps(&self, limit: &Limit, air: Air) -> bool {
        blushes(limit).is_some() && air.rh_pct <= self.up_to_rh_pct
    }
}

/// Damp above which a film blushes, % RH, if that is what the limit is of.
fn blushes(limit: &Limit) -> Option<f64> {
    match limit.bound {
        Bound::AboveRhPct(most) if limit.name == BLUSH => Some(most),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_little_lifts_a_little_and_more_than_a_tenth_no_further() {
        let limit = |name: &str, most| Limit {
            name: name.into(),
            bound: Bound::AboveRhPct(most),
            until_h: 0.25,
            says: String::new(),
        };
        let limits = [limit("blush", 65.0), limit("mould", 90.0)];
        for (parts, up_to_rh_pct) in [(0.0, 65.0), (0.001, 65.1), (0.05, 70.0), (0.1, 75.0), (1.0, 75.0)] {
            let retarder = Retarder::new(&limits, 75.0, parts).expect("it blushes");
            assert!((retarder.up_to_rh_pct - up_to_rh_pct).abs() < 1e-9, "{parts}: {retarder:?}");
            assert_eq!(retarder.limits(&limits)[1], limits[1]);
        }
        let full = Retarder::full(&limits, 75.0).expect("it blushes");
        for (rh_pct, as_if_rh_pct) in [(50.0, 50.0), (64.0, 64.0), (70.0, 65.0), (75.0, 65.0), (80.0, 70.0)] {
            assert_eq!(full.air(Air { temp_c: 20.0, rh_pct }).rh_pct, as_if_rh_pct);
        }
        assert_eq!(Retarder::full(&limits[1..], 75.0), None);
    }
}
