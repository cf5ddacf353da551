//! A plan in the making: blocks placed in an order, with what it costs so far and where it can be taken up again.

use crate::{
    Problem,
    board::{Board, Look},
    bounds,
    net::Net,
    plan::late_min,
    room::Room,
    solve::{pushes, wall_wish},
    tally::Tally,
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
    /// How long each block that may be moved keeps what of all with hours is scarcest, in minutes of all there is of it.
    pub(crate) loads: Vec<f64>,
    load: f64,
    /// The job of each block.
    jobs: Vec<usize>,
}

impl<'a> Terms<'a> {
    /// `order` holds what may be moved.
    pub(crate) fn new(problem: &'a Problem, net: &'a Net, order: &[usize]) -> Self {
        let lengths: i64 = net.works.iter().map(|work| work.length).sum();
        let usual_length = lengths as f64 / net.works.len().max(1) as f64;
        let stands = problem.wall.moved_cost > 0 && problem.wall.starts_min.iter().any(Option::is_some);
        let wall = if stands { wall_wish(problem) } else { Vec::new() };
        let loads = loads(problem, net, order);
        let mut terms = Self {
            problem,
            net,
            tails: bounds::tails_within_jobs(net),
            usual_length,
            wall,
            blocks_of: Vec::new(),
            load: loads.iter().sum(),
            loads,
            jobs: net.blocks.iter().map(|block| net.works[block.steps[0]].job).collect(),
        };
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
        self.jobs[block]
    }
}

/// The load of each of the `blocks` on the resource with hours on which all together have the most; 0 for other blocks.
fn loads(problem: &Problem, net: &Net, blocks: &[usize]) -> Vec<f64> {
    let on = |resource: usize| {
        let capacity = f64::from(problem.resources[resource].capacity.max(1));
        let of_step = |step: &usize| -> f64 {
            let step = &problem.steps[*step];
            let needs = step.needs.iter().filter(|need| need.resource == resource);
            needs.map(|need| f64::from(need.count) * (step.length_min + need.tail_min) as f64).sum()
        };
        let mut loads = vec![0.0; net.blocks.len()];
        for block in blocks {
            loads[*block] = net.blocks[*block].steps.iter().map(of_step).sum::<f64>() / capacity;
        }
        loads
    };
    let with_hours = (0..problem.resources.len()).filter(|resource| problem.resources[*resource].hours.is_some());
    let sum = |loads: &Vec<f64>| loads.iter().sum::<f64>();
    let scarcest = with_hours.map(on).max_by(|a, b| sum(a).total_cmp(&sum(b)));
    scarcest.unwrap_or_else(|| vec![0.0; net.blocks.len()])
}

/// What became of a change.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Outcome {
    /// It cannot be made, or costs too much.
    No,
    /// It is the same plan from this place in the order on.
    Same(usize),
    /// It is another plan, or one of the same cost.
    Made,
}

/// An order and the plan it gives.
#[derive(Debug, Clone)]
pub(crate) struct Made<'a> {
    pub(crate) order: Vec<usize>,
    /// No step starts before this.
    pub(crate) wish: Vec<i64>,
    pub(crate) total: i64,
    pub(crate) board: Board<'a>,
    tally: Tally,
    /// What it was before every so many blocks.
    saved: Vec<Tally>,
    stride: usize,
}

/// How often a plan in the making can be taken up again.
const SAVED: usize = 24;

/// What is taken before every so many blocks of a plan, reckoned once it is asked for.
#[derive(Debug)]
pub(crate) struct Marks<'a> {
    rooms: Vec<Room<'a>>,
    /// How many of them hold.
    known: usize,
}

impl<'a> Marks<'a> {
    /// For plans like this, of which nothing is made yet.
    pub(crate) fn new(made: &Made<'a>) -> Self {
        Self { rooms: vec![made.board.room().clone(); made.saved.len()], known: 1 }
    }

    /// The plan is another after the first so many.
    fn forget(&mut self, known: usize) {
        self.known = self.known.min(known);
    }

    /// The plan is another.
    pub(crate) fn forget_all(&mut self) {
        self.forget(1);
    }

    fn at(&mut self, made: &Made<'_>, mark: usize) -> &Room<'a> {
        while self.known <= mark {
            let (before, [room, ..]) = self.rooms.split_at_mut(self.known) else { break };
            room.copy_from(&before[self.known - 1]);
            for block in &made.order[(self.known - 1) * made.stride..self.known * made.stride] {
                made.board.enter(*block, room);
            }
            self.known += 1;
        }
        &self.rooms[mark]
    }
}

impl<'a> Made<'a> {
    /// Nothing made yet: `fixed` is what no order changes.
    pub(crate) fn new(terms: &Terms<'_>, fixed: Board<'a>, order: Vec<usize>) -> Self {
        let tally = Tally::new(terms, &fixed, &order);
        let stride = order.len().div_ceil(SAVED).max(4);
        let saved = vec![tally.clone(); order.len() / stride + 1];
        Self { order, wish: vec![i64::MIN; terms.net.works.len()], total: i64::MAX, board: fixed, tally, saved, stride }
    }

    /// Makes the plan of its order, which differs from that of `old` from `from` on and no more after `until`, unless it
    /// seems to cost more than `limit`.
    pub(crate) fn make(
        &mut self,
        terms: &Terms<'_>,
        old: &Self,
        marks: &mut Marks<'a>,
        (from, until): (usize, usize),
        limit: i64,
        margin: i64,
    ) -> Outcome {
        let mark = from / self.stride;
        self.board.go_back(&old.board, marks.at(old, mark), &self.order[mark * self.stride..]);
        self.tally.copy_from(&old.saved[mark]);
        for at in mark * self.stride..from.min(self.order.len()) {
            self.board.place_as(&old.board, self.order[at]);
            self.tally.count_block(terms, &self.board, self.order[at]);
        }
        let mut same = true;
        for at in from..self.order.len() {
            if at > until && same {
                return Outcome::Same(at);
            }
            if at > from && at.is_multiple_of(self.stride) {
                let was = &old.saved[at / self.stride];
                if at > until && self.tally.foreseen(terms, was, &old.tally, old.total) > limit.saturating_add(margin) {
                    return Outcome::No;
                }
                self.saved[at / self.stride].copy_from(&self.tally);
            }
            // Up to there other blocks have been placed than were before; what is behind them is taken to stay.
            let others = at > from && at <= until && until < self.order.len();
            if others && self.tally.feared(terms, &old.tally) > limit {
                return Outcome::No;
            }
            let block = self.order[at];
            if !self.place(terms, block) || self.tally.total(terms) > limit {
                return Outcome::No;
            }
            same = same && terms.net.blocks[block].steps.iter().all(|step| self.board.at[*step] == old.board.at[*step]);
        }
        self.total = self.tally.total(terms);
        Outcome::Made
    }

    /// What the lateness of a job costs.
    pub(crate) fn late(&self, terms: &Terms<'_>, job: usize) -> i64 {
        self.late_if(terms, job, 0)
    }

    /// What it would cost if the job ended by so many minutes later, or, if negative, earlier.
    pub(crate) fn late_if(&self, terms: &Terms<'_>, job: usize, by_min: i64) -> i64 {
        let of = &terms.problem.jobs[job];
        of.weight * late_min(of.due_min, self.tally.ends[job] + by_min)
    }

    /// How many minutes pass while a minute of the scarcest is worked.
    pub(crate) fn pace(&self, terms: &Terms<'_>) -> f64 {
        (self.tally.end - terms.problem.now_min).max(0) as f64 / terms.load.max(1.0)
    }

    /// Places a block; `false` if there is no place.
    fn place(&mut self, terms: &Terms<'_>, block: usize) -> bool {
        let steps = &terms.net.blocks[block].steps;
        let look = Look { rank: &[], wish: &self.wish, pushes: pushes(steps.len()) };
        if self.board.place(block, look).is_err() {
            return false;
        }
        self.tally.count_block(terms, &self.board, block);
        true
    }

    /// Becomes `other`, which was made from this one and differs in its order from `from` on.
    pub(crate) fn take_from(&mut self, other: &mut Self, marks: &mut Marks<'a>, from: usize) {
        std::mem::swap(&mut self.board, &mut other.board);
        std::mem::swap(&mut self.tally, &mut other.tally);
        self.total = other.total;
        self.take_order(other, marks, from, usize::MAX);
    }

    /// Takes over the order of `other`, which is the same plan from `until` on.
    pub(crate) fn take_order(&mut self, other: &mut Self, marks: &mut Marks<'a>, from: usize, until: usize) {
        marks.forget(from / self.stride + 1);
        std::mem::swap(&mut self.order, &mut other.order);
        std::mem::swap(&mut self.wish, &mut other.wish);
        let until = self.saved.len().min(until.div_ceil(self.stride));
        for at in from / self.stride + 1..until {
            std::mem::swap(&mut self.saved[at], &mut other.saved[at]);
        }
    }
}
