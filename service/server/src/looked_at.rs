//! The part of a cure's page that takes what somebody saw, as a finished value.

use clock::{Bench, Cure};

use crate::{alerts::words::spoken, page::Choice, state::State};

/// What may be looked for, and what was seen.
pub(crate) struct LookedAt {
    /// Stages by the rule's word and what it is called; none for a cure that was withdrawn, which says nothing of its
    /// material.
    pub(crate) stages: Vec<Choice>,
    /// Observations in order of time, in words.
    pub(crate) seen: Vec<String>,
}

impl State {
    pub(crate) fn looked_at(&self, bench: &Bench, cure: &Cure, now_ms: i64) -> LookedAt {
        let stages = cure.begun.milestones.iter().filter(|_| cure.withdrawn.is_none());
        let choice = |target: &facts::TargetAge| Choice { value: target.stage.clone(), text: spoken(&target.stage) };
        LookedAt { stages: stages.map(choice).collect(), seen: self.seen_of(bench, cure, now_ms) }
    }

    fn seen_of(&self, bench: &Bench, cure: &Cure, now_ms: i64) -> Vec<String> {
        let mut seen: Vec<_> = bench.observations().values().filter(|o| o.made.cure == cure.begun.id).collect();
        seen.sort_by_key(|observation| observation.at_ms);
        let line = |observation: &clock::Observation| {
            let (stage, at) = (spoken(&observation.made.stage), self.clock_text(observation.at_ms, now_ms));
            let was = if observation.made.reached { "there" } else { "not yet" };
            let withdrawn = if observation.withdrawn.is_some() { " (withdrawn)" } else { "" };
            format!("{stage}: {was} at {at}{withdrawn}")
        };
        seen.into_iter().map(line).collect()
    }
}
