//! A first plan, and better ones for as long as the effort lasts.

use std::cell::Cell;

use crate::{
    Broken, Cost, FARTHEST_MIN, NoPlan, Plan, Problem, Slot,
    board::{Board, Look, Miss},
    bounds,
    breed::{self, Breed},
    chance::Chance,
    check::check,
    net::Net,
    order::Order,
    plan::has_moved,
    pull::pulled,
    reorder::Reorder,
};

/// How long to look for something better.
#[derive(Clone, Copy)]
pub struct Effort<'a> {
    /// The same seed gives the same plan.
    pub seed: u64,
    /// How many schedules may be made; 1 gives the first plan.
    pub schedules: u64,
    /// Asked before each schedule; `false` ends the search with the best plan so far.
    pub keep_going: &'a dyn Fn() -> bool,
}

impl Effort<'_> {
    /// So many schedules, whatever time they take.
    #[must_use]
    pub fn schedules(seed: u64, schedules: u64) -> Self {
        Self { seed, schedules, keep_going: &|| true }
    }
}

/// What is left of an effort.
pub(crate) struct Left<'a> {
    effort: Effort<'a>,
    made: Cell<u64>,
}

impl Left<'_> {
    /// Whether another schedule may be made; counts it.
    pub(crate) fn another(&self) -> bool {
        let go = self.made.get() < self.effort.schedules && (self.effort.keep_going)();
        self.made.set(self.made.get() + u64::from(go));
        go
    }
}

/// The best plan the effort allows.
///
/// A longer effort with the same seed goes the same way further, so that what it finds is never worse.
///
/// # Errors
/// [`NoPlan`] where none was found, with the reason.
pub fn solve(problem: &Problem, effort: Effort<'_>) -> Result<Plan, NoPlan> {
    problem.checked().map_err(NoPlan::Flawed)?;
    let net = Net::new(problem);
    let tails = bounds::tails(&net)?;
    let left = Left { effort, made: Cell::new(1) };
    let mut chance = Chance::new(effort.seed);
    let First { board, order, unfrozen } = first(problem, &net, &tails, &left, &mut chance)?;
    // Nothing that breaks anything leaves this room.
    if let Some(broken) = check(problem, &slots_of(&board)).first() {
        return Err(NoPlan::Taken { step: step_of(problem, broken) });
    }
    let first_slots = slots_of(&board);
    let on_wall = problem.wall.starts_min.iter().any(Option::is_some);
    let better = if problem.jobs.len() > 1 || on_wall {
        Order::new(problem, board, &order).and_then(|order| order.run(&left, &mut chance))
    } else {
        let reorder = Reorder::new(problem, &net, board, tails);
        let bred = breed::can(problem);
        Some(if bred { Breed::new(reorder).run(&left, &mut chance) } else { reorder.run(&left, &mut chance) })
    };
    // The plan on the wall may cost a little more than another.
    let most = Cost::of(problem, &first_slots).total + if on_wall { problem.wall.moved_cost } else { 0 };
    let good = |slots: &Vec<Slot>| Cost::of(problem, slots).total <= most && check(problem, slots).is_empty();
    let found = better.filter(good).unwrap_or(first_slots);
    let cost = |slots: &Vec<Slot>| Cost::of(problem, slots).total;
    let pull = |slots| if problem.jobs.len() > 1 || on_wall { pulled(problem, &net, slots) } else { slots };
    let (found, hung) = (pull(found), as_hung(problem, &net).map(pull));
    let slots = hung.filter(|hung| cost(hung) <= cost(&found)).unwrap_or(found);
    let unfrozen = unfrozen.into_iter().filter(|step| has_moved(problem, *step, slots[*step].start_min)).collect();
    Ok(Plan { cost: Cost::of(problem, &slots), slots, unfrozen, schedules: left.made.get() })
}

/// A step that what is broken is about.
fn step_of(problem: &Problem, broken: &Broken) -> usize {
    match broken {
        Broken::Start { step } | Broken::Hours { step } => *step,
        Broken::Lag { lag, .. } => problem.lags[*lag].to,
        Broken::Capacity { resource, .. } => {
            let held = problem.holds.iter().find(|hold| hold.resource == *resource).map(|hold| hold.from);
            let needs = |step: &crate::Step| step.needs.iter().any(|need| need.resource == *resource);
            held.or_else(|| problem.steps.iter().position(needs)).unwrap_or(0)
        }
        Broken::Count => 0,
    }
}

/// How often a step may be pushed later in a block of this many before the block goes behind all others.
pub(crate) fn pushes(steps: usize) -> usize {
    40 + 4 * steps
}

/// How often other orders of a block that fits nowhere are tried.
const TRIES: usize = 400;

/// The first plan, the order in which blocks took their places, and what could not stay frozen.
struct First<'a> {
    board: Board<'a>,
    order: Vec<usize>,
    unfrozen: Vec<usize>,
}

/// The first plan: what has begun and what is frozen, then everything by due date.
fn first<'a>(
    problem: &Problem,
    net: &'a Net,
    tails: &[i64],
    left: &Left<'_>,
    chance: &mut Chance,
) -> Result<First<'a>, NoPlan> {
    let mut order = Vec::new();
    let mut board = Board::new(net);
    let begun = |block: &&usize| net.blocks[**block].steps.iter().any(|step| net.works[*step].begun.is_some());
    let all: Vec<usize> = (0..net.blocks.len()).collect();
    // What is held already goes before what those who hold it may yet take.
    let holds =
        |block: usize| net.holds.iter().any(|h| net.block_of[h.from] == block && net.works[h.from].begun.is_some());
    let mut anchored: Vec<usize> = all.iter().filter(begun).copied().collect();
    anchored.sort_by_key(|block| (!holds(*block), urgency(problem, net, tails, *block)));
    let told = frozen_wish(problem);
    for block in anchored {
        // What is frozen of it stays if it can.
        let ready = net.blocks[block].before.iter().all(|before| is_placed(&board, *before));
        let look = Look { rank: &[], wish: &told, pushes: pushes(net.blocks[block].steps.len()) };
        if ready && !is_placed(&board, block) && board.place(block, look).is_ok() {
            order.push(block);
        }
        settle(&mut board, block, &mut order, (tails, left), chance)?;
    }
    let unfrozen = freeze(problem, &mut board, &mut order);
    let mut blocks: Vec<usize> = all.into_iter().filter(|block| !is_placed(&board, *block)).collect();
    blocks.sort_by_key(|block| urgency(problem, net, tails, *block));
    for block in blocks {
        settle(&mut board, block, &mut order, (tails, left), chance)?;
    }
    Ok(First { board, order, unfrozen })
}

pub(crate) fn is_placed(board: &Board<'_>, block: usize) -> bool {
    board.net.blocks[block].steps.iter().all(|step| board.at[*step].is_some())
}

/// When a block should be begun at the latest; what nobody waits for comes behind all that somebody does.
fn urgency(problem: &Problem, net: &Net, tails: &[i64], block: usize) -> i64 {
    let due = |step: &usize| problem.jobs[net.works[*step].job].due_min.unwrap_or(FARTHEST_MIN) - tails[*step];
    net.blocks[block].steps.iter().map(due).min().unwrap_or(0)
}

/// Places a block after those it waits for, in as many orders as it takes.
fn settle(
    board: &mut Board<'_>,
    block: usize,
    order: &mut Vec<usize>,
    (tails, left): (&[i64], &Left<'_>),
    chance: &mut Chance,
) -> Result<(), NoPlan> {
    let mut path = vec![block];
    while let Some(at) = path.last().copied() {
        let open = board.net.blocks[at].before.iter().find(|before| !is_placed(board, **before));
        if let Some(before) = open {
            path.push(*before);
            continue;
        }
        path.pop();
        if !is_placed(board, at) {
            settle_alone(board, at, tails, left, chance)?;
            order.push(at);
        }
    }
    Ok(())
}

fn settle_alone(
    board: &mut Board<'_>,
    block: usize,
    tails: &[i64],
    left: &Left<'_>,
    chance: &mut Chance,
) -> Result<(), NoPlan> {
    let pushes = pushes(board.net.blocks[block].steps.len());
    let look = Look { rank: &[], wish: &[], pushes };
    let Err(mut nearest) = board.place(block, look) else { return Ok(()) };
    let longest = tails.iter().copied().max().unwrap_or(0);
    for i in 0..TRIES {
        if matches!(nearest, Miss::Capacity { .. }) || i > 1 && !left.another() {
            break;
        }
        // First by what follows, then more and more by chance.
        let noise = longest as f64 * (i % 20) as f64 / 20.0;
        let rank: Vec<i64> = tails.iter().map(|tail| (chance.share() * noise) as i64 - tail).collect();
        let look = Look { rank: &rank, wish: &[], pushes: pushes * if i < 20 { 5 } else { 20 } };
        match board.place(block, look) {
            Ok(()) => {
                board.net.blocks[block].steps.iter().for_each(|step| board.rank[*step] = rank[*step]);
                return Ok(());
            }
            Err(miss) if miss.tells() < nearest.tells() => nearest = miss,
            Err(_) => {}
        }
    }
    let told = matches!(nearest, Miss::Window { .. } | Miss::Capacity { .. } | Miss::Pinned { .. });
    Err(said(if told { nearest } else { board.overrun(block).unwrap_or(nearest) }))
}

fn said(miss: Miss) -> NoPlan {
    match miss {
        Miss::Window { bound, late, by_min, .. } => NoPlan::Window { from: bound, to: late, by_min },
        Miss::Hours { step } | Miss::Crowded { step } => NoPlan::Hours { step },
        Miss::Capacity { step, resource } => NoPlan::Capacity { step, resource },
        Miss::Pinned { step } => NoPlan::Taken { step },
    }
}

/// Where the wall has what is frozen, as a wish.
fn frozen_wish(problem: &Problem) -> Vec<i64> {
    let frozen = |at: i64| if at < problem.wall.frozen_until_min { at } else { i64::MIN };
    wall_wish(problem).into_iter().map(frozen).collect()
}

/// Pins what is frozen where it stands on the wall; says what cannot stand there. What should have been begun by now and
/// has no place at once takes the next one, before what is frozen for later: else an hour that took ten minutes more would
/// leave the next empty.
fn freeze(problem: &Problem, board: &mut Board<'_>, order: &mut Vec<usize>) -> Vec<usize> {
    let wall = &problem.wall;
    let stands = |step: &usize| {
        let start = wall.starts_min.get(*step).copied().flatten()?;
        let open = problem.steps[*step].begun.is_none() && start < wall.frozen_until_min;
        open.then_some((start, *step))
    };
    let mut frozen: Vec<(i64, usize)> = (0..problem.steps.len()).filter_map(|step| stands(&step)).collect();
    frozen.sort_unstable();
    let mut unfrozen = Vec::new();
    for (_, step) in &frozen {
        let block = board.net.block_of[*step];
        if is_placed(board, block) {
            // Pinned with an earlier step of its block, or placed with one that has begun.
            if board.at[*step].map(|at| at.0) == wall.starts_min[*step] {
                board.pinned[*step] = board.at[*step];
            } else if !unfrozen.contains(step) {
                unfrozen.push(*step);
            }
            continue;
        }
        let mut pinned = Vec::new();
        for (start, other) in frozen.iter().filter(|(_, other)| board.net.block_of[*other] == block) {
            match board.net.stretch(*other, *start) {
                Some(at) if at.0 == *start => pinned.push((*other, at)),
                _ => unfrozen.push(*other),
            }
        }
        for (other, at) in &pinned {
            board.pinned[*other] = Some(*at);
        }
        let ready = board.net.blocks[block].before.iter().all(|before| is_placed(board, *before));
        let look = Look { rank: &[], wish: &wall_wish(problem), pushes: 0 };
        if pinned.is_empty() || !ready || board.place(block, look).is_err() {
            for (other, _) in pinned {
                board.pinned[other] = None;
                unfrozen.push(other);
            }
            let overdue = wall.starts_min[*step].is_some_and(|start| start <= problem.now_min);
            let look = Look { pushes: pushes(board.net.blocks[block].steps.len()), ..look };
            if overdue && ready && board.place(block, look).is_ok() {
                order.push(block);
            }
        }
    }
    unfrozen.sort_unstable();
    unfrozen.dedup();
    unfrozen
}

/// The plan on the wall to the minute, if it has every step and can still be worked by: not every plan can be built again
/// block by block, each at the earliest it finds room.
fn as_hung(problem: &Problem, net: &Net) -> Option<Vec<Slot>> {
    let stands = |step: usize| {
        let start = problem.wall.starts_min.get(step).copied().flatten();
        let (start_min, end_min) = net.works[step].begun.or_else(|| net.stretch(step, start?))?;
        Some(Slot { start_min, end_min })
    };
    let slots: Vec<Slot> = (0..problem.steps.len()).map(stands).collect::<Option<_>>()?;
    check(problem, &slots).is_empty().then_some(slots)
}

/// Where the wall has each step, as a wish.
pub(crate) fn wall_wish(problem: &Problem) -> Vec<i64> {
    problem.wall.starts_min.iter().map(|start| start.unwrap_or(i64::MIN)).collect()
}

pub(crate) fn slots_of(board: &Board<'_>) -> Vec<Slot> {
    let slot = |at: &Option<(i64, i64)>| at.map_or(Slot::default(), |(start_min, end_min)| Slot { start_min, end_min });
    board.at.iter().map(slot).collect()
}
