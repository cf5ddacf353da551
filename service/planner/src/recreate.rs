//! Many jobs: a few are taken off the board from some time on and put back in another order, over and over
//! (ruin and recreate: Schrimpf et al. 2000, doi:10.1006/jcph.1999.6413), accepted as in annealing.

use crate::{
    Cost, Problem, Slot,
    board::{Board, Look},
    chance::Chance,
    plan::{has_moved, late_min},
    solve::{Left, is_placed, pushes, slots_of, wall_wish},
};

/// What a part of the jobs adds to the cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct OfJob {
    late: i64,
    moved: i64,
    end: i64,
}

pub(crate) struct Recreate<'a> {
    problem: &'a Problem,
    board: Board<'a>,
    /// Where each step stood before it was last taken.
    was: Vec<Option<(i64, i64)>>,
    /// Which step is made to wait, and until when.
    later: Vec<i64>,
    /// The mean length of a step.
    usual_length: f64,
    steps_of: Vec<Vec<usize>>,
    /// Blocks by resource: who is in whose way.
    rivals: Vec<Vec<usize>>,
    /// Blocks that may be moved.
    free: Vec<usize>,
    is_free: Vec<bool>,
    of_job: Vec<OfJob>,
    late: i64,
    moved: i64,
    wish: Vec<i64>,
}

/// What a round took off, to be put back if it was for nothing.
#[derive(Default)]
struct Taken {
    blocks: Vec<usize>,
    was: Vec<(usize, (i64, i64))>,
    jobs: Vec<(usize, OfJob)>,
}

/// Rounds of the first cooling; each next takes twice as many, so that any effort is a beginning of a longer one.
const FIRST_COOLING: u64 = 500;
/// Temperature at the start and end of a cooling, as a share of the cost. Tried out on the bench instances.
const HOT: f64 = 0.008;
const COLD: f64 = 0.00003;
/// Up to how many rivals of the first are taken off with it.
const RIVALS: usize = 10;
/// How often a round only closes up what was taken, in the order it stood.
const CLOSE_UP: f64 = 0.1;
/// How often a step of a block is made to wait.
const WAITS: f64 = 0.25;

impl<'a> Recreate<'a> {
    pub(crate) fn new(problem: &'a Problem, board: Board<'a>) -> Self {
        let net = board.net;
        let mut steps_of = vec![Vec::new(); problem.jobs.len()];
        for (i, step) in problem.steps.iter().enumerate() {
            steps_of[step.job].push(i);
        }
        let is_free: Vec<bool> =
            net.blocks.iter().map(|block| block.steps.iter().all(|step| board.pinned[*step].is_none())).collect();
        let free: Vec<usize> = (0..net.blocks.len()).filter(|block| is_free[*block]).collect();
        let mut rivals = vec![Vec::new(); problem.resources.len()];
        for block in &free {
            for step in &net.blocks[*block].steps {
                rivals_of(&board, *step).for_each(|resource| rivals[resource].push(*block));
            }
        }
        rivals.iter_mut().for_each(Vec::dedup);
        let was = board.at.clone();
        let later = vec![i64::MIN; was.len()];
        let lengths: i64 = net.works.iter().map(|work| work.length).sum();
        let usual_length = lengths as f64 / was.len().max(1) as f64;
        let wish = if problem.wall.moved_cost > 0 { wall_wish(problem) } else { Vec::new() };
        let of_job = vec![OfJob::default(); problem.jobs.len()];
        let mut all = Self {
            problem,
            board,
            was,
            later,
            usual_length,
            steps_of,
            rivals,
            free,
            is_free,
            of_job,
            late: 0,
            moved: 0,
            wish,
        };
        all.reckon_all();
        all
    }

    /// Looks for better plans as long as the effort lasts; the best one found.
    pub(crate) fn run(mut self, left: &Left<'_>, chance: &mut Chance) -> Vec<Slot> {
        let (mut best, mut best_total) = (slots_of(&self.board), self.total());
        if self.free.is_empty() {
            return best;
        }
        if !self.wish.is_empty() && left.another() {
            self.start_from_wall();
            if self.total() < best_total {
                (best, best_total) = (slots_of(&self.board), self.total());
            } else {
                self.restore(&best);
            }
        }
        let mut rounds = FIRST_COOLING;
        loop {
            for i in 0..rounds {
                if !left.another() {
                    return best;
                }
                let heat = best_total as f64 * HOT * (COLD / HOT).powf(i as f64 / rounds as f64);
                let before = self.total();
                let taken = self.round(chance);
                let worse = (self.total() - before) as f64;
                let complete = taken.blocks.iter().all(|block| is_placed(&self.board, *block));
                if !complete || worse > -heat * chance.share().max(1e-12).ln() {
                    self.undo(taken);
                } else if self.total() < best_total {
                    (best, best_total) = (slots_of(&self.board), self.total());
                }
            }
            rounds *= 2;
            self.restore(&best);
        }
    }

    fn total(&self) -> i64 {
        let end = self.of_job.iter().map(|job| job.end).max().unwrap_or(i64::MIN);
        Cost::summed(self.problem, self.late, self.moved, end).total
    }

    /// One ruin and what is made of it: some go first, the rest back to where they stood, and who finds that taken
    /// goes where there is room.
    fn round(&mut self, chance: &mut Chance) -> Taken {
        let mut taken = Taken::default();
        let seed = self.free[chance.below(self.free.len())];
        self.ruin(seed, &mut taken);
        let first = taken.blocks.clone();
        for _ in 0..chance.below(RIVALS) {
            if let Some(other) = self.rival(seed, &taken, chance) {
                self.ruin(other, &mut taken);
            }
        }
        for (step, at) in &taken.was {
            self.was[*step] = Some(*at);
        }
        let mut rest = taken.blocks[first.len()..].to_vec();
        if chance.share() < CLOSE_UP {
            rest.extend(first);
            rest.sort_by_cached_key(|block| (self.stood(*block), *block));
        } else {
            for block in first {
                self.put(block, &taken, chance);
            }
            rest.sort_by_cached_key(|block| (self.stood(*block), *block));
            rest.retain(|block| !self.stands_again(*block));
            if chance.below(2) == 0 {
                rest = self.by_job(&rest, chance);
            }
        }
        for block in rest {
            self.put(block, &taken, chance);
        }
        self.reckon(&mut taken);
        taken
    }

    /// Whether a block is placed, if need be where it stood.
    fn stands_again(&mut self, block: usize) -> bool {
        let before = &self.board.net.blocks[block].before;
        is_placed(&self.board, block)
            || before.iter().all(|before| is_placed(&self.board, *before)) && self.board.stand(block, &self.was)
    }

    /// When a block stood before it was taken.
    fn stood(&self, block: usize) -> Option<(i64, i64)> {
        self.board.net.blocks[block].steps.iter().filter_map(|step| self.was[*step]).min()
    }

    /// Takes off a block and all that waits for it.
    fn ruin(&mut self, block: usize, taken: &mut Taken) {
        let mut path = vec![block];
        while let Some(at) = path.pop() {
            if !is_placed(&self.board, at) || !self.is_free[at] {
                continue;
            }
            let net = self.board.net;
            taken.was.extend(net.blocks[at].steps.iter().filter_map(|step| Some((*step, self.board.at[*step]?))));
            self.board.lift(at);
            taken.blocks.push(at);
            path.extend(&net.blocks[at].after);
        }
    }

    /// Another block near in time to where `seed` was, in need of the same or anything.
    fn rival(&self, seed: usize, taken: &Taken, chance: &mut Chance) -> Option<usize> {
        let net = self.board.net;
        let first = net.blocks[seed].steps[0];
        let near = taken.was.iter().find(|(step, _)| *step == first)?.1.0;
        let resources: Vec<usize> =
            net.blocks[seed].steps.iter().flat_map(|step| rivals_of(&self.board, *step)).collect();
        let among = match resources.len() {
            0 => &self.free,
            count => &self.rivals[resources[chance.below(count)]],
        };
        let far = |block: usize| {
            let starts = net.blocks[block].steps.iter().filter_map(|step| self.board.at[*step]);
            starts.map(|(start, _)| (start - near).abs()).min()
        };
        let drawn: Vec<usize> = (0..6).map(|_| among[chance.below(among.len())]).collect();
        drawn.into_iter().filter_map(|block| Some((far(block)?, block))).min().map(|(_, block)| block)
    }

    /// Job by job, in some order of the jobs.
    fn by_job(&self, blocks: &[usize], chance: &mut Chance) -> Vec<usize> {
        let net = self.board.net;
        let job = |block: usize| net.works[net.blocks[block].steps[0]].job;
        let salt = chance.next();
        let rank = |block: &usize| Chance::new(salt ^ job(*block) as u64).next();
        let mut order = blocks.to_vec();
        order.sort_by_cached_key(|block| (rank(block), self.stood(*block), *block));
        order
    }

    /// Puts back a block, after those taken with it that it waits for.
    fn put(&mut self, block: usize, taken: &Taken, chance: &mut Chance) {
        if is_placed(&self.board, block) {
            return;
        }
        let net = self.board.net;
        for before in &net.blocks[block].before {
            if !is_placed(&self.board, *before) && taken.blocks.contains(before) {
                self.put(*before, taken, chance);
            }
        }
        if net.blocks[block].before.iter().any(|before| !is_placed(&self.board, *before)) {
            return;
        }
        let steps = &net.blocks[block].steps;
        let mut wish: &[i64] = if chance.below(2) == 0 { &self.wish } else { &[] };
        // A step of a block may do better to wait for no reason of its own: a clamp-off leaves the hour to a coat.
        let waits = (steps.len() > 1 && chance.share() < WAITS).then(|| steps[chance.below(steps.len())]);
        if let Some((step, (start, _))) = waits.and_then(|step| Some((step, self.was[step]?))) {
            let spread = chance.share() * chance.share() * 20.0 - 2.0;
            self.later[step] = start + (spread * self.usual_length) as i64;
            wish = &self.later;
        }
        let look = Look { rank: &[], wish, pushes: pushes(net.blocks[block].steps.len()) };
        // A block without a place is left out; the round is then undone.
        let _ = self.board.place(block, look);
        if let Some(step) = waits {
            self.later[step] = i64::MIN;
        }
    }

    fn undo(&mut self, taken: Taken) {
        for block in &taken.blocks {
            self.board.lift(*block);
        }
        for (step, at) in taken.was {
            self.board.put_back(step, at);
        }
        for (job, was) in taken.jobs {
            self.late += was.late - self.of_job[job].late;
            self.moved += was.moved - self.of_job[job].moved;
            self.of_job[job] = was;
        }
    }

    /// Puts everything that is free to where `slots` have it.
    fn restore(&mut self, slots: &[Slot]) {
        let net = self.board.net;
        for block in &self.free {
            self.board.lift(*block);
        }
        for step in self.free.iter().flat_map(|block| &net.blocks[*block].steps) {
            self.board.put_back(*step, (slots[*step].start_min, slots[*step].end_min));
        }
        self.reckon_all();
    }

    /// Everything where the wall has it, or as soon after as it can be.
    fn start_from_wall(&mut self) {
        let net = self.board.net;
        let mut taken = Taken::default();
        for block in self.free.clone() {
            self.ruin(block, &mut taken);
        }
        let stood = |block: &usize| net.blocks[*block].steps.iter().map(|step| self.wish[*step]).max();
        let mut order = taken.blocks.clone();
        order.sort_by_key(|block| (stood(block), *block));
        for block in order {
            self.put_as_wished(block);
        }
        if self.free.iter().all(|block| is_placed(&self.board, *block)) {
            self.reckon_all();
        } else {
            self.undo(taken);
        }
    }

    fn put_as_wished(&mut self, block: usize) {
        if is_placed(&self.board, block) {
            return;
        }
        let net = self.board.net;
        for before in &net.blocks[block].before {
            self.put_as_wished(*before);
        }
        if net.blocks[block].before.iter().all(|before| is_placed(&self.board, *before)) {
            let look = Look { rank: &[], wish: &self.wish, pushes: pushes(net.blocks[block].steps.len()) };
            let _ = self.board.place(block, look);
        }
    }

    fn reckon_all(&mut self) {
        (self.late, self.moved) = (0, 0);
        for job in 0..self.of_job.len() {
            self.of_job[job] = self.reckoned(job);
            self.late += self.of_job[job].late;
            self.moved += self.of_job[job].moved;
        }
    }

    /// Reckons anew the jobs of what was taken, and notes what they were.
    fn reckon(&mut self, taken: &mut Taken) {
        let net = self.board.net;
        let mut jobs: Vec<usize> = taken.was.iter().map(|(step, _)| net.works[*step].job).collect();
        jobs.sort_unstable();
        jobs.dedup();
        for job in jobs {
            let now = self.reckoned(job);
            let was = std::mem::replace(&mut self.of_job[job], now);
            self.late += now.late - was.late;
            self.moved += now.moved - was.moved;
            taken.jobs.push((job, was));
        }
    }

    fn reckoned(&self, job: usize) -> OfJob {
        let at = |step: &usize| Some((*step, self.board.at[*step]?));
        let mut of = OfJob { end: i64::MIN, ..OfJob::default() };
        for (step, (start, end)) in self.steps_of[job].iter().filter_map(at) {
            of.end = of.end.max(end);
            of.moved += i64::from(has_moved(self.problem, step, start));
        }
        of.late = self.problem.jobs[job].weight * late_min(self.problem.jobs[job].due_min, of.end);
        of
    }
}

fn rivals_of<'b>(board: &'b Board<'_>, step: usize) -> impl Iterator<Item = usize> + 'b {
    let net = board.net;
    let needs = net.works[step].needs.iter().map(|need| need.resource);
    needs.chain(net.works[step].holds.iter().map(|hold| net.holds[*hold].resource))
}
