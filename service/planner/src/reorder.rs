//! One project with windows, holds or hours: it is built forward, pushed right, built forward again (double justification:
//! Valls, Ballestín, Quintanilla 2005, doi:10.1016/j.ejor.2004.04.008), and a window of it is shuffled, over and over.

use std::{cmp::Reverse, collections::BinaryHeap};

use crate::{
    Cost, Problem, Slot,
    board::{Board, Look},
    chance::Chance,
    net::Net,
    solve::{Left, is_placed, pushes, slots_of},
};

pub(crate) struct Reorder<'a> {
    pub(crate) problem: &'a Problem,
    mirrored: Net,
    empty: Board<'a>,
    first: Vec<Slot>,
    tails: Vec<i64>,
}

/// A plan and what it costs.
#[derive(Clone)]
pub(crate) struct Made {
    pub(crate) slots: Vec<Slot>,
    pub(crate) total: i64,
}

impl Made {
    /// When its first step starts and its last one ends.
    pub(crate) fn span(&self) -> (i64, i64) {
        let begins = self.slots.iter().map(|slot| slot.start_min).min().unwrap_or(0);
        (begins, self.slots.iter().map(|slot| slot.end_min).max().unwrap_or(0))
    }

    /// From when its first step starts to when its last one ends.
    pub(crate) fn length_min(&self) -> i64 {
        let (begins, ends) = self.span();
        ends - begins
    }

    /// The same with time running backwards.
    pub(crate) fn seen_from_right(&self) -> Self {
        let turned = |slot: &Slot| Slot { start_min: -slot.end_min, end_min: -slot.start_min };
        Self { slots: self.slots.iter().map(turned).collect(), total: self.total }
    }

    /// Its order with a window of it shuffled, at least so wide and by so much wider, as shares of it.
    pub(crate) fn shuffled(&self, [narrowest, wider]: [f64; 2], chance: &mut Chance) -> Vec<i64> {
        let (begins, ends) = self.span();
        let wide = ((ends - begins) as f64 * (narrowest + wider * chance.share())) as i64 + 1;
        let from = begins - wide / 2 + chance.below((ends - begins).max(1) as usize) as i64;
        let rank = |slot: &Slot| {
            let inside = (from..from + wide).contains(&slot.start_min);
            if inside { slot.start_min + ((chance.share() - 0.5) * wide as f64) as i64 } else { slot.start_min }
        };
        self.slots.iter().map(rank).collect()
    }
}

/// How far a new beginning strays from the order by what follows at most, as a share of the longest way.
const STRAY: f64 = 0.3;
/// The narrowest window that is shuffled, and by how much it may be wider, as shares of the plan.
const WINDOW: [f64; 2] = [0.1, 0.3];

impl<'a> Reorder<'a> {
    pub(crate) fn new(problem: &'a Problem, net: &'a Net, board: Board<'a>, tails: Vec<i64>) -> Self {
        let first = slots_of(&board);
        let mut empty = board;
        for block in 0..net.blocks.len() {
            if net.blocks[block].steps.iter().all(|step| empty.pinned[*step].is_none()) {
                empty.lift(block);
            }
        }
        Self { problem, mirrored: net.mirrored(), empty, first, tails }
    }

    /// Looks for better plans as long as the effort lasts; the best one found.
    pub(crate) fn run(self, left: &Left<'_>, chance: &mut Chance) -> Vec<Slot> {
        let mut best = self.justified(self.first(), left);
        let mut now = best.clone();
        let mut stale = 0;
        while left.another() {
            let rank = if stale > 60 {
                let noise = self.longest() * STRAY * chance.share();
                self.sampled(noise, chance)
            } else {
                now.shuffled(WINDOW, chance)
            };
            let Some(made) = self.built(&rank) else { continue };
            let made = self.justified(made, left);
            stale = if made.total < now.total || stale > 60 { 0 } else { stale + 1 };
            if made.total <= now.total || stale == 0 {
                now = made;
            }
            if now.total < best.total {
                best = now.clone();
            }
        }
        best.slots
    }

    /// The plan begun with.
    pub(crate) fn first(&self) -> Made {
        self.made(self.first.clone())
    }

    fn made(&self, slots: Vec<Slot>) -> Made {
        Made { total: Cost::of(self.problem, &slots).total, slots }
    }

    /// The plan in which steps get their places in the order of `rank`.
    pub(crate) fn built(&self, rank: &[i64]) -> Option<Made> {
        let mut board = self.empty.clone();
        place_all(&mut board, rank, &[])?;
        Some(self.made(slots_of(&board)))
    }

    /// Pushed right and built forward again, if that is no worse.
    pub(crate) fn justified(&self, made: Made, left: &Left<'_>) -> Made {
        if !(left.another() && left.another()) {
            return made;
        }
        let rank: Vec<i64> = made.slots.iter().map(|slot| -slot.end_min).collect();
        let again = self.pushed_right(&rank, made.span().1).and_then(|starts| self.built(&starts));
        again.filter(|again| again.total <= made.total).unwrap_or(made)
    }

    /// When steps start that get their places from the right, all before `end`, in the order of `rank`.
    pub(crate) fn pushed_right(&self, rank: &[i64], end: i64) -> Option<Vec<i64>> {
        let mut board = Board::new(&self.mirrored);
        place_all(&mut board, rank, &vec![-end; rank.len()])?;
        Some(board.at.iter().map(|at| at.map_or(0, |(_, end)| -end)).collect())
    }

    /// The plan in which nothing waits that could start: of all that can be placed next what can start first goes first, by
    /// `rank` where several can (the parallel schedule generation scheme: Kelley 1963; from memory). For steps that are
    /// blocks by themselves.
    pub(crate) fn undelayed(&self, rank: &[i64]) -> Option<Made> {
        let mut board = self.empty.clone();
        let net = board.net;
        let look = Look { rank: &[], wish: &[], pushes: 0 };
        let entry = |start: i64, block: usize| Reverse((start, rank[net.blocks[block].steps[0]], block));
        let mut waits_for: Vec<usize> = net.blocks.iter().map(|block| block.before.len()).collect();
        let ready = (0..waits_for.len()).filter(|block| waits_for[*block] == 0);
        let mut ready: BinaryHeap<_> = ready.map(|block| entry(i64::MIN, block)).collect();
        while let Some(Reverse((start, _, block))) = ready.pop() {
            board.place(block, look).ok()?;
            let starts = board.at[net.blocks[block].steps[0]].map_or(start, |at| at.0);
            if starts > start {
                // When it went in it could start then; what was placed since may be in its way.
                board.lift(block);
                ready.push(entry(starts, block));
                continue;
            }
            for after in &net.blocks[block].after {
                waits_for[*after] -= 1;
                if waits_for[*after] == 0 {
                    ready.push(entry(i64::MIN, *after));
                }
            }
        }
        Some(self.made(slots_of(&board)))
    }

    /// The longest way through the project, in minutes.
    pub(crate) fn longest(&self) -> f64 {
        self.tails.iter().copied().max().unwrap_or(0) as f64
    }

    /// Ranks by what follows, with so many minutes of chance in it.
    pub(crate) fn sampled(&self, noise: f64, chance: &mut Chance) -> Vec<i64> {
        self.tails.iter().map(|tail| (chance.share() * noise) as i64 - tail).collect()
    }
}

/// Places every block by the rank of its first step, each after those it waits for.
fn place_all(board: &mut Board<'_>, rank: &[i64], wish: &[i64]) -> Option<()> {
    let net = board.net;
    let of_block = |block: &usize| net.blocks[*block].steps.iter().map(|step| rank[*step]).min();
    let mut order: Vec<usize> = (0..net.blocks.len()).collect();
    order.sort_by_key(|block| (of_block(block), *block));
    let mut path = Vec::new();
    for block in order {
        path.push(block);
        while let Some(at) = path.last().copied() {
            let open = net.blocks[at].before.iter().find(|before| !is_placed(board, **before));
            if let Some(before) = open {
                path.push(*before);
                continue;
            }
            path.pop();
            if !is_placed(board, at) {
                let look = Look { rank, wish, pushes: pushes(net.blocks[at].steps.len()) };
                board.place(at, look).ok()?;
            }
        }
    }
    Some(())
}
