//! When each milestone of a cure comes, and how well the air it was computed from is known.

use facts::{Limit, TargetAge};

use crate::{
    Air, Band, Bench, Cure,
    stretch::{self, Stretch},
    surface::is_broken,
};

/// One milestone with its times, ms since 1970 UTC; none where the expected air never gets there.
#[derive(Debug, Clone, PartialEq)]
pub struct Milestone<'a> {
    /// Its target ages and what to do next.
    pub target: &'a TargetAge,
    /// First instant it may be there.
    pub earliest_ms: Option<i64>,
    /// Instant it is most likely there.
    pub likely_ms: Option<i64>,
    /// Instant it does no harm to rely on it.
    pub safe_ms: Option<i64>,
    /// Whether the safe time has passed.
    pub reached: bool,
}

/// How well the air of a cure is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Climate {
    /// Readings without a gap up to now.
    Recorded,
    /// The zone has no readings: its set-point stands in.
    NoSensor,
    /// Readings are missing from this instant on, or were for longer than the bridge limit.
    Gap(i64),
    /// Sensors of the zone disagreed at this instant; the slower counts.
    Apart(i64),
}

impl Climate {
    /// Whether any time computed from it rests on air that nobody measured.
    pub fn is_assumed(self) -> bool {
        self != Self::Recorded
    }
}

impl Bench {
    /// Age of an open cure at an instant, reference hours.
    pub fn age_h(&self, cure: &Cure, at_ms: i64) -> Option<f64> {
        cure.open_legs().last().map(|_| self.gathered(cure, at_ms, Band::Middle))
    }

    /// Its legs as stretches on their clocks.
    fn stretches<'a>(&'a self, cure: &'a Cure) -> impl Iterator<Item = Stretch<'a>> + Clone {
        cure.open_legs().iter().map(|leg| Stretch {
            ages: &self.zones[leg.zone].clocks[leg.clock].ages,
            air: self.air_of(leg.zone),
            from_ms: leg.from_ms,
        })
    }

    /// Age gathered by an instant over all legs that began before it.
    pub(crate) fn gathered(&self, cure: &Cure, at_ms: i64, band: Band) -> f64 {
        stretch::gathered(self.stretches(cure), at_ms, band)
    }

    /// When a cure reaches an age, whichever leg that falls on.
    pub(crate) fn time_of(&self, cure: &Cure, age_h: f64, band: Band) -> Option<i64> {
        stretch::time_of(self.stretches(cure), age_h, band)
    }

    /// Every milestone of a cure, in its rule's order, as it looks at `now_ms`.
    pub fn milestones<'a>(&'a self, cure: &'a Cure, now_ms: i64) -> Vec<Milestone<'a>> {
        (0..cure.begun.milestones.len()).map(|m| self.milestone(cure, m, now_ms)).collect()
    }

    /// One milestone of a cure.
    pub(crate) fn milestone<'a>(&'a self, cure: &'a Cure, m: usize, now_ms: i64) -> Milestone<'a> {
        let target = &cure.begun.milestones[m];
        if cure.waits_for_light() {
            return Milestone { target, earliest_ms: None, likely_ms: None, safe_ms: None, reached: false };
        }
        if cure.closed || cure.broken.is_some() {
            let told_ms = cure.told(m).map(|(_, due_ms)| due_ms);
            return Milestone {
                target,
                earliest_ms: told_ms,
                likely_ms: told_ms,
                safe_ms: told_ms,
                reached: told_ms.is_some(),
            };
        }
        stretch::milestone(self.stretches(cure), target, cure.begun.started_at.timestamp_millis(), now_ms)
    }

    /// How well the air of a cure was known from its start to `now_ms`.
    pub fn climate(&self, cure: &Cure, now_ms: i64) -> Climate {
        let legs = cure.open_legs();
        let ends = legs.iter().skip(1).map(|next| next.from_ms).chain([now_ms]);
        let mut of_legs = legs.iter().zip(ends).map(|(leg, end_ms)| self.climate_of(leg.zone, leg.from_ms, end_ms));
        of_legs.find(|climate| climate.is_assumed()).unwrap_or(Climate::Recorded)
    }

    /// How well the air of one zone was known from an instant to another.
    pub(crate) fn climate_of(&self, zone: usize, from_ms: i64, until_ms: i64) -> Climate {
        let timeline = &self.zones[zone].timeline;
        let mut known_ms = match timeline.after(from_ms) {
            0 if timeline.is_empty() => return Climate::NoSensor,
            0 => from_ms,
            first => timeline.get(first - 1).0,
        };
        let ends = timeline.between(from_ms, until_ms).map(|(at_ms, _)| at_ms);
        for at_ms in ends.chain([until_ms]) {
            if at_ms - known_ms > self.settings.bridge_ms {
                return Climate::Gap(known_ms.max(from_ms));
            }
            if timeline.ever_apart() && timeline.apart(at_ms).is_some() {
                return Climate::Apart(at_ms);
            }
            known_ms = at_ms;
        }
        Climate::Recorded
    }

    /// The limits of its rule that recorded air broke while they mattered: the limit, since when, and that air.
    pub fn broken_limits<'a>(&'a self, cure: &'a Cure, now_ms: i64) -> Vec<(&'a Limit, i64, Air)> {
        let legs = cure.open_legs();
        cure.begun
            .limits
            .iter()
            .filter_map(|limit| {
                let mattered_until = self.time_of(cure, limit.until_h, Band::Middle).unwrap_or(now_ms).min(now_ms);
                legs.iter().enumerate().find_map(|(i, leg)| {
                    let end = legs.get(i + 1).map_or(mattered_until, |next| next.from_ms.min(mattered_until));
                    let zone = &self.zones[leg.zone];
                    let at_start = (leg.from_ms, zone.air_at(leg.from_ms, self.forecast.as_ref()));
                    let during = zone.timeline.between(leg.from_ms, end);
                    std::iter::once(at_start)
                        .chain(during)
                        .find(|(at_ms, air)| *at_ms <= end && is_broken(limit, *air))
                        .map(|(at_ms, air)| (limit, at_ms, air))
                })
            })
            .collect()
    }
}
