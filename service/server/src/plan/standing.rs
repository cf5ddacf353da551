//! The plan on the wall: made from a draft, held against the one before, explained.

use std::{collections::BTreeMap, time::Duration};

use facts::StepKind;
use planner::{Calendar, Effort, Lag, NoPlan, Plan, Slot, Told, Wall, explain};

use super::{
    draft::{Draft, JobLine},
    give_way::{Cannot, settle},
    hours::ms,
    places::Places,
    under_way::presume,
};
use crate::now::Stopwatch;

/// What moving a piece against the plan people have read costs, in minutes of the plan's length. Common practice, no
/// source: a step is moved when that saves a job half an hour of lateness.
const MOVED: i64 = 300;
/// A piece that moves by no more has not moved, minutes.
const MOVED_OVER_MIN: i64 = 10;
/// A piece that can come sooner by this much does, minutes: nobody stands idle for an hour beside work that is ready. Common
/// practice, no source.
const PULL_OVER_MIN: i64 = 60;
/// The same bench gives the same plan.
const SEED: u64 = 1;

/// How long to look for a better plan.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Budget {
    pub(crate) schedules: u64,
    pub(crate) longest: Duration,
}

/// What somebody waits for: the plan after a fact, or after a tick on the page.
pub(crate) const FIRST: Budget = Budget { schedules: 200, longest: Duration::from_millis(80) };
/// What nobody waits for, or who asks for it knows.
pub(crate) const LONGER: Budget = Budget { schedules: 3000, longest: Duration::from_millis(400) };

/// A plan with all that is said of it.
#[derive(Debug)]
pub(crate) struct Standing {
    pub(crate) made_ms: i64,
    pub(crate) draft: Draft,
    pub(crate) plan: Plan,
    pub(crate) told: Vec<Told>,
    pub(crate) cannot: Vec<Cannot>,
}

/// The best plan of a draft within a budget, held against the plan on the wall. The search ends early once `enough` says so.
///
/// # Errors
/// When the draft was not put well.
pub(crate) fn stand(
    mut draft: Draft,
    before: &Places,
    freeze_min: i64,
    made_ms: i64,
    budget: Budget,
    enough: &dyn Fn() -> bool,
) -> Result<Standing, NoPlan> {
    if !before.is_empty() {
        presume(&mut draft, before);
        draft.problem.wall = wall(&draft, before, freeze_min);
    }
    let watch = Stopwatch::started();
    let keep_going = move || watch.passed() < budget.longest && !enough();
    let effort = Effort { seed: SEED, schedules: budget.schedules, keep_going: &keep_going };
    let (draft, plan, cannot) = settle(draft, effort)?;
    let told = explain(&draft.problem, &plan);
    Ok(Standing { made_ms, draft, plan, told, cannot })
}

/// Where the plan before has each piece; what nobody has done in its time is due now.
fn wall(draft: &Draft, stood: &Places, freeze_min: i64) -> Wall {
    let now_min = draft.problem.now_min;
    let starts_min = draft.pieces.iter().map(|piece| stood.get(&piece.key).map(|at| now_min.max(*at)));
    Wall {
        starts_min: starts_min.collect(),
        frozen_until_min: now_min + freeze_min,
        moved_cost: MOVED,
        moved_over_min: MOVED_OVER_MIN,
        pull_over_min: PULL_OVER_MIN,
    }
}

impl Standing {
    /// Pieces that are still to be done, by start.
    pub(crate) fn pieces(&self) -> impl Iterator<Item = (usize, Slot)> {
        let open = |i: &usize| self.draft.problem.steps[*i].begun.is_none() || self.draft.pieces[*i].under_way;
        let mut order: Vec<usize> = (0..self.draft.pieces.len()).filter(open).collect();
        order.sort_by_key(|i| (self.plan.slots[*i].start_min, self.plan.slots[*i].end_min, *i));
        order.into_iter().map(|i| (i, self.plan.slots[i]))
    }

    /// Those somebody does; a wait is over by itself.
    pub(crate) fn work(&self) -> impl Iterator<Item = usize> {
        self.pieces().map(|(i, _)| i).filter(|i| self.draft.pieces[*i].kind != StepKind::Wait)
    }

    /// Where each of them stands.
    pub(crate) fn places(&self) -> Places {
        self.pieces().map(|(i, slot)| (self.draft.pieces[i].key.clone(), slot.start_min)).collect()
    }

    /// Pieces that were to stay where they stood and could not, each with its job.
    pub(crate) fn unfrozen(&self) -> impl Iterator<Item = (usize, &JobLine)> {
        self.plan.unfrozen.iter().map(|i| (*i, self.job_of(*i)))
    }

    /// The job a piece belongs to.
    pub(crate) fn job_of(&self, piece: usize) -> &JobLine {
        &self.draft.jobs[self.draft.problem.steps[piece].job]
    }

    /// When a piece starts and ends, ms.
    pub(crate) fn times_ms(&self, piece: usize) -> (i64, i64) {
        let slot = self.plan.slots[piece];
        (ms(slot.start_min), ms(slot.end_min))
    }

    /// When what a piece waits for lets it begin, whenever it is planned, ms.
    pub(crate) fn may_begin_ms(&self, piece: usize) -> i64 {
        let into = self.draft.problem.lags.iter().filter(|lag| lag.to == piece);
        into.filter_map(|lag| Some(self.edge_min(lag) + lag.least_min?)).max().map_or(i64::MIN, ms)
    }

    /// The stretches of a piece: several where the shop closes in between.
    pub(crate) fn stretches_ms(&self, piece: usize) -> Vec<(i64, i64)> {
        let (problem, slot) = (&self.draft.problem, self.plan.slots[piece]);
        let whole = [(slot.start_min, slot.end_min)];
        let open = problem.hours(piece).map(|hours| hours.and(&Calendar::new(whole.to_vec())));
        let parts = open.as_ref().map(Calendar::open).filter(|parts| !parts.is_empty()).unwrap_or(&whole);
        parts.iter().map(|(from, to)| (ms(*from), ms(*to))).collect()
    }

    /// Jobs, and cures of none that still ask for work; one that only keeps its room is nobody's to do.
    pub(crate) fn jobs(&self) -> impl Iterator<Item = usize> {
        let asks = |job: usize| self.pieces().any(|(i, _)| self.draft.problem.steps[i].job == job);
        (0..self.draft.jobs.len()).filter(move |job| self.draft.jobs[*job].id.is_some() || asks(*job))
    }

    /// When a job of the draft is done, ms; none where not all of it is planned.
    pub(crate) fn done_ms(&self, job: usize) -> Option<i64> {
        if self.draft.partly.contains(&job) {
            return None;
        }
        let of_job = self.pieces().filter(|(i, _)| self.draft.problem.steps[*i].job == job);
        of_job.map(|(_, slot)| ms(slot.end_min)).max()
    }

    /// Takes the date of a job back that only made it come soon: nothing is said to be late by it.
    pub(crate) fn without_due(&mut self, job: usize) {
        self.draft.problem.jobs[job].due_min = None;
        self.told = explain(&self.draft.problem, &self.plan);
    }

    /// The minute a lag counts from.
    fn edge_min(&self, lag: &Lag) -> i64 {
        let from = self.plan.slots[lag.from];
        lag.edge.of(from.start_min, from.end_min)
    }

    /// The last minute a piece can start before a window closes on it.
    pub(crate) fn closes_min(&self, piece: usize) -> Option<i64> {
        let into = self.draft.problem.lags.iter().filter(|lag| lag.to == piece);
        into.filter_map(|lag| Some(self.edge_min(lag) + lag.most_min?)).min()
    }

    /// When each job is done, by its id.
    pub(crate) fn jobs_done_ms(&self) -> BTreeMap<String, i64> {
        let jobs = self.draft.jobs.iter().enumerate();
        jobs.filter_map(|(i, job)| Some((job.id.as_ref()?.to_string(), self.done_ms(i)?))).collect()
    }
}
