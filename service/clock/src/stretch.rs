//! Ages over the stretches a cure spends in one zone each: how much it gathers by an instant, when it reaches an age.
//! The same for a cure on its clocks and for a trial of another law.

use facts::TargetAge;

use crate::{
    Band, Milestone,
    ages::{Ages, AirOf, HOUR_MS},
};

/// What is summed in one zone from an instant on, until the next stretch begins.
#[derive(Clone, Copy)]
pub(crate) struct Stretch<'a> {
    pub(crate) ages: &'a Ages,
    pub(crate) air: AirOf<'a>,
    pub(crate) from_ms: i64,
}

impl Stretch<'_> {
    fn age(&self, at_ms: i64, band: Band) -> f64 {
        self.ages.at(at_ms, band, self.air)
    }
}

/// Age gathered by an instant over all stretches that began before it.
pub(crate) fn gathered<'a>(stretches: impl Iterator<Item = Stretch<'a>> + Clone, at_ms: i64, band: Band) -> f64 {
    let ends = stretches.clone().skip(1).map(|next| next.from_ms).chain([i64::MAX]);
    stretches
        .zip(ends)
        .take_while(|(on, _)| on.from_ms < at_ms)
        .fold(0.0, |age, (on, end_ms)| age + on.age(at_ms.min(end_ms), band) - on.age(on.from_ms, band))
}

/// When an age is reached, whichever stretch that falls on.
pub(crate) fn time_of<'a>(stretches: impl Iterator<Item = Stretch<'a>>, age_h: f64, band: Band) -> Option<i64> {
    let mut left_h = age_h;
    let mut stretches = stretches.peekable();
    while let Some(on) = stretches.next() {
        let start_h = on.age(on.from_ms, band);
        let next_ms = stretches.peek().map(|next| next.from_ms);
        let at_ms = on.ages.time_of(start_h + left_h, band, on.air);
        match (at_ms, next_ms) {
            (Some(at_ms), Some(next_ms)) if at_ms > next_ms => {}
            (None, Some(_)) => {}
            _ => return at_ms,
        }
        left_h -= on.age(next_ms?, band) - start_h;
    }
    None
}

/// A milestone of something that began at an instant.
pub(crate) fn milestone<'a, 't>(
    stretches: impl Iterator<Item = Stretch<'a>> + Clone,
    target: &'t TargetAge,
    started_ms: i64,
    now_ms: i64,
) -> Milestone<'t> {
    let floor_ms = started_ms + (target.floor_h * HOUR_MS) as i64;
    let time = |age_h, band| Some(time_of(stretches.clone(), age_h, band)?.max(floor_ms));
    let safe_ms = time(target.safe_h, Band::Slow);
    Milestone {
        target,
        earliest_ms: time(target.earliest_h, Band::Fast),
        likely_ms: time(target.likely_h, Band::Middle),
        safe_ms,
        reached: safe_ms.is_some_and(|ms| ms <= now_ms),
    }
}
