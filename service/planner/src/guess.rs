//! What a move is guessed to cost before it is tried: a plan takes a thousand times as long to make.
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
