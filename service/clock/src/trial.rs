//! What another law would make of a cure, or of the air of a zone. Nothing is put on any clock by trying.

use facts::TargetAge;

use crate::{
    Band, Bench, Cure, Law, Milestone,
    ages::Ages,
    stretch::{self, Stretch},
};

/// A law tried over the air of one or more zones, from a start on.
pub struct Trial<'a> {
    bench: &'a Bench,
    /// Zone, since when, and what the law sums there.
    legs: Vec<(usize, i64, Ages)>,
    started_ms: i64,
}

impl Bench {
    /// A law tried on an open cure, over the air it has had and will have; none for one that is closed or has no times.
    pub fn trial_of(&self, cure: &Cure, law: &Law) -> Option<Trial<'_>> {
        let legs: Vec<_> = cure.open_legs().iter().map(|leg| (leg.zone, leg.from_ms)).collect();
        let started_ms = cure.begun.started_at.timestamp_millis();
        (!legs.is_empty()).then(|| self.trial(&legs, started_ms, law))
    }

    /// A law tried in a zone from an instant on; none where there is no such zone.
    pub fn trial_in(&self, zone: &str, from_ms: i64, law: &Law) -> Option<Trial<'_>> {
        let zone = *self.zone_of.get(zone)?;
        Some(self.trial(&[(zone, from_ms)], from_ms, law))
    }

    fn trial(&self, legs: &[(usize, i64)], started_ms: i64, law: &Law) -> Trial<'_> {
        let leg = |&(zone, from_ms): &(usize, i64)| {
            let past = self.air_of(zone).past;
            (zone, from_ms, Ages::new(law.clone(), from_ms, past))
        };
        Trial { bench: self, legs: legs.iter().map(leg).collect(), started_ms }
    }
}

impl Trial<'_> {
    fn stretches(&self) -> impl Iterator<Item = Stretch<'_>> + Clone {
        self.legs.iter().map(move |(zone, from_ms, ages)| Stretch {
            ages,
            air: self.bench.air_of(*zone),
            from_ms: *from_ms,
        })
    }

    /// Age at an instant, reference hours, over the likeliest air.
    pub fn age_h(&self, at_ms: i64) -> f64 {
        stretch::gathered(self.stretches(), at_ms, Band::Middle)
    }

    /// When a target age is reached, as it looks at `now_ms`.
    pub fn milestone<'t>(&self, target: &'t TargetAge, now_ms: i64) -> Milestone<'t> {
        stretch::milestone(self.stretches(), target, self.started_ms, now_ms)
    }
}
