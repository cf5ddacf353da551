//! Stringing up in stages: half tension, a hold, full pitch, and a look a day after.

use facts::Stage;

use super::{Item, ItemKind, StringUp, Wait};
use crate::ages::to_ms;

/// How long after full pitch relief and action are looked at again, hours: by then the neck has settled. Common practice,
/// no source.
const RECHECK_H: f64 = 24.0;

/// One stage: when it may be done, and when it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StageDue {
    /// Which.
    pub stage: Stage,
    /// When it does no harm, ms; none where that never comes.
    pub due_ms: Option<i64>,
    /// When it was reached, ms.
    pub reached_ms: Option<i64>,
}

/// What should have been there before full pitch, and is not yet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TooSoon<'a> {
    /// A joint, or its clamps.
    Item(&'a Item),
    /// The hold at half tension, which lasts until then, ms.
    Hold(i64),
}

impl StringUp {
    /// Why it should not be at pitch, if it is: what bears the strings and is not ready, first what takes longest.
    pub fn too_soon(&self) -> Option<TooSoon<'_>> {
        let pitch_ms = *self.strung.stages.get(&Stage::FullPitch)?;
        let bears = |item: &&Item| matches!(item.kind, ItemKind::Joint | ItemKind::Clamps);
        if let Some(item) = self.held_back_longest().into_iter().find(bears) {
            return Some(TooSoon::Item(item));
        }
        let from_ms = self.strung.stages.get(&Stage::HalfTension).copied().unwrap_or(pitch_ms);
        let until_ms = from_ms + to_ms(self.strung.fitted.half_tension_h?);
        (until_ms > self.now_ms).then_some(TooSoon::Hold(until_ms))
    }

    /// Every stage in order. At half tension half the load is asked.
    pub fn schedule(&self) -> Vec<StageDue> {
        let reached = |stage| self.strung.stages.get(&stage).copied();
        let half_h = self.strung.fitted.half_tension_h;
        let half = half_h.map(|hold_h| {
            let due_ms = self.items.iter().try_fold(self.strung.at_ms, |latest, item| match item.wait {
                Wait::Nothing | Wait::Work => Some(latest),
                Wait::Until(_) => item.half_safe_ms.map(|ms| ms.max(latest)),
                Wait::Never => None,
            });
            let stage = StageDue { stage: Stage::HalfTension, due_ms, reached_ms: reached(Stage::HalfTension) };
            let from_ms = stage.reached_ms.or(due_ms.map(|ms| ms.max(self.now_ms)));
            (stage, from_ms.map(|ms| ms + to_ms(hold_h)))
        });
        let safe_ms = self.items.iter().try_fold(self.strung.at_ms, |latest, item| Some(item.safe_ms()?.max(latest)));
        let held_ms = half.map_or(safe_ms, |(_, held_ms)| held_ms);
        let due_ms = safe_ms.zip(held_ms).map(|(safe_ms, held_ms)| safe_ms.max(held_ms));
        let full = StageDue { stage: Stage::FullPitch, due_ms, reached_ms: reached(Stage::FullPitch) };
        let strung_ms = full.reached_ms.or(due_ms.map(|ms| ms.max(self.now_ms)));
        let recheck = StageDue {
            stage: Stage::Rechecked,
            due_ms: strung_ms.map(|ms| ms + to_ms(RECHECK_H)),
            reached_ms: reached(Stage::Rechecked),
        };
        half.map(|(stage, _)| stage).into_iter().chain([full, recheck]).collect()
    }

    /// The stage to come next; none when all are done. Once at pitch, a stage that was left out is not asked for.
    pub fn next_stage(&self) -> Option<StageDue> {
        let schedule = self.schedule();
        let done = schedule.iter().rposition(|stage| stage.reached_ms.is_some()).map_or(0, |last| last + 1);
        schedule.into_iter().nth(done)
    }

    /// Whether a stage may be done now: its time has come and nobody's work holds it back. Only the look a day after
    /// holds nothing back.
    pub fn may_be_done(&self, stage: &StageDue) -> bool {
        let come = stage.due_ms.is_some_and(|due_ms| due_ms <= self.now_ms);
        match stage.stage {
            Stage::Rechecked => come && self.strung.stages.contains_key(&Stage::FullPitch),
            Stage::HalfTension | Stage::FullPitch => come && self.work().next().is_none(),
        }
    }
}
