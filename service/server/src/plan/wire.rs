//! The plan as JSON.

use chrono::{DateTime, Utc};
use facts::StepKind;
use planner::Slot;
use serde::Serialize;

use super::{
    draft::Part,
    give_way::Cannot,
    hours::ms,
    standing::Standing,
    what_if::{HOW, Later, WhatIf},
    words::{self, Reason},
};
use crate::{alerts::words::ESTIMATE, settings::Certainty, state::State};

/// A plan with all that is said of it.
#[derive(Debug, Serialize, utoipa::ToSchema)]
#[schema(as = BenchPlan)]
pub(crate) struct PlanWire {
    made_at: String,
    /// Which time of a cure the steps wait for.
    certainty: Certainty,
    /// What is to be done, in order of start.
    steps: Vec<PieceWire>,
    jobs: Vec<JobDoneWire>,
    /// Windows that cannot be met and jobs without a place.
    cannot: Vec<CannotWire>,
    /// Steps that could not stay where the plan before had them for the next hours.
    unfrozen: Vec<String>,
    /// How many steps stand elsewhere than in the plan before.
    moved: i64,
    assumed: Vec<String>,
    estimate: &'static str,
}

#[derive(Debug, Serialize, utoipa::ToSchema)]
struct PieceWire {
    job: Option<String>,
    job_title: String,
    instrument: String,
    step: Option<String>,
    cure: Option<String>,
    #[schema(value_type = crate::twins::StepKind)]
    kind: StepKind,
    /// "step", or "clamps_off" where the clamps of a glue-up are taken off.
    part: &'static str,
    title: String,
    start_at: String,
    end_at: String,
    hands_on_min: i64,
    zone: Option<String>,
    clamps: u32,
    window_closes_at: Option<String>,
    why: Vec<Reason>,
    /// How long it could wait if nothing else moved.
    float_min: i64,
}

#[derive(Debug, Serialize, utoipa::ToSchema)]
struct JobDoneWire {
    job: Option<String>,
    title: String,
    instrument: String,
    due_at: Option<String>,
    /// When its last step is done; null where not all of it can be planned.
    done_at: Option<String>,
    late_min: i64,
}

/// What one job more would do.
#[derive(Debug, Serialize, utoipa::ToSchema)]
pub(crate) struct WhatIfWire {
    done_at: Option<String>,
    due_at: Option<String>,
    chance_by_due: Option<f64>,
    /// Dates to promise, each with the chance that it holds.
    promise: Vec<PromiseWire>,
    others_later: Vec<LaterWire>,
    /// What cannot be kept with it and could without.
    cannot: Vec<CannotWire>,
    /// What had to be taken for granted of it.
    assumed: Vec<String>,
    samples: usize,
    how: &'static str,
    plan: PlanWire,
    estimate: &'static str,
}

#[derive(Debug, Serialize, utoipa::ToSchema)]
struct PromiseWire {
    chance: f64,
    done_by: Option<String>,
}

#[derive(Debug, Serialize, utoipa::ToSchema)]
struct LaterWire {
    job: String,
    title: String,
    done_at: String,
    later_min: i64,
    late_min: i64,
}

#[derive(Debug, Serialize, utoipa::ToSchema)]
struct CannotWire {
    kind: &'static str,
    job: Option<String>,
    step: Option<String>,
    title: String,
    after: Option<String>,
    by_min: Option<i64>,
    says: String,
    mend: &'static str,
}

impl State {
    pub(crate) fn plan_wire(&self, standing: &Standing) -> PlanWire {
        let draft = &standing.draft;
        PlanWire {
            made_at: self.rfc3339(standing.made_ms),
            certainty: self.settings.plan.certainty,
            steps: standing.pieces().map(|(i, slot)| self.piece_wire(standing, i, slot)).collect(),
            jobs: standing.jobs().map(|job| self.job_done_wire(standing, job)).collect(),
            cannot: standing.cannot.iter().map(cannot_wire).collect(),
            unfrozen: standing.unfrozen().map(|(i, _)| draft.pieces[i].title.clone()).collect(),
            moved: standing.plan.cost.moved,
            assumed: draft.assumed.iter().cloned().collect(),
            estimate: ESTIMATE,
        }
    }

    pub(crate) fn what_if_wire(&self, answer: &WhatIf, due_at: Option<DateTime<Utc>>) -> WhatIfWire {
        let promise = |(chance, by_ms): &(f64, Option<i64>)| PromiseWire {
            chance: *chance,
            done_by: by_ms.map(|at_ms| self.rfc3339(at_ms)),
        };
        let later = |later: &Later| LaterWire {
            job: later.job.clone(),
            title: later.title.clone(),
            done_at: self.rfc3339(later.done_ms),
            later_min: later.later_min,
            late_min: later.late_min,
        };
        WhatIfWire {
            done_at: answer.done_ms.map(|at_ms| self.rfc3339(at_ms)),
            due_at: due_at.map(|due| self.rfc3339(due.timestamp_millis())),
            chance_by_due: answer.chance_by_due,
            promise: answer.promise.iter().map(promise).collect(),
            others_later: answer.later.iter().map(later).collect(),
            cannot: answer.cannot.iter().map(cannot_wire).collect(),
            assumed: answer.assumed.clone(),
            samples: answer.samples,
            how: HOW,
            plan: self.plan_wire(&answer.with),
            estimate: ESTIMATE,
        }
    }

    fn piece_wire(&self, standing: &Standing, i: usize, slot: Slot) -> PieceWire {
        let (piece, step) = (&standing.draft.pieces[i], &standing.draft.problem.steps[i]);
        let job = &standing.draft.jobs[step.job];
        PieceWire {
            job: job.id.as_ref().map(ToString::to_string),
            job_title: job.title.clone(),
            instrument: job.instrument.clone(),
            step: piece.step.as_ref().map(ToString::to_string),
            cure: piece.cure.as_ref().map(ToString::to_string),
            kind: piece.kind,
            part: if piece.part == Part::Step { "step" } else { "clamps_off" },
            title: piece.title.clone(),
            start_at: self.rfc3339(ms(slot.start_min)),
            end_at: self.rfc3339(ms(slot.end_min)),
            hands_on_min: step.length_min,
            zone: piece.zone.as_ref().map(ToString::to_string),
            clamps: piece.clamps,
            window_closes_at: standing.closes_min(i).map(|at| self.rfc3339(ms(at))),
            why: self.reasons(standing, i, standing.made_ms),
            float_min: standing.told[i].float_min,
        }
    }

    fn job_done_wire(&self, standing: &Standing, ix: usize) -> JobDoneWire {
        let (line, job) = (&standing.draft.jobs[ix], &standing.draft.problem.jobs[ix]);
        let due_ms = job.due_min.map(ms);
        let done_ms = standing.done_ms(ix);
        JobDoneWire {
            job: line.id.as_ref().map(ToString::to_string),
            title: line.title.clone(),
            instrument: line.instrument.clone(),
            due_at: due_ms.map(|at| self.rfc3339(at)),
            done_at: done_ms.map(|at| self.rfc3339(at)),
            late_min: due_ms.zip(done_ms).map_or(0, |(due, done)| (done - due).max(0) / 60_000),
        }
    }
}

fn cannot_wire(what: &Cannot) -> CannotWire {
    let (kind, says, mend) = words::cannot(what);
    CannotWire {
        kind,
        job: what.job.id.as_ref().map(ToString::to_string),
        step: what.piece.as_ref().and_then(|piece| piece.step.as_ref()).map(ToString::to_string),
        title: what.title.clone(),
        after: what.after.as_ref().map(|after| after.title.clone()),
        by_min: what.by_min,
        says,
        mend,
    }
}
