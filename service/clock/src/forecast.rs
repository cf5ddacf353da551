//! What the air of a zone will be: a seam, and the plain forecast that fills it today.

use crate::{Air, Timeline};

/// Minutes between two steps of an outlook.
pub const STEP_MS: i64 = 15 * 60_000;
/// Steps of an outlook: 72 h. Past its end the last day is repeated.
pub const STEPS: usize = 288;
/// Steps of a day.
pub(crate) const DAY_STEPS: usize = 96;
const HOUR_MS: i64 = 3_600_000;

/// Expected air at one step and how far it may lie to either side (80 % band).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// The likeliest air.
    pub air: Air,
    /// Half width of the band in temperature, K.
    pub spread_k: f64,
    /// Half width of the band in relative humidity, % RH.
    pub spread_rh_pct: f64,
}

impl Expected {
    /// The airs to ask a law for its slowest and fastest rate: the middle and the four corners of the band.
    /// No law is assumed to rise or fall with either quantity.
    pub(crate) fn corners(&self) -> [Air; 5] {
        let corner = |k: f64, rh: f64| {
            Air { temp_c: self.air.temp_c + k * self.spread_k, rh_pct: self.air.rh_pct + rh * self.spread_rh_pct }
                .held_physical()
        };
        [self.air, corner(-1.0, -1.0), corner(-1.0, 1.0), corner(1.0, -1.0), corner(1.0, 1.0)]
    }
}

/// The air expected from an instant on, one entry per [`STEP_MS`], [`STEPS`] + 1 of them.
#[derive(Debug, Clone)]
pub struct Outlook {
    /// Where it begins: the last reading.
    pub from_ms: i64,
    /// One entry per step; the first is the last reading itself.
    pub steps: Vec<Expected>,
}

impl Outlook {
    /// The likeliest air at an instant; past the end the last day is repeated.
    pub fn air_at(&self, at_ms: i64) -> Air {
        let past = ((at_ms - self.from_ms).max(0)) as f64 / STEP_MS as f64;
        let beyond = (past - STEPS as f64).max(0.0) / DAY_STEPS as f64;
        let within = past - beyond.ceil() * DAY_STEPS as f64;
        let step = (within as usize).min(STEPS - 1);
        self.steps[step].air.towards(self.steps[step + 1].air, within - step as f64)
    }
}

/// A way to foresee the air of a zone.
pub trait Forecast: Send + Sync {
    /// Looks ahead from the last reading. `set` is the zone's set-point, which stands in where there is no history.
    fn outlook(&self, history: &Timeline, set: Air) -> Outlook;
}

/// The last reading relaxing to the mean of the last seven days at that hour. Common practice, no source; the
/// relaxation time of three hours is that of a small heated room (common practice, no source).
#[derive(Debug, Clone, Copy, Default)]
pub struct HourlyMean;

/// Time in which a departure from the hourly mean falls to 1/e.
const RELAX_MS: f64 = 3.0 * HOUR_MS as f64;
/// Days of history the hourly mean is taken over.
const DAYS: i64 = 7;
/// Least half width of the band far ahead: 1 K and 4 % RH, the order of a room's day-to-day change
/// (common practice, no source).
const LEAST_SPREAD: (f64, f64) = (1.0, 4.0);
/// Half width assumed where no sensor is: a room kept at a set-point strays by this much (common practice, no source).
const SET_POINT_SPREAD: (f64, f64) = (2.0, 8.0);
/// Half width of an 80 % band in standard deviations of a normal distribution.
const Z_80: f64 = 1.2816;

impl Forecast for HourlyMean {
    fn outlook(&self, history: &Timeline, set: Air) -> Outlook {
        let Some((from_ms, last)) = history.last() else {
            let held = Expected { air: set, spread_k: SET_POINT_SPREAD.0, spread_rh_pct: SET_POINT_SPREAD.1 };
            return Outlook { from_ms: 0, steps: vec![held; STEPS + 1] };
        };
        let day = DayShape::learn(history, from_ms);
        let departure = |mean: Air| (last.temp_c - mean.temp_c, last.rh_pct - mean.rh_pct);
        let (off_k, off_rh) = departure(day.mean_at(from_ms));
        let steps = (0..=STEPS as i64)
            .map(|step| {
                let kept = (-((step * STEP_MS) as f64) / RELAX_MS).exp();
                let mean = day.mean_at(from_ms + step * STEP_MS);
                // A first-order process forgets its start as 1 - kept²: the band opens with it.
                let opened = (1.0 - kept * kept).sqrt();
                Expected {
                    air: Air { temp_c: mean.temp_c + kept * off_k, rh_pct: mean.rh_pct + kept * off_rh }
                        .held_physical(),
                    spread_k: opened * day.spread.0,
                    spread_rh_pct: opened * day.spread.1,
                }
            })
            .collect();
        Outlook { from_ms, steps }
    }
}

/// Mean air by hour of day (UTC hours: a shape has no need of a zone name) and how far readings stray from it.
struct DayShape {
    hours: [Air; 24],
    spread: (f64, f64),
}

impl DayShape {
    fn learn(history: &Timeline, until_ms: i64) -> Self {
        let mut sums = [(0.0, 0.0, 0.0); 24];
        let week = || history.between(until_ms - DAYS * 24 * HOUR_MS, until_ms);
        for (at_ms, air) in week() {
            let sum = &mut sums[hour_of_day(at_ms)];
            *sum = (sum.0 + air.temp_c, sum.1 + air.rh_pct, sum.2 + 1.0);
        }
        let all = sums.iter().fold((0.0, 0.0, 0.0), |a, s| (a.0 + s.0, a.1 + s.1, a.2 + s.2));
        // An hour never seen takes the mean of all that were: the last reading itself is always among them.
        let mean = |s: (f64, f64, f64)| Air { temp_c: s.0 / s.2, rh_pct: s.1 / s.2 };
        let hours = sums.map(|s| mean(if s.2 > 0.0 { s } else { all }));
        let (mut k2, mut rh2) = (0.0, 0.0);
        for (at_ms, air) in week() {
            let hour = hours[hour_of_day(at_ms)];
            k2 += (air.temp_c - hour.temp_c).powi(2);
            rh2 += (air.rh_pct - hour.rh_pct).powi(2);
        }
        let spread =
            ((Z_80 * (k2 / all.2).sqrt()).max(LEAST_SPREAD.0), (Z_80 * (rh2 / all.2).sqrt()).max(LEAST_SPREAD.1));
        Self { hours, spread }
    }

    /// Between two hours' middles the mean runs straight, so that the outlook has no steps in it.
    fn mean_at(&self, at_ms: i64) -> Air {
        let shifted = at_ms - HOUR_MS / 2;
        let hour = hour_of_day(shifted);
        let part = shifted.rem_euclid(HOUR_MS) as f64 / HOUR_MS as f64;
        self.hours[hour].towards(self.hours[(hour + 1) % 24], part)
    }
}

fn hour_of_day(at_ms: i64) -> usize {
    (at_ms.div_euclid(HOUR_MS)).rem_euclid(24) as usize
}
