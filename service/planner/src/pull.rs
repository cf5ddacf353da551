//! Nobody stands idle beside work that is ready: blocks of a plan that can stand a good deal sooner, with all others where they
//! are, do so. What the wall has keeps a plan steady, and would keep a gap where something has just been called off.

use crate::{
    Problem, Slot,
    board::{Board, Look},
    check::check,
    net::Net,
    plan::costs_a_move,
    solve::{pushes, slots_of},
};

/// How often all blocks are gone over at most; nearly always the second time nothing moves.
const PASSES: usize = 10;

/// The plan with every block that can come sooner pulled forward, over and over until none can. None comes later and none
/// costs a move more for it, so that the plan is never worse; what is frozen stays.
pub(crate) fn pulled(problem: &Problem, net: &Net, slots: Vec<Slot>) -> Vec<Slot> {
    let mut board = Board::new(net);
    for block in 0..net.blocks.len() {
        board.stand(block, &slots);
    }
    let mut order: Vec<usize> = (0..net.blocks.len()).filter(|block| is_free(problem, net, *block)).collect();
    let begins = |block: usize| net.blocks[block].steps.iter().map(|step| slots[*step].start_min).min();
    order.sort_by_key(|block| (begins(*block), *block));
    let mut stands = slots.clone();
    for _ in 0..PASSES {
        let mut moves = false;
        for block in &order {
            moves |= pull(problem, &mut board, *block, &mut stands);
        }
        if !moves {
            break;
        }
    }
    // Nothing that breaks anything leaves this room.
    Some(slots_of(&board)).filter(|pulled| check(problem, pulled).is_empty()).unwrap_or(slots)
}

/// Whether a block has something that has neither begun nor is frozen where it stands.
fn is_free(problem: &Problem, net: &Net, block: usize) -> bool {
    let wall = &problem.wall;
    let open = |step: &&usize| problem.steps[**step].begun.is_none();
    let frozen =
        |step: &usize| wall.starts_min.get(*step).copied().flatten().is_some_and(|start| start < wall.frozen_until_min);
    let steps = &net.blocks[block].steps;
    steps.iter().any(|step| open(&step)) && !steps.iter().filter(open).any(frozen)
}

/// Pulls one block forward if that is worth it; keeps in `stands` where it is.
fn pull(problem: &Problem, board: &mut Board<'_>, block: usize, stands: &mut [Slot]) -> bool {
    let steps = &board.net.blocks[block].steps;
    let look = Look { rank: &[], wish: &[], pushes: pushes(steps.len()) };
    board.lift_open(block);
    let sooner = |step: &usize, at: (i64, i64)| stands[*step].start_min - at.0;
    let worth = board.place(block, look).is_ok() && {
        let all = || steps.iter().filter_map(|step| Some((step, board.at[*step]?)));
        let moves = |start: &dyn Fn(&usize, (i64, i64)) -> i64| {
            all().filter(|(step, at)| costs_a_move(problem, **step, start(step, *at))).count()
        };
        all().all(|(step, at)| sooner(step, at) >= 0)
            && all().any(|(step, at)| sooner(step, at) >= problem.wall.pull_over_min.max(1))
            && moves(&|_, at| at.0) <= moves(&|step, _| stands[*step].start_min)
    };
    if worth {
        for step in steps {
            if let Some((start_min, end_min)) = board.at[*step] {
                stands[*step] = Slot { start_min, end_min };
            }
        }
    } else {
        board.lift(block);
        board.stand(block, stands);
    }
    worth
}
