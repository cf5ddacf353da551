//! What a load-bearing glue-up needs before strings, taken from a rule once, when the glue-up begins: the curve of its
//! strength by a few points, and its least wait.

use facts::{Bearing, JointState, Meets, TargetAge};

use crate::{Fault, Rule};

/// The stage that says the least wait before strings. It is no milestone of its own, because a joint alone does not say
/// that an instrument may be strung: the service tells that when everything else holds too.
pub(crate) const STRING_UP: &str = "string_up";
/// Ages at which the strength is asked, closer together while it is young.
const ASKED: i32 = 48;
/// How far the points kept may be off the strength asked: half a percent is less than any rule knows.
const OFF: f64 = 0.005;

/// Takes the least wait out of the milestones: its own stage if the rule names one, else full strength, else the last
/// that opens something.
pub(crate) fn least_wait(milestones: &mut Vec<TargetAge>) -> Option<TargetAge> {
    if let Some(place) = milestones.iter().position(|m| m.stage == STRING_UP) {
        return Some(milestones.remove(place));
    }
    let full = milestones.iter().find(|m| m.stage == "full_strength");
    full.or_else(|| milestones.iter().rfind(|m| m.meets == Meets::Opens)).cloned()
}

impl Rule {
    /// What this joint needs before strings; none for a rule without a strength.
    pub(crate) fn bearing(
        &self,
        joint: &JointState,
        milestones: &[TargetAge],
        least: Option<TargetAge>,
    ) -> Result<Option<Bearing>, Fault> {
        let Some(least) = least else { return Ok(None) };
        let last_h = milestones.iter().map(|m| m.likely_h).fold(least.likely_h, f64::max);
        let grid = (1..=ASKED).map(|i| last_h * (f64::from(i) / f64::from(ASKED)).powi(2));
        let mut asked = Vec::new();
        for age_h in milestones.iter().map(|m| m.likely_h).chain([0.0]).chain(grid) {
            let Some(share) = self.strength(age_h, joint)? else { return Ok(None) };
            asked.push(((age_h * 1e4).round() / 1e4, (share * 1e3).floor() / 1e3));
        }
        asked.sort_by(|a, b| a.0.total_cmp(&b.0));
        asked.dedup_by(|a, b| a.0 == b.0);
        // A strength that falls again is credited with what it falls to.
        for i in (1..asked.len()).rev() {
            asked[i - 1].1 = asked[i - 1].1.min(asked[i].1);
        }
        Ok(Some(Bearing { strength: few(&asked), least, creep_hold_h: self.sheet.creep_hold_h }))
    }
}

/// As few of the points as keep the line within [`OFF`] of all of them (Ramer, Douglas and Peucker).
fn few(points: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let (Some(&first), Some(&last)) = (points.first(), points.last()) else { return Vec::new() };
    let on_line = |x: f64| first.1 + (last.1 - first.1) * (x - first.0) / (last.0 - first.0);
    let off = |i: &usize| (points[*i].1 - on_line(points[*i].0)).abs();
    let worst = (1..points.len() - 1).max_by(|a, b| off(a).total_cmp(&off(b)));
    match worst.filter(|i| off(i) > OFF) {
        Some(worst) => {
            let mut kept = few(&points[..=worst]);
            kept.extend(few(&points[worst..]).into_iter().skip(1));
            kept
        }
        None if points.len() == 1 => vec![first],
        None => vec![first, last],
    }
}
