//! Many jobs: the order in which blocks take their places is changed a little, over and over, and kept as in annealing
//! (Kirkpatrick, Gelatt, Vecchi 1983, doi:10.1126/science.220.4598.671).
//!
//! The same order always gives the same plan, each block at the earliest it finds room (serial schedule generation:
//! Kolisch 1996, doi:10.1016/0377-2217(95)00357-6). First whole jobs change places, then their blocks too.

use crate::{
    Problem, Slot,
    board::Board,
    chance::Chance,
    change::{Change, Scope},
    rules,
    solve::{Left, slots_of},
    trial::{Made, Marks, Outcome, Terms},
};

/// Plans of the first cooling, for each job. Each round has a cooling by whole jobs and a shorter one by blocks.
const FIRST_COOLING: u64 = 40;
const BY_BLOCKS: f64 = 0.3;
/// How much longer each round is than the one before, so that any effort is a beginning of a longer one.
const LONGER: f64 = 1.5;
/// In so many rounds the move tried is the best guessed of so many. A short search gains much by it; in every round of a
/// long one it made the small bench instance worse.
const GUESSED_ROUNDS: u32 = 3;
const GUESSED_OF: usize = 3;
/// Temperatures, as shares of what a job costs in the mean: where coolings by jobs and by blocks start and end. Tried out
/// on the bench instances.
const JOBS: [f64; 2] = [1.0, 0.1];
const BLOCKS: [f64; 2] = [0.24, 0.03];
/// A plan in the making is given up when it foresees to miss what would be kept by so many temperatures.
const MARGIN: f64 = 1.0;

pub(crate) struct Order<'a> {
    terms: Terms<'a>,
    now: Made<'a>,
    marks: Marks<'a>,
    next: Made<'a>,
    best: Made<'a>,
    /// What has become of the plan on the wall, if it can be worked by.
    wall: Option<Made<'a>>,
    change: Change,
}

impl<'a> Order<'a> {
    /// `order` is that in which the blocks of `board` were placed. `None` where nothing may be moved.
    pub(crate) fn new(problem: &'a Problem, mut board: Board<'a>, order: &[usize]) -> Option<Self> {
        let free = free(&board);
        let order: Vec<usize> = order.iter().copied().filter(|block| free[*block]).collect();
        if order.is_empty() {
            return None;
        }
        order.iter().for_each(|block| board.lift_open(*block));
        let terms = Terms::new(problem, board.net, &order);
        let now = Made::new(&terms, board, order);
        let marks = Marks::new(&now);
        Some(Self { change: Change::new(&terms), marks, next: now.clone(), best: now.clone(), wall: None, now, terms })
    }

    /// Looks for better plans as long as the effort lasts; the best one found, if any. The plan on the wall is left only
    /// for one that saves more than moving a step costs: what people have read is worth a few minutes.
    pub(crate) fn run(mut self, left: &Left<'_>, chance: &mut Chance) -> Option<Vec<Slot>> {
        self.start(left).then_some(())?;
        let mut plans = FIRST_COOLING * self.terms.blocks_of.len() as u64;
        for round in 1u32.. {
            self.change.drawn = if round <= GUESSED_ROUNDS { GUESSED_OF } else { 1 };
            let by_blocks = (plans as f64 * BY_BLOCKS) as u64;
            let go_on = self.cool(Scope::Jobs, JOBS, plans, left, chance)
                && self.cool(Scope::Blocks, BLOCKS, by_blocks, left, chance);
            if !go_on {
                break;
            }
            plans = (plans as f64 * LONGER) as u64 + 1;
            self.now.clone_from(&self.best);
            self.marks.forget_all();
        }
        let saves = |wall: &Made<'_>| wall.total - self.best.total > self.terms.problem.wall.moved_cost;
        let kept = self.wall.filter(|wall| !saves(wall)).unwrap_or(self.best);
        Some(slots_of(&kept.board))
    }

    /// The best of the rules' orders; `false` if not one can be placed.
    fn start(&mut self, left: &Left<'_>) -> bool {
        for (order, wish) in rules::orders(&self.terms, &self.now.order) {
            if self.now.total < i64::MAX && !left.another() {
                break;
            }
            let limit = self.now.total;
            (self.next.order, self.next.wish) = (order, wish);
            if self.next.make(&self.terms, &self.now, &mut self.marks, (0, usize::MAX), limit, 0) == Outcome::Made {
                self.now.take_from(&mut self.next, &mut self.marks, 0);
                if !self.terms.wall.is_empty() && self.wall.is_none() && self.now.wish == self.terms.wall {
                    self.wall = Some(self.now.clone());
                }
            }
        }
        self.best.clone_from(&self.now);
        self.now.total < i64::MAX
    }

    /// So many plans at temperatures falling from `hot` to `cold`; `false` when the effort is spent.
    fn cool(&mut self, scope: Scope, [hot, cold]: [f64; 2], plans: u64, left: &Left<'_>, chance: &mut Chance) -> bool {
        let jobs = self.terms.blocks_of.len() as f64;
        for i in 0..plans {
            if !left.another() {
                return false;
            }
            let heat = self.best.total as f64 / jobs * hot * (cold / hot).powf(i as f64 / plans as f64);
            let taken = (-heat * chance.share().max(1e-12).ln()) as i64;
            let Some(changed) = self.change.make(&self.terms, &self.now, &mut self.next, scope, chance) else {
                continue;
            };
            let limit = if changed.only_if_better { self.now.total - 1 } else { self.now.total + taken };
            let margin = (heat * MARGIN) as i64;
            match self.next.make(&self.terms, &self.now, &mut self.marks, (changed.from, changed.until), limit, margin)
            {
                Outcome::No => {}
                Outcome::Same(at) => self.now.take_order(&mut self.next, &mut self.marks, changed.from, at),
                Outcome::Made => {
                    self.now.take_from(&mut self.next, &mut self.marks, changed.from);
                    if self.now.total < self.best.total {
                        self.best.clone_from(&self.now);
                    }
                }
            }
        }
        true
    }
}

/// Which blocks may be moved: none that the wall pins, that has held something since before, or that such a one waits for.
fn free(board: &Board<'_>) -> Vec<bool> {
    let net = board.net;
    let mut free = vec![true; net.blocks.len()];
    for (at, block) in net.blocks.iter().enumerate().rev() {
        let begun = |step: usize| net.works[step].begun.is_some();
        let frozen = |step: &usize| board.pinned[*step].is_some() && !begun(*step);
        let holds = |step: &usize| net.works[*step].holds.iter().any(|hold| begun(net.holds[*hold].from));
        let fixed = block.steps.iter().any(|step| frozen(step) || holds(step));
        let done = block.steps.iter().all(|step| begun(*step));
        free[at] = !fixed && !done && block.after.iter().all(|after| free[*after] || is_done(board, *after));
    }
    free
}

/// Whether all of a block has begun: then it stands where it stands whatever it waited for.
fn is_done(board: &Board<'_>, block: usize) -> bool {
    board.net.blocks[block].steps.iter().all(|step| board.net.works[*step].begun.is_some())
}
