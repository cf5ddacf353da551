//! What comes out: when each step stands, what that costs, or why there is no plan.

use crate::{Flaw, Problem};

/// When a step stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Slot {
    /// When it starts.
    pub start_min: i64,
    /// When it ends; later than start and length where a break lies in it.
    pub end_min: i64,
}

/// A plan in which every wait, window, hour and capacity is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// One for each step of the problem.
    pub slots: Vec<Slot>,
    /// What it costs.
    pub cost: Cost,
    /// Steps that stood frozen on the wall, could not stand there any more and have moved.
    pub unfrozen: Vec<usize>,
    /// How many schedules were made to find it; the effort counts in these.
    pub schedules: u64,
}

/// What a plan costs; less is better.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Cost {
    /// Minutes late times weight, over all jobs.
    pub late: i64,
    /// How many steps stand elsewhere than on the wall, but for those that come a good deal sooner.
    pub moved: i64,
    /// Minutes from now to the end of the last step.
    pub length_min: i64,
    /// All of it, in minutes of lateness of weight 1.
    pub total: i64,
}

impl Cost {
    /// What it costs if the steps stand at `slots`, one for each step.
    #[must_use]
    pub fn of(problem: &Problem, slots: &[Slot]) -> Self {
        let mut ends = vec![i64::MIN; problem.jobs.len()];
        for (step, slot) in problem.steps.iter().zip(slots) {
            ends[step.job] = ends[step.job].max(slot.end_min);
        }
        let late = problem.jobs.iter().zip(&ends).map(|(job, end)| job.weight * late_min(job.due_min, *end)).sum();
        let moved = (0..slots.len()).map(|i| i64::from(costs_a_move(problem, i, slots[i].start_min))).sum();
        Self::summed(problem, late, moved, ends.into_iter().max().unwrap_or(i64::MIN))
    }

    /// The sum of its parts, for a last step that ends at `end`.
    pub(crate) fn summed(problem: &Problem, late: i64, moved: i64, end: i64) -> Self {
        let length_min = end.max(problem.now_min) - problem.now_min;
        let total = late + problem.wall.moved_cost * moved + problem.length_cost * length_min;
        Self { late, moved, length_min, total }
    }
}

/// By how many minutes a job that ends then is late.
pub(crate) fn late_min(due: Option<i64>, end: i64) -> i64 {
    due.map_or(0, |due| (end.max(due)) - due)
}

/// Whether a step that starts then has moved against the wall; one that has begun never has.
pub(crate) fn has_moved(problem: &Problem, step: usize, start: i64) -> bool {
    later_than_told(problem, step, start).is_some_and(|later| later.abs() > problem.wall.moved_over_min)
}

/// Whether that costs: a step that comes a good deal sooner is welcome.
pub(crate) fn costs_a_move(problem: &Problem, step: usize, start: i64) -> bool {
    let wall = &problem.wall;
    let later = later_than_told(problem, step, start);
    later.is_some_and(|later| later.abs() > wall.moved_over_min && later > -wall.pull_over_min)
}

fn later_than_told(problem: &Problem, step: usize, start: i64) -> Option<i64> {
    let stood = problem.wall.starts_min.get(step).copied().flatten();
    stood.filter(|_| problem.steps[step].begun.is_none()).map(|stood| start - stood)
}

/// Why there is no plan.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NoPlan {
    /// The problem was not put well.
    Flawed(Flaw),
    /// Waits and windows contradict each other, whatever the resources: proved.
    Contradiction {
        /// The steps they go round, in order.
        steps: Vec<usize>,
        /// How much longer the windows would have to be together.
        by_min: i64,
    },
    /// None was found; the nearest miss was this window.
    Window {
        /// The step whose window it is.
        from: usize,
        /// The step that comes too late.
        to: usize,
        /// By how many minutes it was missed in the nearest try.
        by_min: i64,
    },
    /// The hours there are do not suffice: no shift is long enough for the step, or they end too soon.
    Hours {
        /// The first step without a place.
        step: usize,
    },
    /// A step needs more than there is: proved.
    Capacity {
        /// The step.
        step: usize,
        /// What it needs too much of.
        resource: usize,
    },
    /// What has begun leaves a step no place: what it needs is taken when it would have to stand.
    Taken {
        /// The step.
        step: usize,
    },
}
