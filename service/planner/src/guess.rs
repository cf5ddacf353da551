//! What a move is guessed to cost before it is tried: to make the plan takes far longer.
//!
//! What is scarcest is taken for a single machine on which the blocks stand in their order. Blocks that go earlier make the
//! jobs they pass later by as long as they keep it, and their own job earlier by as long as those they pass do.

use std::ops::Range;

use crate::trial::{Made, Terms};

/// Blocks of one job that go earlier or later.
#[derive(Debug, Clone)]
pub(crate) struct Shift {
    /// The place in the order of one of them.
    pub(crate) at: usize,
    /// The places from which the blocks of its job go.
    pub(crate) places: Range<usize>,
    /// The place they go to.
    pub(crate) to: usize,
    pub(crate) earlier: bool,
}

impl Shift {
    /// Whether the block at this place goes.
    pub(crate) fn moves(&self, terms: &Terms<'_>, now: &Made<'_>, at: usize) -> bool {
        self.places.contains(&at) && terms.job(now.order[at]) == terms.job(now.order[self.at])
    }
}

pub(crate) struct Guess {
    /// The jobs passed so far.
    passed: Vec<bool>,
}

impl Guess {
    pub(crate) fn new(terms: &Terms<'_>) -> Self {
        Self { passed: vec![false; terms.problem.jobs.len()] }
    }

    /// What the lateness of all jobs costs more after `shift`; negative where it saves.
    pub(crate) fn cost(&mut self, terms: &Terms<'_>, now: &Made<'_>, shift: &Shift) -> i64 {
        let moves = |at: &usize| shift.moves(terms, now, *at);
        let load = |at: usize| terms.loads[now.order[at]];
        let reach = if shift.earlier {
            let last = (shift.to..now.order.len()).rev().find(moves);
            shift.to..last.map_or(shift.to, |last| last + 1)
        } else {
            let first = (0..=shift.to).find(moves);
            first.unwrap_or(shift.to)..shift.to + 1
        };
        let all: f64 = reach.clone().filter(moves).map(load).sum();
        let pace = now.pace(terms);
        let more = |job: usize, load: f64| now.late_if(terms, job, (load * pace) as i64) - now.late(terms, job);
        self.passed.fill(false);
        let (mut moved, mut between, mut cost) = (0.0, 0.0, 0);
        for at in reach.rev() {
            if moves(&at) {
                moved += load(at);
                continue;
            }
            between += load(at);
            // A job ends with the last of its blocks: what counts is what passes that.
            let job = terms.job(now.order[at]);
            if !std::mem::replace(&mut self.passed[job], true) {
                let later = if shift.earlier { moved } else { moved - all };
                cost += more(job, later);
            }
        }
        let later = if shift.earlier { -between } else { between };
        cost + more(terms.job(now.order[shift.at]), later)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        Calendar, Job, Need, Problem, Resource, Step,
        board::Board,
        net::Net,
        trial::{Made, Marks, Terms},
    };

    /// Lengths, due dates and weights of jobs of one step, for one pair of hands that never rests.
    const JOBS: [[i64; 3]; 5] = [[30, 40, 2], [10, 20, 1], [50, 60, 3], [20, 150, 1], [40, 70, 5]];

    fn single_machine() -> Problem {
        let job = |[_, due, weight]: &[i64; 3]| Job { release_min: 0, due_min: Some(*due), weight: *weight };
        let step = |(job, [length_min, ..]): (usize, &[i64; 3])| Step {
            job,
            length_min: *length_min,
            needs: vec![Need { resource: 0, count: 1, tail_min: 0 }],
            ..Step::default()
        };
        Problem {
            resources: vec![Resource { capacity: 1, hours: Some(Calendar::new(vec![(0, 1000)])) }],
            jobs: JOBS.iter().map(job).collect(),
            steps: JOBS.iter().enumerate().map(step).collect(),
            ..Problem::default()
        }
    }

    /// Weighted lateness of jobs done one after the other, reckoned by hand.
    fn late(problem: &Problem, net: &Net, order: &[usize]) -> i64 {
        let mut end = 0;
        let jobs = order.iter().map(|block| &JOBS[problem.steps[net.blocks[*block].steps[0]].job]);
        jobs.map(|[length, due, weight]| {
            end += length;
            weight * (end - due).max(0)
        })
        .sum()
    }

    #[test]
    fn on_a_single_machine_the_guess_is_the_truth() {
        let problem = single_machine();
        let net = Net::new(&problem);
        let order: Vec<usize> = (0..net.blocks.len()).collect();
        let terms = Terms::new(&problem, &net, &order);
        let mut now = Made::new(&terms, Board::new(&net), order.clone());
        let mut marks = Marks::new(&now);
        now.make(&terms, &now.clone(), &mut marks, (0, usize::MAX), i64::MAX, 0);
        for at in 0..order.len() {
            for to in (0..order.len()).filter(|to| *to != at) {
                let mut moved = order.clone();
                let block = moved.remove(at);
                moved.insert(to, block);
                let shift = Shift { at, places: at..at + 1, to, earlier: to < at };
                let truth = late(&problem, &net, &moved) - late(&problem, &net, &order);
                assert_eq!(Guess::new(&terms).cost(&terms, &now, &shift), truth, "from {at} to {to}");
            }
        }
    }
}
