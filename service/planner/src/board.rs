//! Steps put in their places, block by block, and what that takes of the resources.
//!
//! A block is placed step by step, each at the earliest time there is room. Where a step thereby misses a window, the
//! steps it binds are lifted and pushed later by as much, and placed again (after the unscheduling step of Franck,
//! Neumann, Schwindt 2001, doi:10.1007/PL00013348). A block that finds no place among the others goes behind them all.

use crate::{
    Slot,
    net::{Net, Way},
    room::Room,
};

/// Why a block has no place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Miss {
    /// `late` would stand too far after `bound`, at best by this many minutes; `shut` if `bound` cannot stand so late because of
    /// its hours.
    Window { bound: usize, late: usize, by_min: i64, shut: bool },
    /// The hours there are end before it.
    Hours { step: usize },
    /// It needs more than there is.
    Capacity { step: usize, resource: usize },
    /// It has to stand where it stands, and what it needs is not free then.
    Pinned { step: usize },
    /// Others of its block left it no place, and no window of it was in the way.
    Crowded { step: usize },
}

impl Miss {
    /// The less, the more it tells: a window the hours cannot keep, then one that others push out, each by how much, then the
    /// rest.
    pub(crate) fn tells(&self) -> (u8, i64) {
        match self {
            Self::Window { by_min, shut, .. } => (u8::from(!shut), *by_min),
            _ => (2, 0),
        }
    }
}

/// How hard to look for a place.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Look<'a> {
    /// Steps of one block go in this order; empty for that which the board knows.
    pub(crate) rank: &'a [i64],
    /// No step starts before this, one for each; empty for none.
    pub(crate) wish: &'a [i64],
    /// How often a step may be pushed later before the block is given up.
    pub(crate) pushes: usize,
}

/// Where every step stands.
#[derive(Debug, Clone)]
pub(crate) struct Board<'a> {
    pub(crate) net: &'a Net,
    /// Start and end of what is placed.
    pub(crate) at: Vec<Option<(i64, i64)>>,
    /// Where a step must stand: it has begun, or the wall says so.
    pub(crate) pinned: Vec<Option<(i64, i64)>>,
    /// In which order steps of one block go, where the order of their earliest times does not do.
    pub(crate) rank: Vec<i64>,
    room: Room<'a>,
    /// The earliest a step may stand, whatever else of its block is placed.
    base: Vec<i64>,
    /// The earliest a step may stand with what is placed where it is.
    low: Vec<i64>,
    trial: Vec<i64>,
    queue: Vec<usize>,
}

impl<'a> Board<'a> {
    pub(crate) fn new(net: &'a Net) -> Self {
        let n = net.works.len();
        Self {
            net,
            at: vec![None; n],
            pinned: net.works.iter().map(|work| work.begun).collect(),
            rank: vec![0; n],
            room: Room::new(net),
            base: vec![i64::MIN; n],
            low: vec![i64::MIN; n],
            trial: vec![i64::MIN; n],
            queue: Vec::new(),
        }
    }

    /// What is taken.
    pub(crate) fn room(&self) -> &Room<'a> {
        &self.room
    }

    /// Takes of `room` what the steps of a block that have not begun take where they stand.
    pub(crate) fn enter(&self, block: usize, room: &mut Room<'_>) {
        for step in &self.net.blocks[block].steps {
            let (work, Some(at)) = (&self.net.works[*step], self.at[*step]) else { continue };
            if work.begun.is_some() {
                continue;
            }
            room.put(*step, at);
            for hold in &work.holds {
                let of = &self.net.holds[*hold];
                if let (Some((from, _)), Some((_, to))) = (self.at[of.from], self.at[of.to]) {
                    room.keep(*hold, from, to);
                }
            }
        }
    }

    /// Places a block where it stands on `other`, where all that it takes is free.
    pub(crate) fn place_as(&mut self, other: &Self, block: usize) {
        for step in &self.net.blocks[block].steps {
            self.at[*step] = other.at[*step];
        }
        other.enter(block, &mut self.room);
    }

    /// Puts a block that is not placed where a plan has it.
    pub(crate) fn stand(&mut self, block: usize, plan: &[Slot]) {
        let net = self.net;
        let steps = &net.blocks[block].steps;
        for step in steps {
            self.put(*step, plan[*step].start_min, plan[*step].end_min);
        }
        for hold in steps.iter().flat_map(|step| &net.works[*step].holds) {
            let of = &net.holds[*hold];
            if let (Some((from, _)), Some((_, to))) = (self.at[of.from], self.at[of.to]) {
                self.room.keep(*hold, from, to);
            }
        }
    }

    /// Becomes `other` as it was when `room` was what was taken and the blocks `open` were not placed.
    pub(crate) fn go_back(&mut self, other: &Self, room: &Room<'a>, open: &[usize]) {
        self.at.copy_from_slice(&other.at);
        for step in open.iter().flat_map(|block| &self.net.blocks[*block].steps) {
            if self.net.works[*step].begun.is_none() {
                self.at[*step] = None;
            }
        }
        self.room.copy_from(room);
    }

    /// Places all steps of a block, or none.
    pub(crate) fn place(&mut self, block: usize, look: Look<'_>) -> Result<(), Miss> {
        let first = self.attempt(block, look, i64::MIN);
        let Err(miss) = first else { return Ok(()) };
        self.lift(block);
        let net = self.net;
        let alone = net.blocks[block].steps.iter().all(|step| self.pinned[*step].is_none());
        let behind = self.behind();
        if alone && behind > i64::MIN && !matches!(miss, Miss::Capacity { .. }) {
            let second = self.attempt(block, look, behind);
            if second.is_err() {
                self.lift(block);
            }
            return second.map_err(|_| miss);
        }
        Err(miss)
    }

    /// When the last of what is taken is free again.
    fn behind(&self) -> i64 {
        let placed = self.at.iter().zip(&self.net.works).filter_map(|(at, work)| Some((at.as_ref()?.1, work)));
        let ends = placed.map(|(end, work)| end + work.needs.iter().map(|need| need.tail).max().unwrap_or(0));
        ends.max().unwrap_or(i64::MIN)
    }

    /// Takes off the board what has not begun of a block.
    pub(crate) fn lift_open(&mut self, block: usize) {
        let net = self.net;
        for step in net.blocks[block].steps.iter().filter(|step| net.works[**step].begun.is_none()) {
            self.take(*step);
        }
    }

    /// Takes a block off the board.
    pub(crate) fn lift(&mut self, block: usize) {
        let net = self.net;
        for step in &net.blocks[block].steps {
            self.take(*step);
        }
    }

    fn attempt(&mut self, block: usize, look: Look<'_>, from: i64) -> Result<(), Miss> {
        let net = self.net;
        let steps = &net.blocks[block].steps;
        self.start_low(block, look, from)?;
        if let [step] = steps[..] {
            let (start, end) = self.fit(step)?;
            self.put(step, start, end);
            return self.hold_all(block, step).map(|_| ());
        }
        let (mut pushes, mut nearest) = (look.pushes, None);
        loop {
            let rank = |step: usize| (look.rank.get(step).copied().unwrap_or(self.rank[step]), self.low[step], step);
            let open = steps.iter().copied().filter(|step| self.at[*step].is_none());
            let Some(step) = open.min_by_key(|step| rank(*step)) else { return Ok(()) };
            // Where the hours end on the way, the window that pushed it there tells more.
            let pushed = self.next(block, step).map_err(|miss| match miss {
                Miss::Hours { .. } => nearest.unwrap_or(miss),
                _ => miss,
            })?;
            if let Some(miss) = pushed {
                nearest = nearest.into_iter().chain([miss]).min_by_key(Miss::tells);
                if pushes == 0 {
                    return Err(nearest.unwrap_or(miss));
                }
                pushes -= 1;
            }
        }
    }

    /// Places one step, or says what it pushes later.
    fn next(&mut self, block: usize, step: usize) -> Result<Option<Miss>, Miss> {
        let (start, end) = self.fit(step)?;
        let pushed = self.pushed_by(block, step, start)?;
        if pushed.is_some() {
            return Ok(pushed);
        }
        self.put(step, start, end);
        self.keep_trial(block, step, start);
        self.hold_all(block, step)
    }

    /// The earliest each step of a block may stand, from what is placed around it.
    fn start_low(&mut self, block: usize, look: Look<'_>, from: i64) -> Result<(), Miss> {
        let net = self.net;
        for step in &net.blocks[block].steps {
            let mut low = net.works[*step].earliest.max(from);
            if self.pinned[*step].is_none() {
                low = low.max(look.wish.get(*step).copied().unwrap_or(i64::MIN));
            }
            for arc in &net.outside[*step] {
                if let Some((start, end)) = self.at[arc.from] {
                    low = low.max(net.bound(arc, start, end).unwrap_or(i64::MIN));
                }
            }
            if let Some((start, _)) = self.pinned[*step] {
                if low > start && net.works[*step].begun.is_none() {
                    return Err(Miss::Pinned { step: *step });
                }
                low = start;
            }
            self.low[*step] = low;
        }
        if net.blocks[block].steps.len() > 1 {
            net.spread(block, None, &mut self.low, &mut self.queue).map_err(|step| Miss::Hours { step })?;
        }
        for step in &net.blocks[block].steps {
            self.base[*step] = self.low[*step];
            // One that has begun stands there already and is not looked at again.
            if let Some((start, _)) = self.at[*step].filter(|at| self.low[*step] > at.0) {
                return Err(self.window(*step, self.low[*step] - start, &self.low, Miss::Pinned { step: *step }));
            }
        }
        Ok(())
    }

    /// What a step bounds where it stands now bounds the others.
    fn keep_trial(&mut self, block: usize, step: usize, start: i64) {
        if start > self.low[step] {
            for other in &self.net.blocks[block].steps {
                self.low[*other] = self.trial[*other];
            }
        }
    }

    /// Bounds anew from those that hold whatever is placed; lifts what then stands before its bound.
    fn settle_low(&mut self, block: usize) -> Result<(), Miss> {
        let net = self.net;
        let steps = &net.blocks[block].steps;
        loop {
            net.spread(block, None, &mut self.base, &mut self.queue).map_err(|step| Miss::Hours { step })?;
            for step in steps {
                self.low[*step] = self.at[*step].map_or(self.base[*step], |at| at.0.max(self.base[*step]));
            }
            net.spread(block, None, &mut self.low, &mut self.queue).map_err(|step| Miss::Hours { step })?;
            let overtaken = |step: &&usize| self.at[**step].is_some_and(|at| self.low[**step] > at.0);
            let Some(step) = steps.iter().find(overtaken).copied() else { return Ok(()) };
            let by_min = self.low[step] - self.at[step].map_or(0, |at| at.0);
            if self.pinned[step].is_some() {
                return Err(self.window(step, by_min, &self.low, Miss::Pinned { step }));
            }
            self.base[step] = self.low[step];
            self.take(step);
        }
    }

    /// Where a step stands at the earliest.
    fn fit(&mut self, step: usize) -> Result<(i64, i64), Miss> {
        if let Some((start, end)) = self.pinned[step] {
            let begun = self.net.works[step].begun.is_some();
            let low = self.low[step];
            if low > start {
                return Err(self.window(step, low - start, &self.low, Miss::Pinned { step }));
            }
            let free = begun || self.room.has(step, (start, end));
            return if free { Ok((start, end)) } else { Err(Miss::Pinned { step }) };
        }
        self.room.first(step, self.low[step])
    }

    /// What `step` at `start` pushes out of the place it has: lifted, with a later bound. `None` if nothing.
    fn pushed_by(&mut self, block: usize, step: usize, start: i64) -> Result<Option<Miss>, Miss> {
        let net = self.net;
        let steps = &net.blocks[block].steps;
        if start == self.low[step] || steps.len() == 1 {
            return Ok(None);
        }
        for other in steps {
            self.trial[*other] = self.low[*other];
        }
        self.trial[step] = start;
        net.spread(block, Some(step), &mut self.trial, &mut self.queue).map_err(|step| Miss::Hours { step })?;
        let mut pushed = None;
        for other in steps {
            // Itself too: where a break lies in it, what follows may be so late that it cannot stand so soon.
            let stands = if *other == step { Some(start) } else { self.at[*other].map(|at| at.0) };
            let Some(stands) = stands else { continue };
            if self.trial[*other] > stands {
                let (by_min, other) = (self.trial[*other] - stands, *other);
                let window = |or| self.window(other, by_min, &self.trial, or);
                if self.pinned[other].is_some() {
                    return Err(window(Miss::Pinned { step: other }));
                }
                let told = pushed.filter(|told| matches!(told, Miss::Window { .. }));
                pushed = Some(window(told.unwrap_or(Miss::Crowded { step: other })));
                self.base[other] = self.trial[other];
                self.take(other);
            }
        }
        if pushed.is_some() {
            self.settle_low(block)?;
        }
        Ok(pushed)
    }

    /// The window that pushes a step by so much: the one whose other step, at its bound in `low`, asks for all of it. `or` where
    /// that is no window but a wait.
    fn window(&self, bound: usize, by_min: i64, low: &[i64], or: Miss) -> Miss {
        let net = self.net;
        let asks = |arc: &&crate::net::Arc| {
            let start = low[arc.from];
            let end = if arc.way == Way::StartByEnd { net.stretch(arc.from, start)?.1 } else { start };
            net.bound(arc, start, end)
        };
        let within = net.into[bound].iter().filter(|arc| net.block_of[arc.from] == net.block_of[bound]);
        let most = within.max_by_key(|arc| (asks(arc).unwrap_or(i64::MIN), arc.closes));
        let Some(arc) = most.filter(|arc| arc.closes) else { return or };
        // Where it would have to stand while closed, it misses by what is left from its last start before.
        let work = &net.works[bound];
        let last = work.hours.filter(|_| self.pinned[bound].is_none()).and_then(|hours| {
            let end = net.stretch(bound, low[bound]).filter(|at| at.0 > low[bound])?.0;
            net.hours[hours].last_start(end, work.length, work.splits)
        });
        let (by_min, shut) = last.map_or((by_min, false), |last| (by_min.min(low[bound] - last), true));
        Miss::Window { bound, late: arc.from, by_min, shut }
    }

    /// What is wrong with a block that fits nowhere where no push tells, since they go on for ever: a step at which more is
    /// held at once than there is, or else the window that is missed by most if everything stands as soon as waits and hours
    /// let it. `None` if it is neither.
    pub(crate) fn overrun(&mut self, block: usize) -> Option<Miss> {
        let net = self.net;
        let steps = &net.blocks[block].steps;
        for step in steps.iter().filter(|step| net.works[**step].length > 0) {
            let holds = || net.works[*step].holds.iter().map(|hold| &net.holds[*hold]);
            for resource in holds().map(|hold| hold.resource) {
                let held = holds().filter(|hold| hold.resource == resource).map(|hold| i64::from(hold.count));
                if held.sum::<i64>() > net.supplies[resource].capacity {
                    return Some(Miss::Capacity { step: *step, resource });
                }
            }
        }
        let stands = |step: usize, low: i64| net.works[step].begun.or_else(|| net.stretch(step, low));
        for step in steps {
            self.trial[*step] = net.works[*step].earliest;
        }
        let within = || steps.iter().flat_map(|step| &net.within[*step]);
        for _ in steps {
            for arc in within().filter(|arc| !arc.closes) {
                let (start, end) = stands(arc.from, self.trial[arc.from])?;
                self.trial[arc.to] = self.trial[arc.to].max(net.bound(arc, start, end)?);
            }
        }
        let missed = within().filter(|arc| arc.closes).filter_map(|arc| {
            let (late, bound) = (stands(arc.from, self.trial[arc.from])?, stands(arc.to, self.trial[arc.to])?);
            let by_min = net.bound(arc, late.0, late.1)? - bound.0;
            (by_min > 0).then_some(Miss::Window { bound: arc.to, late: arc.from, by_min, shut: true })
        });
        missed.max_by_key(Miss::tells)
    }

    /// Takes what is held between `step` and others that are placed; where there is not enough, pushes the taking later.
    fn hold_all(&mut self, block: usize, step: usize) -> Result<Option<Miss>, Miss> {
        let net = self.net;
        for hold in &net.works[step].holds {
            let Err(free) = self.hold(*hold) else { continue };
            let hold = net.holds[*hold];
            if free == i64::MAX {
                return Err(Miss::Capacity { step: hold.from, resource: hold.resource });
            }
            if self.pinned[hold.from].is_some() {
                return Err(Miss::Pinned { step: hold.from });
            }
            self.take(hold.from);
            self.base[hold.from] = free;
            self.settle_low(block)?;
            return Ok(Some(Miss::Crowded { step: hold.from }));
        }
        Ok(None)
    }

    /// Takes one hold if both its steps are placed; fails with the time it is free again.
    fn hold(&mut self, at: usize) -> Result<(), i64> {
        let hold = &self.net.holds[at];
        match (self.at[hold.from], self.at[hold.to]) {
            (Some((from, _)), Some((_, to))) => self.room.hold(at, from, to),
            _ => Ok(()),
        }
    }

    fn put(&mut self, step: usize, start: i64, end: i64) {
        self.at[step] = Some((start, end));
        self.room.put(step, (start, end));
    }

    fn take(&mut self, step: usize) {
        let Some(at) = self.at[step] else { return };
        self.room.take(step, at);
        for at in &self.net.works[step].holds {
            let hold = &self.net.holds[*at];
            if let (Some((from, _)), Some((_, to))) = (self.at[hold.from], self.at[hold.to]) {
                self.room.let_go(*at, from, to);
            }
        }
        self.at[step] = None;
    }
}
