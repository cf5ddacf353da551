//! What a plan in the making costs so far, and what it will cost in the end as far as can be told.

use crate::{
    Cost,
    board::Board,
    plan::{costs_a_move, late_min},
    trial::Terms,
};

/// What some placed blocks cost at least.
#[derive(Debug, Clone)]
pub(crate) struct Tally {
    /// The least end of each job.
    pub(crate) ends: Vec<i64>,
    /// How many blocks of each job that may be moved have no place yet.
    open: Vec<usize>,
    /// Where the latest placed step of each job starts.
    reached: Vec<i64>,
    pub(crate) end: i64,
    late: i64,
    moved: i64,
}

impl Tally {
    /// Of the blocks `order` none has a place, of the others each where `fixed` has it.
    pub(crate) fn new(terms: &Terms<'_>, fixed: &Board<'_>, order: &[usize]) -> Self {
        let ends = vec![i64::MIN; terms.problem.jobs.len()];
        let mut open = vec![0; ends.len()];
        order.iter().for_each(|block| open[terms.job(*block)] += 1);
        let mut tally = Tally { reached: ends.clone(), ends, open, end: i64::MIN, late: 0, moved: 0 };
        for (step, work) in terms.net.works.iter().enumerate() {
            match fixed.at[step] {
                Some(at) => tally.count(terms, step, at),
                None => tally.ends_by(terms, work.job, work.earliest + terms.tails[step]),
            }
        }
        tally
    }

    pub(crate) fn copy_from(&mut self, other: &Self) {
        self.ends.copy_from_slice(&other.ends);
        self.open.copy_from_slice(&other.open);
        self.reached.copy_from_slice(&other.reached);
        (self.end, self.late, self.moved) = (other.end, other.late, other.moved);
    }

    /// A block that had no place stands where it does on `board`.
    pub(crate) fn count_block(&mut self, terms: &Terms<'_>, board: &Board<'_>, block: usize) {
        self.open[terms.job(block)] -= 1;
        for step in &terms.net.blocks[block].steps {
            if let Some(at) = board.at[*step] {
                self.count(terms, *step, at);
            }
        }
    }

    /// A step stands at `start`..`end`.
    fn count(&mut self, terms: &Terms<'_>, step: usize, (start, end): (i64, i64)) {
        self.moved += i64::from(costs_a_move(terms.problem, step, start));
        let job = terms.net.works[step].job;
        self.reached[job] = self.reached[job].max(start);
        self.ends_by(terms, job, end.max(start + terms.tails[step]));
    }

    fn ends_by(&mut self, terms: &Terms<'_>, job: usize, end: i64) {
        if end > self.ends[job] {
            let of = &terms.problem.jobs[job];
            self.late += of.weight * (late_min(of.due_min, end) - late_min(of.due_min, self.ends[job]));
            self.ends[job] = end;
            self.end = self.end.max(end);
        }
    }

    /// What the plan will cost if each job goes on as in `old`, which had placed the same blocks when it was `was`.
    pub(crate) fn foreseen(&self, terms: &Terms<'_>, was: &Self, old: &Self, old_total: i64) -> i64 {
        let mut total = old_total;
        for (job, of) in terms.problem.jobs.iter().enumerate() {
            let shift = self.reached[job] - was.reached[job];
            if shift != 0 {
                let end = old.ends[job];
                total += of.weight * (late_min(of.due_min, end + shift) - late_min(of.due_min, end));
            }
        }
        total
    }

    /// What the plan will cost if each job of which a block has no place yet ends as in `old`, or later if it has to.
    pub(crate) fn feared(&self, terms: &Terms<'_>, old: &Self) -> i64 {
        let (mut late, mut last) = (0, i64::MIN);
        for (job, of) in terms.problem.jobs.iter().enumerate() {
            let was = if self.open[job] == 0 { i64::MIN } else { old.ends[job] };
            let end = self.ends[job].max(was);
            late += of.weight * late_min(of.due_min, end);
            last = last.max(end);
        }
        Cost::summed(terms.problem, late, self.moved, last).total
    }

    pub(crate) fn total(&self, terms: &Terms<'_>) -> i64 {
        Cost::summed(terms.problem, self.late, self.moved, self.end).total
    }
}
