//! The forecast in force: every zone has a usual day, and how far it is from it now dies away.
//!
//! For temperature and for vapour pressure alike, with x the quantity and h the hours since the last reading,
//!
//! ```text
//! x(t + h) = mean + shape(t + h) + (departure + trend · (1 − exp(−h))) · exp(−h / 36)
//! ```
//!
//! Vapour pressure stands for absolute humidity: at one air pressure the two are proportional, and neither changes when
//! air is only warmed. Relative humidity follows from it and the temperature. The method is common practice, no source;
//! what it is worth is measured in `tests/forecast.rs`.

use crate::{
    Air, Forecast, Intended, Outlook, Timeline,
    ages::{HOUR_MS, hours},
    intended::{Apart, Moist, Undisturbed, assumed, follow, set_point_spread},
};

/// Days of history that are learned from: two weeks hold every weekday twice, and a season hardly moves in them.
const DAYS: i64 = 14;
/// Time in which a departure from the usual day falls to 1/e, hours: half of it is still there a day later, as the
/// weather that causes it is.
const DEPARTURE_H: f64 = 36.0;
/// Time for which the last half hour's trend goes on, hours: walls and stock store that much.
const TREND_H: f64 = 1.0;
/// Stretch a trend is read off, ms, and readings needed in it.
const TREND_MS: i64 = 30 * 60_000;
const TREND_READINGS: usize = 3;
/// A set-point counts as much as three hours of readings: it is all there is in the first hour and forgotten in a week.
const SET_POINT_HOURS: f64 = 3.0;
/// The band counts as if two days had been seen in which the air strayed as a set-point's band says.
const PRIOR_HOURS: f64 = 48.0;
/// Hours ahead at which past departures are looked at for the width of the band; straight in between.
const LAGS_H: [usize; 12] = [1, 2, 3, 4, 6, 9, 12, 18, 24, 36, 48, 72];
/// Half width of an 80 % band in standard deviations of a normal distribution.
const Z_80: f64 = 1.2816;
/// Days of readings that count as much as knowing that a day has no shape. Half a day for temperature, which sun,
/// heating and work move at the same hours. A week for vapour, which follows the weather and comes back to its hour
/// only by chance: the shape of two or three days would be theirs and not the next day's.
const SHAPE_DAYS: (f64, f64) = (0.5, 7.0);

/// The zone's usual day, learned from its own readings, and its departure from it dying away.
#[derive(Debug, Clone, Copy, Default)]
pub struct UsualDay;

impl Forecast for UsualDay {
    fn outlook(&self, history: &Timeline, intended: &Intended) -> Outlook {
        let Some((from_ms, last)) = history.last() else { return assumed(intended) };
        let (last, set, spread) = (Moist::of(last), Moist::of(intended.set), set_point_spread(last.temp_c));
        let seen = Hours::of(history, from_ms, intended);
        let felt = intended.felt_at(from_ms);
        let revised = from_ms < intended.set_since_ms;
        let recent: Vec<_> =
            history.between(from_ms - TREND_MS, from_ms).map(|(at_ms, a)| (at_ms, Moist::of(a))).collect();
        let look = |of: fn(&Moist) -> f64, set, far, shape_days, elsewhere: bool| {
            let series: Vec<_> = seen.means.iter().map(|hour| hour.as_ref().map(of)).collect();
            let usual = Usual::learn(&series, seen.first, Prior { set, far, shape_days });
            let recent: Vec<_> = recent.iter().map(|(at_ms, moist)| (*at_ms, of(moist))).collect();
            usual.ahead(&recent, far, elsewhere)
        };
        // Where somebody has just changed the air, its distance from the usual day is no departure that dies away
        // within days but a step that is followed or left within the hour.
        let temp = look(|m| m.temp_c, set.temp_c, spread.delta_k, SHAPE_DAYS.0, revised || felt.is_some());
        let dosed = felt.is_some_and(|plan| plan.rh_pct.is_some());
        let vapour = look(|m| m.vapour_pa, set.vapour_pa, spread.delta_pa, SHAPE_DAYS.1, revised || dosed);
        let undisturbed = |at_ms| {
            let (temp_c, delta_k) = temp.at(at_ms);
            let (vapour_pa, delta_pa) = vapour.at(at_ms);
            Undisturbed { middle: Moist { temp_c, vapour_pa }, spread: Apart { delta_k, delta_pa } }
        };
        let begins = undisturbed(from_ms).middle;
        let off = Apart { delta_k: last.temp_c - begins.temp_c, delta_pa: last.vapour_pa - begins.vapour_pa };
        follow(intended, from_ms, off, undisturbed)
    }
}

/// Means by the hour, so that a minute's sensor counts no more than one of five minutes.
struct Hours {
    /// The first hour, counted from 1970 UTC. Hours are UTC: a shape has no need of a zone name.
    first: i64,
    means: Vec<Option<Moist>>,
}

impl Hours {
    /// Of the last days under the set-point in force, without what a plan made of the air.
    fn of(history: &Timeline, until_ms: i64, intended: &Intended) -> Self {
        let since_ms = (until_ms - DAYS * 24 * HOUR_MS as i64).max(intended.set_since_ms);
        let (first, last) = (hour_of(since_ms.min(until_ms)), hour_of(until_ms));
        let mut sums = vec![(0.0, 0.0, 0.0); (last - first + 1) as usize];
        let own = |at_ms| intended.plans.is_empty() || intended.felt_at(at_ms).is_none();
        for (at_ms, air) in history.between(since_ms, until_ms).filter(|(at_ms, _)| own(*at_ms)) {
            let sum = &mut sums[(hour_of(at_ms) - first) as usize];
            *sum = (sum.0 + air.temp_c, sum.1 + air.rh_pct, sum.2 + 1.0);
        }
        let mean =
            |(temp, rh, n): (f64, f64, f64)| (n > 0.0).then(|| Moist::of(Air { temp_c: temp / n, rh_pct: rh / n }));
        let seen = sums.iter().position(|sum| sum.2 > 0.0).unwrap_or(sums.len());
        Self { first: first + seen as i64, means: sums.drain(seen..).map(mean).collect() }
    }
}

/// What is believed of a quantity before anything is seen.
struct Prior {
    set: f64,
    /// Half width of the band far ahead.
    far: f64,
    shape_days: f64,
}

/// What a quantity usually does.
struct Usual {
    mean: f64,
    /// What the middle of each hour of the day adds to the mean.
    shape: [f64; 24],
    /// Half width of the band at each of [`LAGS_H`].
    spread: [f64; LAGS_H.len()],
}

impl Usual {
    fn learn(series: &[Option<f64>], first: i64, prior: Prior) -> Self {
        let of_day = |i: usize| (first + i as i64).rem_euclid(24) as usize;
        let shape = shape(series, of_day, prior.shape_days);
        let plain: Vec<_> = series.iter().enumerate().map(|(i, x)| x.map(|x| x - shape[of_day(i)])).collect();
        let (sum, n_hours) = plain.iter().flatten().fold((0.0, 0.0), |(sum, n), x| (sum + x, n + 1.0));
        let mean = (sum + prior.set * SET_POINT_HOURS) / (n_hours + SET_POINT_HOURS);
        Self { mean, shape, spread: spread(&plain, mean, n_hours, prior.far) }
    }

    /// Between two hours' middles the shape runs straight, so that the outlook has no steps in it.
    fn shape_at(&self, at_ms: i64) -> f64 {
        let past_middle = at_ms as f64 / HOUR_MS - 0.5;
        let part = past_middle - past_middle.floor();
        let hour = (past_middle.floor() as i64).rem_euclid(24) as usize;
        self.shape[hour] * (1.0 - part) + self.shape[(hour + 1) % 24] * part
    }

    /// The way from the last of the recent readings on. `elsewhere` is set where the air is not its own.
    fn ahead(self, recent: &[(i64, f64)], far: f64, elsewhere: bool) -> AheadOf {
        let plain: Vec<_> = recent.iter().map(|(at_ms, x)| (*at_ms, x - self.shape_at(*at_ms) - self.mean)).collect();
        let (from_ms, departure) = *plain.last().expect("the last reading is recent");
        if elsewhere {
            return AheadOf { usual: self, from_ms, departure: 0.0, trend: 0.0 };
        }
        // An opened door must not run away with the outlook.
        let trend = (slope_per_h(&plain) * TREND_H).clamp(-far, far);
        AheadOf { usual: self, from_ms, departure, trend }
    }
}

/// A quantity on its way back to what it usually does.
struct AheadOf {
    usual: Usual,
    from_ms: i64,
    departure: f64,
    /// How far the trend of the last half hour still carries.
    trend: f64,
}

impl AheadOf {
    /// The likeliest value at an instant, and the half width of its band.
    fn at(&self, at_ms: i64) -> (f64, f64) {
        let ahead_h = hours(at_ms - self.from_ms);
        let carried = self.trend * (1.0 - (-ahead_h / TREND_H).exp());
        let value = self.usual.mean + self.usual.shape_at(at_ms) + (self.departure + carried) * kept(ahead_h);
        (value, self.spread_at(ahead_h))
    }

    fn spread_at(&self, ahead_h: f64) -> f64 {
        let next = LAGS_H.partition_point(|lag| (*lag as f64) < ahead_h);
        let point = |i: usize| (LAGS_H[i] as f64, self.usual.spread[i]);
        let (from, to) = match next {
            0 => ((0.0, 0.0), point(0)),
            n if n < LAGS_H.len() => (point(n - 1), point(n)),
            _ => return self.usual.spread[LAGS_H.len() - 1],
        };
        from.1 + (to.1 - from.1) * (ahead_h - from.0) / (to.0 - from.0)
    }
}

/// Share of a departure that is left after some hours.
fn kept(ahead_h: f64) -> f64 {
    (-ahead_h / DEPARTURE_H).exp()
}

/// How each hour of the day departs from the level of the 24 hours around it, shrunk towards nothing while few days
/// have been seen. Nothing at all from less than a day, whose rise or fall would pass for a shape.
fn shape(series: &[Option<f64>], of_day: impl Fn(usize) -> usize, shape_days: f64) -> [f64; 24] {
    let mut sums = [(0.0, 0.0); 24];
    if series.len() >= 24 {
        let so_far: Vec<(f64, f64)> = std::iter::once((0.0, 0.0))
            .chain(series.iter().scan((0.0, 0.0), |sum, x| {
                *sum = x.map_or(*sum, |x| (sum.0 + x, sum.1 + 1.0));
                Some(*sum)
            }))
            .collect();
        for (i, x) in series.iter().enumerate().filter_map(|(i, x)| Some((i, (*x)?))) {
            let from = i.saturating_sub(12).min(series.len() - 24);
            let level = (so_far[from + 24].0 - so_far[from].0) / (so_far[from + 24].1 - so_far[from].1);
            let sum = &mut sums[of_day(i)];
            *sum = (sum.0 + x - level, sum.1 + 1.0);
        }
    }
    sums.map(|(sum, n_days)| sum / (n_days + shape_days))
}

/// Half widths of the band: how far this quantity was from what its departure some hours before let expect.
///
/// Departures are counted from the mean of the same hours, so they look smaller than they are, and that mean is itself
/// in error: each by 2 τ/T of the variance for departures that fade with τ, seen for T (the variance of the mean of an
/// autocorrelated series), or all of it while T is short. Both matter as far as the forecast leans on the mean.
fn spread(plain: &[Option<f64>], mean: f64, n_hours: f64, far: f64) -> [f64; LAGS_H.len()] {
    let mut widest: f64 = 0.0;
    LAGS_H.map(|lag| {
        let kept = kept(lag as f64);
        let pairs = plain.iter().zip(plain.iter().skip(lag)).filter_map(|(then, now)| Some(((*then)?, (*now)?)));
        let (squares, n_pairs) = pairs.fold((0.0, 0.0), |(squares, n), (then, now)| {
            (squares + (now - mean - kept * (then - mean)).powi(2), n + 1.0)
        });
        let short = 1.0 + 2.0 * (1.0 - kept) * (2.0 * DEPARTURE_H / n_hours.max(1.0)).min(1.0);
        let before = (far / Z_80).powi(2) * (1.0 - kept * kept);
        let variance = (squares * short + before * PRIOR_HOURS) / (n_pairs + PRIOR_HOURS);
        widest = widest.max(Z_80 * variance.sqrt());
        widest
    })
}

/// Least-squares slope, per hour; none from fewer than [`TREND_READINGS`].
fn slope_per_h(points: &[(i64, f64)]) -> f64 {
    if points.len() < TREND_READINGS {
        return 0.0;
    }
    let n = points.len() as f64;
    let at_h = |at_ms: i64| hours(at_ms - points[0].0);
    let (mean_h, mean) = points.iter().fold((0.0, 0.0), |(h, x), point| (h + at_h(point.0) / n, x + point.1 / n));
    let (of_both, of_time) = points.iter().fold((0.0, 0.0), |(both, time), (at_ms, x)| {
        let from_mean_h = at_h(*at_ms) - mean_h;
        (both + from_mean_h * (x - mean), time + from_mean_h * from_mean_h)
    });
    of_both / of_time
}

fn hour_of(at_ms: i64) -> i64 {
    at_ms.div_euclid(HOUR_MS as i64)
}
