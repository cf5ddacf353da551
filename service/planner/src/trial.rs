//! A plan in the making: blocks placed in an order, with what it costs so far and where it can be taken up again.

use crate::{
    Cost, Problem,
    board::{Board, Look},
    bounds,
    net::Net,
    plan::{has_moved, late_min},
    solve::{pushes, wall_wish},
};

/// What is asked of every plan.
pub(crate) struct Terms<'a> {
    pub(crate) problem: &'a Problem,
    pub(crate) net: &'a Net,
    /// The longest way from the start of each step to the end of its job.
    pub(crate) tails: Vec<i64>,
    /// The mean length of a step.
    pub(crate) usual_length: f64,
    /// Where the wall has each step; empty where nobody minds.
    pub(crate) wall: Vec<i64>,
    /// The blocks that may be moved, by job, as they come in the first order.
    pub(crate) blocks_of: Vec<Vec<usize>>,
}

impl<'a> Terms<'a> {
    /// `order` holds what may be moved.
    pub(crate) fn new(problem: &'a Problem, net: &'a Net, order: &[usize]) -> Self {
        let lengths: i64 = net.works.iter().map(|work| work.length).sum();
        let usual_length = lengths as f64 / net.works.len().max(1) as f64;
        let wall = if problem.wall.moved_cost > 0 { wall_wish(problem) } else { Vec::new() };
        let mut terms =
            Self { problem, net, tails: bounds::tails_within_jobs(net), usual_length, wall, blocks_of: Vec::new() };
        let mut group: Vec<Option<usize>> = vec![None; problem.jobs.len()];
        for block in order {
            let at = *group[terms.job(*block)].get_or_insert(terms.blocks_of.len());
            if at == terms.blocks_of.len() {
                terms.blocks_of.push(Vec::new());
            }
            terms.blocks_of[at].push(*block);
        }
        terms
    }

    /// The job of a block.
    pub(crate) fn job(&self, block: usize) -> usize {
        self.net.works[self.net.blocks[block].steps[0]].job
    }
}

/// Some blocks placed, and what that costs at least.
#[derive(Debug, Clone)]
pub(crate) struct Trial<'a> {
    pub(crate) board: Board<'a>,
    /// The least end of each job.
    ends: Vec<i64>,
    /// Where the latest placed step of each job starts.
    reached: Vec<i64>,
    end: i64,
    late: i64,
    moved: i64,
}

impl<'a> Trial<'a> {
    pub(crate) fn new(terms: &Terms<'_>, board: Board<'a>) -> Self {
        let ends = vec![i64::MIN; terms.problem.jobs.len()];
        let mut trial = Self { board, reached: ends.clone(), ends, end: i64::MIN, late: 0, moved: 0 };
        let net = trial.board.net;
        for step in 0..net.works.len() {
            match trial.board.at[step] {
                Some((start, _)) => trial.count(terms, step, start),
                None => trial.bound(terms, step, net.works[step].earliest),
            }
        }
        trial
    }

    fn copy_from(&mut self, other: &Self) {
        self.board.copy_from(&other.board);
        self.ends.copy_from_slice(&other.ends);
        self.reached.copy_from_slice(&other.reached);
        (self.end, self.late, self.moved) = (other.end, other.late, other.moved);
    }

    fn count(&mut self, terms: &Terms<'_>, step: usize, start: i64) {
        self.moved += i64::from(has_moved(terms.problem, step, start));
        let job = self.board.net.works[step].job;
        self.reached[job] = self.reached[job].max(start);
        let end = self.board.at[step].map_or(i64::MIN, |at| at.1);
        self.ends_by(terms, step, end.max(start + terms.tails[step]));
    }

    fn bound(&mut self, terms: &Terms<'_>, step: usize, start: i64) {
        self.ends_by(terms, step, start + terms.tails[step]);
    }

    fn ends_by(&mut self, terms: &Terms<'_>, step: usize, end: i64) {
        let job = self.board.net.works[step].job;
        if end > self.ends[job] {
            let job_of = &terms.problem.jobs[job];
            self.late += job_of.weight * (late_min(job_of.due_min, end) - late_min(job_of.due_min, self.ends[job]));
            self.ends[job] = end;
            self.end = self.end.max(end);
        }
    }

    /// Places a block; `false` if there is no place.
    fn place(&mut self, terms: &Terms<'_>, block: usize, wish: &[i64]) -> bool {
        let net = self.board.net;
        let steps = &net.blocks[block].steps;
        let look = Look { rank: &[], wish, pushes: pushes(steps.len()) };
        if self.board.place(block, look).is_err() {
            return false;
        }
        for step in steps {
            if let Some((start, _)) = self.board.at[*step] {
                self.count(terms, *step, start);
            }
        }
        true
    }

    /// What the plan will cost if each job goes on as in `old`, which had placed the same blocks when it was `was`.
    fn foreseen(&self, terms: &Terms<'_>, was: &Self, old: &Made<'_>) -> i64 {
        let mut total = old.total;
        for (job, of) in terms.problem.jobs.iter().enumerate() {
            let shift = self.reached[job] - was.reached[job];
            if shift != 0 {
                let end = old.last.ends[job];
                total += of.weight * (late_min(of.due_min, end + shift) - late_min(of.due_min, end));
            }
        }
        total
    }

    fn total(&self, terms: &Terms<'_>) -> i64 {
        Cost::summed(terms.problem, self.late, self.moved, self.end).total
    }
}

/// An order and the plan it gives.
#[derive(Debug, Clone)]
pub(crate) struct Made<'a> {
    pub(crate) order: Vec<usize>,
    /// No step starts before this.
    pub(crate) wish: Vec<i64>,
    pub(crate) total: i64,
    pub(crate) last: Trial<'a>,
    /// What it was before every so many blocks.
    saved: Vec<Trial<'a>>,
    stride: usize,
}

/// How often a plan in the making is saved.
const SAVED: usize = 24;

impl<'a> Made<'a> {
    /// Nothing made yet: `fixed` is what no order changes.
    pub(crate) fn new(fixed: Trial<'a>, order: Vec<usize>) -> Self {
        let stride = order.len().div_ceil(SAVED).max(4);
        let saved = vec![fixed.clone(); order.len() / stride + 1];
        Self { order, wish: vec![i64::MIN; fixed.board.net.works.len()], total: i64::MAX, last: fixed, saved, stride }
    }

    /// Makes the plan of its order, which differs from that of `old` from `from` on and no more after `until`; `false`
    /// if it cannot be made, is the same plan, or seems to cost more than `limit`.
    pub(crate) fn make(
        &mut self,
        terms: &Terms<'_>,
        old: &Self,
        (from, until): (usize, usize),
        limit: i64,
        margin: i64,
    ) -> bool {
        let first = from / self.stride;
        self.last.copy_from(&old.saved[first]);
        for at in first * self.stride..self.order.len() {
            if at > first * self.stride && at.is_multiple_of(self.stride) {
                let was = &old.saved[at / self.stride];
                if at > until
                    && (self.last.board.at == was.board.at
                        || self.last.foreseen(terms, was, old) > limit.saturating_add(margin))
                {
                    return false;
                }
                self.saved[at / self.stride].copy_from(&self.last);
            }
            if !self.last.place(terms, self.order[at], &self.wish) || self.last.total(terms) > limit {
                return false;
            }
        }
        self.total = self.last.total(terms);
        true
    }

    /// Becomes `other`, which was made from this one from `from` on.
    pub(crate) fn take_from(&mut self, other: &mut Self, from: usize) {
        std::mem::swap(&mut self.order, &mut other.order);
        std::mem::swap(&mut self.wish, &mut other.wish);
        std::mem::swap(&mut self.last, &mut other.last);
        for at in from / self.stride + 1..self.saved.len() {
            std::mem::swap(&mut self.saved[at], &mut other.saved[at]);
        }
        self.total = other.total;
    }
}
