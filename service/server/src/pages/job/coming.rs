//! What comes next of a cure, as the steps of its job say it: the stage, and its earliest, likely and safe time.

use clock::{Bench, Cure, Job, Milestone};
use facts::Meets;

use crate::{
    alerts::words::{place, spoken},
    pages::moment::Moment,
    state::State,
};

/// A stage that is to come.
pub(in crate::pages) struct Coming {
    /// The rule's word for it, as a form names it.
    pub(in crate::pages) stage: String,
    /// What it is called.
    pub(in crate::pages) spoken: String,
    /// Its safe time; none where the air that is expected does not bring it.
    pub(in crate::pages) safe: Option<Moment>,
    /// "earliest 16:40, likely 17:05, safe 17:30"
    pub(in crate::pages) times: String,
}

/// The next stage that lets something be done and has not been told yet.
pub(super) fn next_opening<'a>(bench: &'a Bench, cure: &'a Cure, now_ms: i64) -> Option<Milestone<'a>> {
    let untold = bench.milestones(cure, now_ms).into_iter().enumerate().filter(|(m, _)| cure.told(*m).is_none());
    let opening = untold.map(|(_, milestone)| milestone).filter(|milestone| milestone.target.meets == Meets::Opens);
    opening.min_by_key(|milestone| milestone.safe_ms.unwrap_or(i64::MAX))
}

impl State {
    /// What a cure comes to next.
    pub(super) fn coming(&self, bench: &Bench, cure: &Cure, now_ms: i64) -> Option<Coming> {
        next_opening(bench, cure, now_ms).map(|milestone| self.of_milestone(&milestone, now_ms))
    }

    /// The last of what a wait lasts for: all that was glued or coated before has told its last milestone then.
    pub(super) fn whole_wait(&self, bench: &Bench, job: &Job, now_ms: i64) -> Option<Coming> {
        let open = job.cures.iter().filter_map(|id| bench.cure(id.as_str())).filter(|cure| cure.is_open());
        let milestones = open.flat_map(|cure| {
            let of_cure = bench.milestones(cure, now_ms).into_iter().enumerate();
            of_cure.filter(|(m, _)| cure.told(*m).is_none()).map(|(_, milestone)| milestone)
        });
        let last = milestones.max_by_key(|milestone| milestone.safe_ms.unwrap_or(i64::MAX))?;
        Some(self.of_milestone(&last, now_ms))
    }

    fn of_milestone(&self, milestone: &Milestone<'_>, now_ms: i64) -> Coming {
        let text = |at_ms: Option<i64>| at_ms.map_or_else(|| "never".into(), |at_ms| self.clock_text(at_ms, now_ms));
        Coming {
            stage: milestone.target.stage.clone(),
            spoken: spoken(&milestone.target.stage),
            safe: milestone.safe_ms.map(|at_ms| self.moment(at_ms, now_ms)),
            times: match (milestone.earliest_ms, milestone.likely_ms, milestone.safe_ms) {
                (None, None, None) => "not in the air that is expected".into(),
                (earliest, likely, safe) => {
                    format!("earliest {}, likely {}, safe {}", text(earliest), text(likely), text(safe))
                }
            },
        }
    }

    /// What still cures on a job, each with what it comes to next.
    pub(super) fn cures_on(&self, bench: &Bench, job: &Job, now_ms: i64) -> Vec<String> {
        let open = job.cures.iter().filter_map(|id| bench.cure(id.as_str())).filter(|cure| cure.is_open());
        let said = |cure: &Cure| match self.coming(bench, cure, now_ms) {
            Some(Coming { spoken, safe: Some(safe), .. }) => {
                format!("{}: {spoken} at {}", place(bench, cure), safe.text)
            }
            Some(Coming { spoken, .. }) => format!("{}: {spoken}, not in the air that is expected", place(bench, cure)),
            None => format!("{}: its clamps are on", place(bench, cure)),
        };
        open.map(said).collect()
    }
}
