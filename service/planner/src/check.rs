//! Whether a plan keeps everything: written from the problem alone, sharing nothing with what makes plans.

use crate::{Edge, Problem, Slot};

/// What a plan breaks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Broken {
    /// There is another number of slots than of steps.
    Count,
    /// A step starts before now or before its job is released, or one that has begun stands elsewhere.
    Start {
        /// The step.
        step: usize,
    },
    /// A step's end is not where its length and the hours put it, or it is worked on while closed.
    Hours {
        /// The step.
        step: usize,
    },
    /// A wait is too short or a window is missed.
    Lag {
        /// The lag, by place.
        lag: usize,
        /// By how many minutes.
        by_min: i64,
    },
    /// More is taken than there is.
    Capacity {
        /// The resource.
        resource: usize,
        /// From when.
        at_min: i64,
        /// How much more.
        over: i64,
    },
}

/// All that a plan breaks; empty if it can be worked by.
///
/// What only begun steps break is not the plan's: lags between two of them, and a capacity that they and what they hold
/// exceed alone.
#[must_use]
pub fn check(problem: &Problem, slots: &[Slot]) -> Vec<Broken> {
    if slots.len() != problem.steps.len() {
        return vec![Broken::Count];
    }
    let mut broken = Vec::new();
    for (step, slot) in slots.iter().enumerate() {
        check_step(problem, *slot, step, &mut broken);
    }
    for (i, lag) in problem.lags.iter().enumerate() {
        if problem.steps[lag.from].begun.is_some() && problem.steps[lag.to].begun.is_some() {
            continue;
        }
        let from = match lag.edge {
            Edge::Start => slots[lag.from].start_min,
            Edge::End => slots[lag.from].end_min,
        };
        let waits = slots[lag.to].start_min - from;
        let short = lag.least_min.map_or(0, |least| least - waits);
        let long = lag.most_min.map_or(0, |most| waits - most);
        if short.max(long) > 0 {
            broken.push(Broken::Lag { lag: i, by_min: short.max(long) });
        }
    }
    for resource in 0..problem.resources.len() {
        check_capacity(problem, slots, resource, &mut broken);
    }
    broken
}

fn check_step(problem: &Problem, slot: Slot, step: usize, broken: &mut Vec<Broken>) {
    let work = &problem.steps[step];
    if let Some(begun) = work.begun {
        if (begun.start_min, begun.end_min) != (slot.start_min, slot.end_min) {
            broken.push(Broken::Start { step });
        }
        return;
    }
    if slot.start_min < problem.now_min.max(problem.jobs[work.job].release_min) {
        broken.push(Broken::Start { step });
    }
    let hours: Vec<&[(i64, i64)]> =
        work.needs.iter().filter_map(|need| Some(problem.resources[need.resource].hours.as_ref()?.open())).collect();
    // The edges of all hours cut the slot into pieces that are open or closed for all of it.
    let mut cuts = vec![slot.start_min, slot.end_min];
    let edges = hours.iter().flat_map(|open| open.iter()).flat_map(|(from, to)| [*from, *to]);
    cuts.extend(edges.filter(|at| (slot.start_min..slot.end_min).contains(at)));
    cuts.sort_unstable();
    let open = |at: i64| hours.iter().all(|open| open.iter().any(|(from, to)| *from <= at && at < *to));
    let worked: i64 = cuts.windows(2).filter(|piece| open(piece[0])).map(|piece| piece[1] - piece[0]).sum();
    let whole = worked == slot.end_min - slot.start_min;
    let may_break = work.splits && open(slot.start_min) && slot.end_min > slot.start_min && open(slot.end_min - 1);
    if worked != work.length_min || slot.end_min < slot.start_min || !(whole || may_break) {
        broken.push(Broken::Hours { step });
    }
}

fn check_capacity(problem: &Problem, slots: &[Slot], resource: usize, broken: &mut Vec<Broken>) {
    // (when, change, whether the plan decides about it)
    let mut changes: Vec<(i64, i64, bool)> = Vec::new();
    let mut take = |from: i64, to: i64, count: u32, begun: bool| {
        if from < to {
            changes.extend([(from, i64::from(count), !begun), (to, -i64::from(count), !begun)]);
        }
    };
    for (step, slot) in problem.steps.iter().zip(slots) {
        for need in step.needs.iter().filter(|need| need.resource == resource) {
            take(slot.start_min, slot.end_min + need.tail_min, need.count, step.begun.is_some());
        }
    }
    for hold in problem.holds.iter().filter(|hold| hold.resource == resource) {
        let begun = problem.steps[hold.from].begun.is_some();
        take(slots[hold.from].start_min, slots[hold.to].end_min, hold.count, begun);
    }
    changes.sort_unstable();
    let (mut taken, mut planned) = (0, 0);
    for (at_min, change, ours) in changes {
        taken += change;
        planned += if ours { change } else { 0 };
        let over = taken - i64::from(problem.resources[resource].capacity);
        if over > 0 && planned > 0 && change > 0 {
            broken.push(Broken::Capacity { resource, at_min, over });
        }
    }
}
