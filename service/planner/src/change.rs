//! A small change of an order: something goes earlier or later, two jobs change places, a step is made to wait.

use crate::{
    chance::Chance,
    guess::{Guess, Shift},
    trial::{Made, Terms},
};

/// What may be moved.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Scope {
    /// All blocks of a job together.
    Jobs,
    /// One block, the rest of a job from one on, or all of it.
    Blocks,
}

/// What differs after a change.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Changed {
    pub(crate) from: usize,
    pub(crate) until: usize,
    /// A step that waits for no reason takes freedom away; such a change must be worth it.
    pub(crate) only_if_better: bool,
}

/// How often two jobs change places.
const SWAPS: f64 = 0.2;
/// How often one block is moved, and how often no more than the rest of a job.
const ONE_BLOCK: f64 = 0.5;
const REST_OF_JOB: f64 = 0.75;
/// How often of two jobs the later one goes earlier, or the less late one later, rather than any.
const BY_LATENESS: f64 = 0.7;
/// How often a step is made to wait, or to keep to the wall or no longer.
const WAITS: f64 = 0.02;
const WALL: f64 = 0.1;

pub(crate) struct Change {
    marked: Vec<bool>,
    guess: Guess,
    /// Of how many moves that which is guessed to cost least is tried; 1 tries any.
    pub(crate) drawn: usize,
    /// Whether blocks of different jobs wait for each other; then jobs do not simply change places.
    jobs_wait: bool,
}

impl Change {
    pub(crate) fn new(terms: &Terms<'_>) -> Self {
        let job = |block: &usize| terms.job(*block);
        let blocks = terms.net.blocks.iter().enumerate();
        let jobs_wait = blocks.flat_map(|(at, block)| block.after.iter().map(move |after| (at, after)));
        let jobs_wait = { jobs_wait }.any(|(at, after)| job(&at) != job(after));
        Self { marked: vec![false; terms.net.blocks.len()], guess: Guess::new(terms), drawn: 1, jobs_wait }
    }

    /// Makes `next` from `now` with one change; `None` if it came to nothing.
    pub(crate) fn make(
        &mut self,
        terms: &Terms<'_>,
        now: &Made<'_>,
        next: &mut Made<'_>,
        scope: Scope,
        chance: &mut Chance,
    ) -> Option<Changed> {
        next.order.clone_from(&now.order);
        next.wish.clone_from(&now.wish);
        let at = chance.below(now.order.len());
        let what = chance.share();
        if scope == Scope::Blocks && what < WAITS {
            return Some(wait(terms, now, next, at, chance));
        }
        if !terms.wall.is_empty() && what < WALL {
            return keep_to_wall(terms, now, next, at);
        }
        if !self.jobs_wait && chance.share() < SWAPS {
            swap(terms, now, next, at, chance);
        } else {
            self.shift(terms, now, next, at, scope, chance);
        }
        let (a, b) = (&next.order, &now.order);
        let from = a.iter().zip(b).position(|(a, b)| a != b)?;
        let until = a.iter().zip(b).rposition(|(a, b)| a != b)?;
        Some(Changed { from, until, only_if_better: false })
    }

    /// Moves the block at `at` or at another place, or more of its job with it, earlier or later.
    fn shift(
        &mut self,
        terms: &Terms<'_>,
        now: &Made<'_>,
        next: &mut Made<'_>,
        at: usize,
        scope: Scope,
        chance: &mut Chance,
    ) {
        let mut best = drawn(terms, now, at, scope, chance);
        if self.drawn > 1 {
            let mut least = self.guess.cost(terms, now, &best);
            for _ in 1..self.drawn {
                let shift = drawn(terms, now, chance.below(now.order.len()), scope, chance);
                let cost = self.guess.cost(terms, now, &shift);
                if cost < least {
                    (best, least) = (shift, cost);
                }
            }
        }
        for block in best.places.clone().filter(|at| best.moves(terms, now, *at)).map(|at| now.order[at]) {
            self.marked[block] = true;
            // A wait was worth it where the block stood.
            for step in &terms.net.blocks[block].steps {
                if next.wish[*step] != terms.wall.get(*step).copied().unwrap_or(i64::MIN) {
                    next.wish[*step] = i64::MIN;
                }
            }
        }
        if best.earlier {
            self.earlier(terms, &mut next.order, best.to);
        } else {
            self.later(terms, &mut next.order, best.to);
        }
        self.marked.fill(false);
    }

    /// What is marked goes to `to`, with what it waits for.
    fn earlier(&mut self, terms: &Terms<'_>, order: &mut [usize], to: usize) {
        let Some(last) = order.iter().rposition(|block| self.marked[*block]).filter(|last| *last >= to) else { return };
        for at in (to..last).rev() {
            let block = order[at];
            let after = &terms.net.blocks[block].after;
            self.marked[block] = self.marked[block] || after.iter().any(|after| self.marked[*after]);
        }
        order[to..=last].sort_by_key(|block| !self.marked[*block]);
    }

    /// What is marked goes to `to`, with what waits for it.
    fn later(&mut self, terms: &Terms<'_>, order: &mut [usize], to: usize) {
        let Some(first) = order.iter().position(|block| self.marked[*block]).filter(|first| *first <= to) else {
            return;
        };
        for block in &order[first..=to] {
            let before = &terms.net.blocks[*block].before;
            self.marked[*block] = self.marked[*block] || before.iter().any(|before| self.marked[*before]);
        }
        order[first..=to].sort_by_key(|block| self.marked[*block]);
    }
}

/// A move of the block at `at` or at another place, or of more of its job.
fn drawn(terms: &Terms<'_>, now: &Made<'_>, at: usize, scope: Scope, chance: &mut Chance) -> Shift {
    let n = now.order.len();
    let earlier = chance.below(2) == 0;
    let at = if chance.share() < BY_LATENESS { later_of(terms, now, at, chance.below(n), earlier) } else { at };
    // Mostly near by: what goes far seldom fits.
    let far = 1 + (chance.share().powi(3) * n as f64) as usize;
    let much = if scope == Scope::Jobs { 1.0 } else { chance.share() };
    let places = if much < ONE_BLOCK {
        at..at + 1
    } else if much < REST_OF_JOB {
        at..n
    } else {
        0..n
    };
    Shift { at, places, to: if earlier { at.saturating_sub(far) } else { (at + far).min(n - 1) }, earlier }
}

/// Of two places in the order the one whose job costs more by its lateness, or the one whose job costs less.
fn later_of(terms: &Terms<'_>, now: &Made<'_>, a: usize, b: usize, later: bool) -> usize {
    let late = |at: usize| now.late(terms, terms.job(now.order[at]));
    if (late(b) > late(a)) == later { b } else { a }
}

/// Two jobs change places: where blocks of one were go those of the other, as long as it has any.
fn swap(terms: &Terms<'_>, now: &Made<'_>, next: &mut Made<'_>, at: usize, chance: &mut Chance) {
    let jobs = [at, chance.below(now.order.len())].map(|at| terms.job(now.order[at]));
    if jobs[0] == jobs[1] {
        return;
    }
    let of = |job: usize| now.order.iter().copied().filter(move |block| terms.job(*block) == job);
    let mut blocks = [of(jobs[1]), of(jobs[0])];
    for place in &mut next.order {
        let Some(which) = jobs.iter().position(|job| *job == terms.job(*place)) else { continue };
        let block = { blocks[which].next() }.or_else(|| blocks[1 - which].next());
        *place = block.unwrap_or(*place);
    }
}

/// A step waits for no reason of its own, or no longer: a clamp-off leaves the hour to a coat.
fn wait(terms: &Terms<'_>, now: &Made<'_>, next: &mut Made<'_>, at: usize, chance: &mut Chance) -> Changed {
    let steps = &terms.net.blocks[now.order[at]].steps;
    let step = steps[chance.below(steps.len())];
    let start = now.board.at[step].map_or(0, |at| at.0);
    let wish = &mut next.wish[step];
    *wish = if *wish != i64::MIN && chance.below(2) == 0 {
        i64::MIN
    } else {
        start + 1 + (chance.share() * chance.share() * 20.0 * terms.usual_length) as i64
    };
    Changed { from: at, until: at, only_if_better: true }
}

/// A block starts no earlier than on the wall, or may again.
fn keep_to_wall(terms: &Terms<'_>, now: &Made<'_>, next: &mut Made<'_>, at: usize) -> Option<Changed> {
    let steps = &terms.net.blocks[now.order[at]].steps;
    let keeps = steps.iter().all(|step| now.wish[*step] == terms.wall[*step]);
    for step in steps {
        next.wish[*step] = if keeps { i64::MIN } else { terms.wall[*step] };
    }
    (next.wish != now.wish).then_some(Changed { from: at, until: at, only_if_better: false })
}
