//! A pot of something mixed: its working life, summed over the air of its zone when it is asked about.
//!
//! A pot lives for minutes or hours and there are few, so it has no clock on the bench: its age is summed anew each time,
//! by the same sum.

use facts::{AlertId, MixId, MixMade, TargetAge};

use crate::{Band, Bench, Due, Milestone, ages::Ages};

/// A mix and when it was made.
#[derive(Debug)]
pub struct Mix {
    /// As it was said.
    pub made: MixMade,
    /// When it was stirred, ms.
    pub at_ms: i64,
}

/// How far a mix is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MixState {
    /// It can be used.
    Live,
    /// The quickest of many would have gelled.
    Doubtful,
    /// Most have gelled.
    Gelled,
}

/// Longest a mix waits to be told of: one that has not gelled by then stands in air in which it never will.
const LONGEST_MS: i64 = 14 * 24 * 3_600_000;

impl Bench {
    /// Mixes by id.
    pub fn mixes(&self) -> &std::collections::BTreeMap<MixId, Mix> {
        &self.mixes
    }

    fn pot_time_ms(&self, mix: &Mix, age_h: f64, band: Band) -> Option<i64> {
        let zone = *self.zone_of.get(&mix.made.zone)?;
        let law = self.laws.law(&mix.made.rule_version, &mix.made.mode).ok()?;
        let air = self.air_of(zone);
        let ages = Ages::new(law, mix.at_ms, air.past);
        let start_h = ages.at(mix.at_ms, band, air);
        ages.time_of(start_h + age_h, band, air)
    }

    /// When a mix gels: the earliest, likely and latest of its working life.
    pub fn gels<'a>(&self, mix: &'a Mix, now_ms: i64) -> Milestone<'a> {
        let life: &TargetAge = &mix.made.life;
        let safe_ms = self.pot_time_ms(mix, life.safe_h, Band::Slow);
        Milestone {
            target: life,
            earliest_ms: self.pot_time_ms(mix, life.earliest_h, Band::Fast),
            likely_ms: self.pot_time_ms(mix, life.likely_h, Band::Middle),
            safe_ms,
            reached: safe_ms.is_some_and(|ms| ms <= now_ms),
        }
    }

    /// Whether a mix could be used at an instant.
    pub fn mix_state(&self, mix: &Mix, at_ms: i64) -> MixState {
        let gels = self.gels(mix, at_ms);
        match (gels.earliest_ms, gels.likely_ms) {
            (_, Some(likely_ms)) if likely_ms <= at_ms => MixState::Gelled,
            (Some(earliest_ms), _) if earliest_ms <= at_ms => MixState::Doubtful,
            _ => MixState::Live,
        }
    }

    /// When a live mix is to be told of, ms: so long before it may gel that what is in the pot can be used up.
    fn gelling_ms(&self, mix: &Mix) -> Option<i64> {
        let life = &mix.made.life;
        self.pot_time_ms(mix, (life.earliest_h - life.ahead_h).max(0.0), Band::Fast)
    }

    /// Mixes of which it is time to tell that they gel.
    pub(crate) fn gelling(&self, now_ms: i64) -> Vec<Due> {
        let young = |mix: &&Mix| now_ms - mix.at_ms < LONGEST_MS;
        let live = self.live_mixes.iter().filter_map(|id| self.mixes.get(id)).filter(young);
        let due = live.filter_map(|mix| Some((mix, self.gelling_ms(mix).filter(|ms| *ms <= now_ms)?)));
        due.map(|(mix, due_ms)| Due::Gelling {
            mix: mix.made.id.clone(),
            alert: AlertId::new(format!("{}:gels", mix.made.id)).expect("a mix's id and a word make an alert's id"),
            due_ms,
            late: now_ms - due_ms > self.settings.late_after_ms,
        })
        .collect()
    }

    /// When the next live mix is to be told of, ms.
    pub(crate) fn next_gelling_ms(&self) -> Option<i64> {
        let live = self.live_mixes.iter().filter_map(|id| self.mixes.get(id));
        live.filter_map(|mix| self.gelling_ms(mix).filter(|ms| ms - mix.at_ms < LONGEST_MS)).min()
    }
}
