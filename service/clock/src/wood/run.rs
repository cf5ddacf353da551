//! A plate run through its air three times, at both edges of what is known of its pace and in the middle.

use facts::PlateAdded;
use physics::plate::{EXCHANGE_BAND, Exchange, Sheet, wood_exchange};

use super::{Movement, Target, WHOLE_HOUR_MS, Wood, emc_pct, movement, sheet};
use crate::Air;

/// Slow, likely and quick: factors on both coefficients.
const PACES: [f64; 3] = [1.0 / EXCHANGE_BAND, 1.0, EXCHANGE_BAND];
/// Hours a plate must stay in the band to count as back: a daily swing that touches it is not.
pub(super) const DAY_H: usize = 24;
/// Hours ahead that a warning looks: a week, the time an instrument waits for its turn (common practice, no source).
const WARN_H: usize = 7 * 24;
/// Smallest change worth a warning, % of moisture: tenths of the equilibrium equation are not physical.
const WARN_PCT: f64 = 0.1;
/// Fibre saturation of most woods, %: the pace is not asked above it.
const WETTEST_PCT: f64 = 30.0;
/// Longest time asked for in the shop's own air, hours: a year.
const LONGEST_H: f64 = 366.0 * 24.0;

/// What the run of a plate began from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Start {
    /// A moisture content that somebody said.
    Measured,
    /// Balance with the air of the first zone: nobody said.
    Assumed,
    /// So long ago that it no longer counts.
    Forgotten,
}

/// When something comes, or how long it takes, at the quick edge, in the middle and at the slow edge; none where it does
/// not come in the time looked at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Times<T> {
    /// First.
    pub earliest: Option<T>,
    /// Most likely.
    pub likely: Option<T>,
    /// When all three runs are there: it does no harm to rely on it.
    pub safe: Option<T>,
}

impl<T: PartialOrd + Copy> Times<T> {
    pub(super) fn of(mut times: [Option<T>; 3]) -> Self {
        let never_last = |a: &Option<T>, b: &Option<T>| match (a, b) {
            (Some(a), Some(b)) => a.partial_cmp(b).unwrap_or(std::cmp::Ordering::Equal),
            (a, b) => b.is_some().cmp(&a.is_some()),
        };
        times.sort_by(never_last);
        let [earliest, likely, safe] = times;
        Self { earliest, likely, safe }
    }
}

/// An instrument waits in air that is bad for this plate.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Waiting {
    /// When the plate leaves the shop's band, ms; now where it is outside and goes on.
    pub at_ms: i64,
    /// The most it will have changed within a week, % of moisture; negative where it dries and opens.
    pub change_pct: f64,
    /// What that is across its width, mm; negative where it shrinks.
    pub across_mm: f64,
}

/// A plate with its moisture now and ahead, at each pace.
#[derive(Debug, Clone)]
pub struct Run<'a> {
    /// The plate.
    pub plate: &'a PlateAdded,
    /// What the run began from.
    pub start: Start,
    pub(super) now_ms: i64,
    /// As it is now, at each pace.
    sheets: [Sheet; 3],
    /// Mean moisture content each hour from now on, at each pace.
    pub(super) ahead_pct: [Vec<f64>; 3],
}

impl Wood {
    /// Runs every plate.
    pub fn runs(&self) -> impl Iterator<Item = Run<'_>> {
        (0..self.plates.len()).map(|plate| self.run(plate))
    }

    /// Runs one plate through the air it was in, and on through the air to come.
    pub fn run(&self, plate: usize) -> Run<'_> {
        let begun = &self.plates[plate];
        let first = self.past.partition_point(|felt| felt.to_ms <= begun.from_ms);
        let mut sheets = [(); 3].map(|()| sheet(&begun.plate, begun.moisture_pct));
        for (sheet, pace) in sheets.iter_mut().zip(PACES) {
            for felt in &self.past[first..] {
                advance(sheet, (felt.to_ms - felt.from_ms.max(begun.from_ms)) as f64 / 1000.0, felt.emc_pct, pace);
            }
        }
        let ahead_pct = onward(&sheets, &self.ahead_pct);
        Run { plate: &begun.plate, start: begun.start, now_ms: self.now_ms, sheets, ahead_pct }
    }
}

/// Mean moisture content now and after each hour of the air to come, at each pace.
fn onward(sheets: &[Sheet; 3], ahead_pct: &[f64]) -> [Vec<f64>; 3] {
    [0, 1, 2].map(|pace| {
        let mut sheet = sheets[pace].clone();
        let after = |emc_pct: &f64| {
            advance(&mut sheet, 3600.0, *emc_pct, PACES[pace]);
            sheet.mean_pct()
        };
        [sheets[pace].mean_pct()].into_iter().chain(ahead_pct.iter().map(after)).collect()
    })
}

fn advance(sheet: &mut Sheet, seconds: f64, emc_pct: f64, pace: f64) {
    let exchange = exchange(sheet, pace);
    sheet.advance(seconds, emc_pct, exchange).expect("moisture and coefficients of wood are inside the solver's range");
}

/// The pace of a plate at the moisture it has.
fn exchange(sheet: &Sheet, pace: f64) -> Exchange {
    wood_exchange(sheet.mean_pct().min(WETTEST_PCT)).expect("moisture of wood is never negative").times(pace)
}

impl Run<'_> {
    /// The same plate held in one air from now on.
    pub(crate) fn held_in(&self, air: Air) -> Self {
        let held_pct = vec![emc_pct(air.temp_c, air.rh_pct); self.ahead_pct[0].len() - 1];
        Self { ahead_pct: onward(&self.sheets, &held_pct), ..self.clone() }
    }

    /// Mean moisture content now, %: least, likely and most of the three runs.
    pub fn moisture_pct(&self) -> [f64; 3] {
        let mut now = [0, 1, 2].map(|pace| self.ahead_pct[pace][0]);
        let likely = now[1];
        now.sort_by(f64::total_cmp);
        [now[0], likely, now[2]]
    }

    /// Moisture content of the likely run from the open face inward: depth in mm and %.
    pub fn profile(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        self.sheets[1].profile().map(|(depth_m, moisture_pct)| (1000.0 * depth_m, moisture_pct))
    }

    /// Whether the likely run is in the shop's band now.
    pub fn in_band(&self, target: Target) -> bool {
        inside(target)(self.ahead_pct[1][0])
    }

    /// When the plate has come back to the shop's band and stays in it for a day, in the air of its zone, ms.
    pub fn back(&self, target: Target) -> Times<i64> {
        let inside = inside(target);
        Times::of([0, 1, 2].map(|pace| {
            let ahead = &self.ahead_pct[pace];
            let stays = |h: &usize| ahead[*h..(h + DAY_H).min(ahead.len())].iter().all(|pct| inside(*pct));
            (0..ahead.len()).find(stays).map(|h| self.at_ms(h))
        }))
    }

    /// Hours until it would come back in the middle of the shop's own band: what a box at that humidity would take.
    pub fn back_in_target_air(&self, target: Target) -> Times<f64> {
        let (low_pct, high_pct) = target.moisture_pct();
        Times::of([0, 1, 2].map(|pace| {
            let now = &self.sheets[pace];
            let edge_pct = now.mean_pct().clamp(low_pct, high_pct);
            now.hours_to(edge_pct, target.middle_pct(), exchange(now, PACES[pace]), LONGEST_H).ok().flatten()
        }))
    }

    /// Whether it waits in air that takes it out of the shop's band within a week, or further out.
    pub fn waiting(&self, target: Target) -> Option<Waiting> {
        let ahead = &self.ahead_pct[1][..=WARN_H];
        let (low_pct, high_pct) = target.moisture_pct();
        let worst = |better: fn(f64, f64) -> bool| {
            ahead.iter().copied().fold(ahead[0], |worst, pct| if better(pct, worst) { pct } else { worst })
        };
        let (driest, dampest) = (worst(|a, b| a < b), worst(|a, b| a > b));
        let opens = driest < low_pct && ahead[0] - driest > WARN_PCT;
        let swells = dampest > high_pct && dampest - ahead[0] > WARN_PCT;
        let to_pct = if opens { Some(driest) } else { swells.then_some(dampest) }?;
        let outside = |pct: &f64| if opens { *pct < low_pct } else { *pct > high_pct };
        let at_ms = self.at_ms(ahead.iter().position(outside)?);
        Some(Waiting { at_ms, change_pct: to_pct - ahead[0], across_mm: self.moves_mm(ahead[0], to_pct) })
    }

    /// How far its wood moves.
    pub fn movement(&self) -> Movement {
        movement(self.plate.species)
    }

    /// Change across its width from one mean moisture to another, mm; negative where it shrinks.
    pub(super) fn moves_mm(&self, from_pct: f64, to_pct: f64) -> f64 {
        let of = self.movement();
        let (from_pct, to_pct) = (from_pct.min(of.fibre_saturation_pct), to_pct.min(of.fibre_saturation_pct));
        let across = of.across(self.plate.cut);
        physics::wood::crack_closes_mm(self.plate.width_mm, across, of.fibre_saturation_pct, from_pct, to_pct)
            .expect("a checked plate and moisture up to fibre saturation are inside the range of the equation")
    }

    pub(super) fn at_ms(&self, hours: usize) -> i64 {
        self.now_ms + hours as i64 * WHOLE_HOUR_MS
    }
}

/// Whether a mean moisture content lies in the shop's band.
pub(super) fn inside(target: Target) -> impl Fn(f64) -> bool {
    let (low_pct, high_pct) = target.moisture_pct();
    move |pct| (low_pct..=high_pct).contains(&pct)
}
