//! Equivalent age: the prefix sum of a law's rate over a zone's recorded air and, past it, over the outlook.
//!
//! Between two readings the air runs straight and the rate is taken at least every 15 minutes along it, straight
//! in between (trapezoid). Across a gap longer than the bridge limit nobody knows the air: the slower of the two
//! rates at its ends is held, so that a gap never shortens a wait. Where the zone's sensors disagree the slowest of what
//! they say is taken, for the same reason. Form: ASTM C1074, age = Σ rate · Δt.

use std::sync::OnceLock;

use crate::{
    Air, Law, Outlook, Timeline,
    forecast::{DAY_MS, DAY_STEPS, STEP_MS},
};

pub(crate) const HOUR_MS: f64 = 3_600_000.0;

/// Most parts a bridged interval is cut into.
const PARTS: usize = 8;

/// Which edge of the forecast band to follow past the last reading. What is recorded is the same for all three.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Band {
    /// The slowest cure inside the band.
    Slow,
    /// The likeliest.
    Middle,
    /// The quickest.
    Fast,
}

/// The age of one law in one zone, from an origin on.
pub(crate) struct Ages {
    law: Law,
    /// Where age is zero: the last reading before the first cure, or that cure's start if there is none.
    origin_ms: i64,
    /// The reading that `sums[0]` belongs to.
    first: usize,
    /// Age at each reading from `first` on.
    sums: Vec<f64>,
    /// Rate at the same readings, kept because both neighbours of an interval need it.
    rates: Vec<f64>,
    /// Sums over the outlook, made when first asked for after a reading.
    ahead: OnceLock<Ahead>,
}

/// Sums over an outlook, counted from `start_ms` on.
struct Ahead {
    start_ms: i64,
    /// What the sums show there.
    start_h: [f64; 3],
    /// Where the sums are zero.
    from_ms: i64,
    rates: [Vec<f64>; 3],
    sums: [Vec<f64>; 3],
}

/// What is known of a zone's air; borrowed anew for each question, so that the zone stays its only owner.
#[derive(Clone, Copy)]
pub(crate) struct Past<'a> {
    pub(crate) timeline: &'a Timeline,
    pub(crate) set: Air,
    pub(crate) bridge_ms: i64,
}

impl<'a> Past<'a> {
    fn apart(self, at_ms: i64) -> Option<&'a [Air]> {
        if self.timeline.ever_apart() { self.timeline.apart(at_ms) } else { None }
    }
}

/// The known air and what is expected after it.
#[derive(Clone, Copy)]
pub(crate) struct AirOf<'a> {
    pub(crate) past: Past<'a>,
    pub(crate) outlook: &'a Outlook,
}

impl Ages {
    pub(crate) fn new(law: Law, start_ms: i64, past: Past<'_>) -> Self {
        let mut ages =
            Self { law, origin_ms: start_ms, first: 0, sums: Vec::new(), rates: Vec::new(), ahead: OnceLock::new() };
        ages.restart(start_ms, past);
        ages
    }

    pub(crate) fn origin_ms(&self) -> i64 {
        self.origin_ms
    }

    /// Begins anew so that every instant from `start_ms` on has an age.
    pub(crate) fn restart(&mut self, start_ms: i64, past: Past<'_>) {
        self.first = past.timeline.after(start_ms).saturating_sub(1);
        self.origin_ms = match past.timeline.len() {
            0 => start_ms,
            _ => start_ms.min(past.timeline.get(self.first).0),
        };
        self.sums.clear();
        self.rates.clear();
        self.sum_on(past);
    }

    /// Reading `i` is new or different: what was summed from there on is void.
    pub(crate) fn sum_from(&mut self, i: usize, past: Past<'_>) {
        if i <= self.first {
            return self.restart(self.origin_ms, past);
        }
        let keep = i - self.first;
        self.sums.truncate(keep);
        self.rates.truncate(keep);
        self.sum_on(past);
    }

    fn sum_on(&mut self, past: Past<'_>) {
        self.ahead = OnceLock::new();
        for i in self.first + self.sums.len()..past.timeline.len() {
            let (at_ms, air) = past.timeline.get(i);
            let rate = match past.apart(at_ms) {
                None => (self.law)(air),
                Some(said) => said.iter().map(|air| (self.law)(*air)).fold(f64::INFINITY, f64::min),
            };
            let age = match self.sums.last() {
                None => (self.law)(past.set) * hours(at_ms - self.origin_ms),
                Some(age) => age + self.piece(i - 1, rate, past).total_h(),
            };
            self.sums.push(age);
            self.rates.push(rate);
        }
    }

    /// The outlook is to be made anew while the readings stay.
    pub(crate) fn look_again(&mut self) {
        self.ahead = OnceLock::new();
    }

    /// Nobody needs the sums while readings change; see [`Ages::is_whole`].
    pub(crate) fn void(&mut self) {
        self.sums.clear();
        self.rates.clear();
    }

    /// Whether every reading is summed. A clock that nobody used while readings came is not.
    pub(crate) fn is_whole(&self, past: Past<'_>) -> bool {
        !self.sums.is_empty() && self.first + self.sums.len() == past.timeline.len()
    }

    /// Age at an instant, hours; zero before the origin.
    pub(crate) fn at(&self, at_ms: i64, band: Band, zone: AirOf<'_>) -> f64 {
        let Some(last) = self.sums.len().checked_sub(1) else { return self.ahead(zone).age(at_ms, band) };
        let past = zone.past;
        let i = past.timeline.after(at_ms);
        if i <= self.first {
            return (self.law)(past.set) * hours((at_ms - self.origin_ms).max(0));
        }
        let here = i - 1 - self.first;
        if here >= last {
            return self.sums[last] + self.ahead(zone).age(at_ms, band);
        }
        self.sums[here] + self.piece(i - 1, self.rates[here + 1], past).age_at(at_ms)
    }

    /// First millisecond at which the age is reached; none if the outlook's air never gets there.
    pub(crate) fn time_of(&self, age_h: f64, band: Band, zone: AirOf<'_>) -> Option<i64> {
        let Some(last) = self.sums.last() else { return self.ahead(zone).time_of(age_h, band) };
        if age_h > *last {
            return self.ahead(zone).time_of(age_h - last, band);
        }
        let here = self.sums.partition_point(|age| *age < age_h);
        let Some(before) = here.checked_sub(1) else {
            let rate = (self.law)(zone.past.set);
            return Some(self.origin_ms + if rate > 0.0 { to_ms(age_h / rate) } else { 0 });
        };
        let piece = self.piece(self.first + before, self.rates[here], zone.past);
        Some(piece.time_of(age_h - self.sums[before]).unwrap_or_else(|| zone.past.timeline.get(self.first + here).0))
    }

    fn ahead(&self, zone: AirOf<'_>) -> &Ahead {
        self.ahead.get_or_init(|| {
            // Without a reading the outlook is all there is, and may begin before or after the first cure.
            let start_ms = if self.sums.is_empty() { self.origin_ms } else { zone.outlook.from_ms };
            Ahead::new(&self.law, start_ms, zone.outlook)
        })
    }

    /// The interval after reading `i`, whose far end has the rate `rate_to`.
    fn piece(&self, i: usize, rate_to: f64, past: Past<'_>) -> Piece {
        let ((from_ms, air), (to_ms, air_to)) = (past.timeline.get(i), past.timeline.get(i + 1));
        let rate = self.rates[i - self.first];
        let span_ms = to_ms - from_ms;
        if span_ms > past.bridge_ms {
            let held = rate.min(rate_to);
            return Piece::straight(from_ms, span_ms, held, held);
        }
        if span_ms <= STEP_MS || past.apart(from_ms).is_some() || past.apart(to_ms).is_some() {
            return Piece::straight(from_ms, span_ms, rate, rate_to);
        }
        let parts = (span_ms as usize).div_ceil(STEP_MS as usize).min(PARTS);
        let mut piece = Piece { from_ms, step_h: hours(span_ms) / parts as f64, parts, rates: [rate; PARTS + 1] };
        for part in 1..parts {
            piece.rates[part] = (self.law)(air.towards(air_to, part as f64 / parts as f64));
        }
        piece.rates[parts] = rate_to;
        piece
    }
}

/// One interval between two readings, cut into equal parts of straight rate.
struct Piece {
    from_ms: i64,
    step_h: f64,
    parts: usize,
    rates: [f64; PARTS + 1],
}

impl Piece {
    fn straight(from_ms: i64, span_ms: i64, rate: f64, rate_to: f64) -> Self {
        let mut rates = [rate; PARTS + 1];
        rates[1] = rate_to;
        Self { from_ms, step_h: hours(span_ms), parts: 1, rates }
    }

    fn total_h(&self) -> f64 {
        (0..self.parts).map(|p| (self.rates[p] + self.rates[p + 1]) / 2.0 * self.step_h).sum()
    }

    fn age_at(&self, at_ms: i64) -> f64 {
        let mut left_h = hours(at_ms - self.from_ms);
        let mut age = 0.0;
        for p in 0..self.parts {
            let run = left_h.min(self.step_h);
            age += age_of_part(self.rates[p], self.rates[p + 1], self.step_h, run);
            left_h -= run;
            if left_h <= 0.0 {
                break;
            }
        }
        age
    }

    fn time_of(&self, age_h: f64) -> Option<i64> {
        let mut left = age_h;
        for p in 0..self.parts {
            let (rate, rate_to) = (self.rates[p], self.rates[p + 1]);
            let whole = (rate + rate_to) / 2.0 * self.step_h;
            if left <= whole {
                let run = time_in_part(rate, rate_to, self.step_h, left);
                return Some(self.from_ms + to_ms(p as f64 * self.step_h + run));
            }
            left -= whole;
        }
        None
    }
}

impl Ahead {
    fn new(law: &Law, start_ms: i64, outlook: &Outlook) -> Self {
        let mut rates = [const { Vec::new() }; 3];
        for step in &outlook.steps {
            let of = step.corners().map(|air| law(air));
            rates[0].push(of.iter().copied().fold(f64::INFINITY, f64::min));
            rates[1].push(of[0]);
            rates[2].push(of.iter().copied().fold(0.0, f64::max));
        }
        let step_h = hours(STEP_MS);
        let sums = [0, 1, 2].map(|band| {
            let mut sum = 0.0;
            std::iter::once(0.0)
                .chain(rates[band].windows(2).map(|r| {
                    sum += (r[0] + r[1]) / 2.0 * step_h;
                    sum
                }))
                .collect()
        });
        // A start past the end is in some repetition of the last day, and all of them are alike.
        let end_ms = outlook.from_ms + (outlook.steps.len() as i64 - 1) * STEP_MS;
        let skipped_ms = ((start_ms - end_ms).max(0) + DAY_MS - 1).div_euclid(DAY_MS) * DAY_MS;
        let mut ahead = Self { start_ms, start_h: [0.0; 3], from_ms: outlook.from_ms + skipped_ms, rates, sums };
        ahead.start_h = [Band::Slow, Band::Middle, Band::Fast].map(|band| ahead.sum(start_ms, band));
        ahead
    }

    fn age(&self, at_ms: i64, band: Band) -> f64 {
        self.sum(at_ms.max(self.start_ms), band) - self.start_h[band as usize]
    }

    /// Before the first step its air holds, and past the end the last day is repeated.
    fn sum(&self, at_ms: i64, band: Band) -> f64 {
        let (rates, sums) = (&self.rates[band as usize], &self.sums[band as usize]);
        let mut past_ms = at_ms - self.from_ms;
        if past_ms < 0 {
            return rates[0] * hours(past_ms);
        }
        let last = sums.len() - 1;
        let mut age = 0.0;
        let whole_ms = last as i64 * STEP_MS;
        if past_ms > whole_ms {
            let days = (past_ms - whole_ms).div_euclid(DAY_MS) + 1;
            age = days as f64 * (sums[last] - sums[last - DAY_STEPS]);
            past_ms -= days * DAY_MS;
        }
        let step = ((past_ms / STEP_MS) as usize).min(last - 1);
        let run = hours(past_ms - step as i64 * STEP_MS);
        age + sums[step] + age_of_part(rates[step], rates[step + 1], hours(STEP_MS), run)
    }

    fn time_of(&self, age_h: f64, band: Band) -> Option<i64> {
        let (rates, sums) = (&self.rates[band as usize], &self.sums[band as usize]);
        let (mut left, mut days) = (age_h + self.start_h[band as usize], 0.0);
        if left < 0.0 {
            return Some(self.from_ms + to_ms(left / rates[0]));
        }
        let last = sums.len() - 1;
        if left > sums[last] {
            let a_day = sums[last] - sums[last - DAY_STEPS];
            if a_day <= 0.0 {
                return None;
            }
            days = ((left - sums[last]) / a_day).ceil();
            left -= days * a_day;
        }
        let step = sums.partition_point(|age| *age < left).clamp(1, last) - 1;
        let run = time_in_part(rates[step], rates[step + 1], hours(STEP_MS), left - sums[step]);
        let whole_h = days * hours(DAY_MS) + step as f64 * hours(STEP_MS) + run;
        // A cure that takes longer than a human life is one that does not happen.
        (whole_h < 1e6).then(|| (self.from_ms + to_ms(whole_h)).max(self.start_ms))
    }
}

/// Age gained in the first `run` hours of a part in which the rate runs straight from `rate` to `rate_to`.
fn age_of_part(rate: f64, rate_to: f64, step_h: f64, run_h: f64) -> f64 {
    if step_h <= 0.0 {
        return 0.0;
    }
    (rate + (rate_to - rate) / step_h * run_h / 2.0) * run_h
}

/// Hours into a part at which `age_h` is gained: the root of the parabola above, in the form that loses no digits.
fn time_in_part(rate: f64, rate_to: f64, step_h: f64, age_h: f64) -> f64 {
    if age_h <= 0.0 || step_h <= 0.0 {
        return 0.0;
    }
    let slope = (rate_to - rate) / step_h;
    let root = (rate * rate + 2.0 * slope * age_h).max(0.0).sqrt();
    if rate + root > 0.0 { (2.0 * age_h / (rate + root)).min(step_h) } else { step_h }
}

pub(crate) fn hours(ms: i64) -> f64 {
    ms as f64 / HOUR_MS
}

/// Rounded up: an alarm must not ring a millisecond early.
pub(crate) fn to_ms(h: f64) -> i64 {
    (h * HOUR_MS).ceil() as i64
}
