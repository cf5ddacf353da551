//! A cure is moved to another version of its rule: its clocks are changed for those of that version, and its age is summed
//! anew over all the air it has had, as if it had gone by that version from its start.

use std::sync::Arc;

use facts::{CureBegun, CureRuleChanged};

use crate::{Bench, Cure, cure::Told};

impl Cure {
    /// Its milestones and limits are those of another version. What was told of a stage both have stays told.
    fn follow(&mut self, change: &CureRuleChanged) {
        let stages: Vec<String> = self.begun.milestones.iter().map(|target| target.stage.clone()).collect();
        let mut known: Vec<(String, Told)> = stages.into_iter().zip(std::mem::take(&mut self.told)).collect();
        known.append(&mut self.former);
        let of_stage = |stage: &str, known: &mut Vec<(String, Told)>| {
            let place = known.iter().position(|(name, _)| name == stage);
            place.map_or_else(Told::default, |place| known.swap_remove(place).1)
        };
        self.told = change.milestones.iter().map(|target| of_stage(&target.stage, &mut known)).collect();
        // The others keep how often they were told, lest an alert's id comes twice.
        self.former = known;
        self.begun = Arc::new(CureBegun {
            rule_version: change.rule_version.clone(),
            mode: change.mode.clone(),
            milestones: change.milestones.clone(),
            limits: change.limits.clone(),
            bearing: change.bearing.clone(),
            ..CureBegun::clone(&self.begun)
        });
    }
}

impl Bench {
    pub(crate) fn change_rule(&mut self, change: &CureRuleChanged) {
        let Some(&ix) = self.cure_of.get(&change.cure) else { return };
        if !self.cures[ix as usize].is_open() {
            return;
        }
        let legs: Vec<_> = self.cures[ix as usize].legs.iter().map(|leg| (leg.zone, leg.from_ms)).collect();
        self.off_clocks(ix);
        self.suspects.retain(|(cure, _)| *cure != ix);
        let cure = &mut self.cures[ix as usize];
        cure.follow(change);
        cure.legs.clear();
        cure.broken = None;
        // One whose version could not be run has no legs; it is known only where it began.
        let (zone, started_ms) = (cure.begun.zone.clone(), cure.begun.started_at.timestamp_millis());
        let began = self.zone_of.get(&zone).map(|zone| (*zone, started_ms));
        let legs = if legs.is_empty() { began.into_iter().collect() } else { legs };
        for (zone, from_ms) in legs {
            self.begin_leg(ix, zone, from_ms);
        }
        self.rearm(ix);
        self.close_if_over(ix);
    }
}
