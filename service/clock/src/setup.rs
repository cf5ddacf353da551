//! Set-up over the years: when a neck angle will need attention, from dated measurements of action and saddle.

use facts::Family;
use physics::line::{Line, band_80, weighted};

use crate::{Times, string_up::Setup};

/// What a set-up aims at where a saddle stands in a glued bridge, mm. Common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Wanted {
    /// Action that a player is set up for: the lowest string at the twelfth fret.
    pub action_mm: f64,
    /// Saddle that must be left for the strings to bend over it.
    pub least_saddle_mm: f64,
}

/// What a family aims at; that of a steel-string guitar where the family is not known, none where no saddle stands in a
/// glued bridge: there the bridge itself is cut or raised, and its saddle says nothing of the neck.
pub fn wanted(family: Option<Family>) -> Option<Wanted> {
    let action_mm = match family {
        None | Some(Family::SteelStringGuitar | Family::TwelveStringGuitar) => 2.5,
        Some(Family::ClassicalGuitar) => 4.0,
        Some(Family::Ukulele) => 2.8,
        Some(_) => return None,
    };
    Some(Wanted { action_mm, least_saddle_mm: 2.5 })
}

/// Years after which a neck angle wants attention by construction. Common practice, no source: 15 to 20 for some
/// constructions, 25 to 30 for others.
pub const USUAL_YEARS: (f64, f64) = (15.0, 30.0);
const YEAR_MS: f64 = 365.25 * 86_400_000.0;
/// How far ahead a line is followed, years: further it is not to be trusted.
const LONGEST_Y: f64 = 60.0;
/// Lowering a string at the twelfth fret takes twice as much off the saddle.
const SADDLE_PER_ACTION: f64 = 2.0;

/// Saddle to spare at an instant: what would be left above the least after the action was brought to what is wanted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spare {
    /// When, ms.
    pub at_ms: i64,
    /// mm; below 0 the neck angle is due.
    pub spare_mm: f64,
    /// How far off it may be, mm.
    pub sigma_mm: f64,
}

/// A forecast of the neck angle.
#[derive(Debug, Clone, PartialEq)]
pub struct NeckAngle {
    /// What it rests on.
    pub spares: Vec<Spare>,
    /// Change of the spare saddle, mm a year; negative where it goes.
    pub mm_a_year: f64,
    /// Half width of the band that holds 80 % of that, mm a year.
    pub mm_a_year_band: f64,
    /// When none is left: the first edge of the band, the line, the last edge; none where that is more than 60 years on.
    pub due: Times<i64>,
}

/// Saddle to spare at each set-up that measured both.
pub fn spares(setups: &[Setup], wanted: Wanted) -> Vec<Spare> {
    let spare = |setup: &Setup| {
        let over_mm = setup.measured.action_mm? - wanted.action_mm;
        let spare_mm = setup.measured.saddle_mm? - wanted.least_saddle_mm - SADDLE_PER_ACTION * over_mm;
        let sigma_mm = setup.measured.sigma_mm * (1.0 + SADDLE_PER_ACTION * SADDLE_PER_ACTION).sqrt();
        Some(Spare { at_ms: setup.at_ms, spare_mm, sigma_mm })
    };
    setups.iter().filter_map(spare).collect()
}

/// The neck angle from at least three set-ups on different days that measured action and saddle; none with fewer.
pub fn neck_angle(setups: &[Setup], wanted: Wanted) -> Option<NeckAngle> {
    let spares = spares(setups, wanted);
    let first_ms = spares.first()?.at_ms;
    let year = |at_ms: i64| (at_ms - first_ms) as f64 / YEAR_MS;
    let points: Vec<_> = spares.iter().map(|spare| (year(spare.at_ms), spare.spare_mm, spare.sigma_mm)).collect();
    let mut days: Vec<i64> = spares.iter().map(|spare| spare.at_ms.div_euclid(86_400_000)).collect();
    days.dedup();
    if days.len() < 3 {
        return None;
    }
    let line = weighted(&points).ok()?;
    let band = band_80(line.n_free);
    let last = year(spares.last()?.at_ms);
    let due = [-1.0, 0.0, 1.0].map(|edge| crossing(&line, edge * band, last));
    let at_ms = |years: f64| first_ms + (years * YEAR_MS) as i64;
    Some(NeckAngle {
        spares,
        mm_a_year: line.slope,
        mm_a_year_band: band * line.se_slope,
        due: Times { earliest: due[0].map(at_ms), likely: due[1].map(at_ms), safe: due[2].map(at_ms) },
    })
}

/// The first month from the last measurement on at which an edge of the line's band is at or below nothing, years.
fn crossing(line: &Line, errors: f64, last: f64) -> Option<f64> {
    let below = |years: &f64| {
        let (spare_mm, se_mm) = line.at(*years);
        spare_mm + errors * se_mm <= 0.0
    };
    (0..=(LONGEST_Y * 12.0) as i32).map(|month| last + f64::from(month) / 12.0).find(below)
}
