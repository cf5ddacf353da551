//! Steps put in their places, block by block, and what that takes of the resources.
//!
//! A block is placed step by step, each at the earliest time there is room. Where a step thereby misses a window, the
//! steps it binds are lifted and pushed later by as much, and placed again (after the unscheduling step of Franck,
//! Neumann, Schwindt 2001, doi:10.1007/PL00013348). A block that finds no place among the others goes behind them all.

use crate::{
    net::{Net, Way},
    profile::Profile,
};

/// Why a block has no place.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Miss {
    /// `late` would stand too far after `bound`, at best by this many minutes.
    Window { bound: usize, late: usize, by_min: i64 },
    /// The hours there are end before it.
    Hours { step: usize },
    /// It needs more than there is.
    Capacity { step: usize, resource: usize },
    /// It has to stand where it stands, and what it needs is not free then.
    Pinned { step: usize },
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
    profiles: Vec<Profile>,
    held: Vec<bool>,
    /// The earliest a step may stand, whatever else of its block is placed.
    base: Vec<i64>,
    /// The earliest a step may stand with what is placed where it is.
    low: Vec<i64>,
    trial: Vec<i64>,
    queue: Vec<usize>,
    /// Where in its profile each need of a step is looked at.
    places: Vec<usize>,
}

/// What is taken of the resources while not all blocks are placed.
#[derive(Debug, Clone)]
pub(crate) struct TakenSoFar {
    profiles: Vec<Profile>,
    held: Vec<bool>,
}

impl<'a> Board<'a> {
    pub(crate) fn new(net: &'a Net) -> Self {
        let n = net.works.len();
        Self {
            net,
            at: vec![None; n],
            pinned: net.works.iter().map(|work| work.begun).collect(),
            rank: vec![0; n],
            profiles: vec![Profile::new(); net.capacity.len()],
            held: vec![false; net.holds.len()],
            base: vec![i64::MIN; n],
            low: vec![i64::MIN; n],
            trial: vec![i64::MIN; n],
            queue: Vec::new(),
            places: Vec::new(),
        }
    }

    /// What is taken, to come back to.
    pub(crate) fn taken(&self) -> TakenSoFar {
        TakenSoFar { profiles: self.profiles.clone(), held: self.held.clone() }
    }

    /// The same, into one that is there already.
    pub(crate) fn save(&self, taken: &mut TakenSoFar) {
        taken.held.copy_from_slice(&self.held);
        for (profile, of) in taken.profiles.iter_mut().zip(&self.profiles) {
            profile.copy_from(of);
        }
    }

    /// Becomes `other` as it was when it had `taken` that and had not placed the blocks `open`.
    pub(crate) fn go_back(&mut self, other: &Self, taken: &TakenSoFar, open: &[usize]) {
        self.at.copy_from_slice(&other.at);
        for step in open.iter().flat_map(|block| &self.net.blocks[*block].steps) {
            if self.net.works[*step].begun.is_none() {
                self.at[*step] = None;
            }
        }
        self.held.copy_from_slice(&taken.held);
        for (profile, of) in self.profiles.iter_mut().zip(&taken.profiles) {
            profile.copy_from(of);
        }
    }

    /// Places all steps of a block, or none.
    pub(crate) fn place(&mut self, block: usize, look: Look<'_>) -> Result<(), Miss> {
        let first = self.attempt(block, look, i64::MIN);
        let Err(miss) = first else { return Ok(()) };
        self.lift(block);
        let net = self.net;
        let alone = net.blocks[block].steps.iter().all(|step| self.pinned[*step].is_none());
        let behind = self.profiles.iter().map(Profile::ends).max().unwrap_or(i64::MIN);
        if alone && behind > i64::MIN && !matches!(miss, Miss::Capacity { .. }) {
            let second = self.attempt(block, look, behind);
            if second.is_err() {
                self.lift(block);
            }
            return second.map_err(|_| miss);
        }
        Err(miss)
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
                let by = |miss: &Miss| if let Miss::Window { by_min, .. } = miss { *by_min } else { i64::MAX };
                nearest = nearest.into_iter().chain([miss]).min_by_key(by);
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
            self.queue.extend(net.blocks[block].steps.iter().rev());
            spread(net, &mut self.low, &mut self.queue)?;
        }
        for step in &net.blocks[block].steps {
            self.base[*step] = self.low[*step];
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
            self.queue.extend(steps);
            spread(net, &mut self.base, &mut self.queue)?;
            for step in steps {
                self.low[*step] = self.at[*step].map_or(self.base[*step], |at| at.0.max(self.base[*step]));
            }
            self.queue.extend(steps);
            spread(net, &mut self.low, &mut self.queue)?;
            let overtaken = |step: &&usize| self.at[**step].is_some_and(|at| self.low[**step] > at.0);
            let Some(step) = steps.iter().find(overtaken).copied() else { return Ok(()) };
            let by_min = self.low[step] - self.at[step].map_or(0, |at| at.0);
            if self.pinned[step].is_some() {
                return Err(self.window(step, by_min, &self.low));
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
                return Err(self.window(step, low - start, &self.low));
            }
            let free = begun || self.clash(step, start, end).is_none();
            return if free { Ok((start, end)) } else { Err(Miss::Pinned { step }) };
        }
        self.first_room(step, self.low[step])
    }

    /// The first place from `from` on in which a step gets all it needs.
    fn first_room(&mut self, step: usize, from: i64) -> Result<(i64, i64), Miss> {
        let net = self.net;
        let work = &net.works[step];
        let hours = work.hours.map(|hours| &net.hours[hours]);
        let mut open = hours.map_or(0, |hours| hours.after(from));
        self.places.clear();
        for need in &work.needs {
            self.places.push(self.profiles[need.resource].place(from - need.lead));
        }
        let mut from = from;
        'later: loop {
            let stretch = match hours {
                None => Some((from, from + work.length)),
                Some(hours) => hours.stretch_from(&mut open, from, work.length, work.splits),
            };
            let (start, end) = stretch.ok_or(Miss::Hours { step })?;
            for (need, place) in work.needs.iter().zip(&mut self.places) {
                let (room, profile) = (net.capacity[need.resource] - need.count, &self.profiles[need.resource]);
                match profile.clash_from(place, start - need.lead, end + need.tail, room) {
                    None => {}
                    Some((_, i64::MAX)) => return Err(Miss::Capacity { step, resource: need.resource }),
                    Some((_, free)) => {
                        from = free + need.lead;
                        continue 'later;
                    }
                }
            }
            return Ok((start, end));
        }
    }

    /// The first thing a step does not get if it stands at `start`..`end`, and when to try again.
    fn clash(&self, step: usize, start: i64, end: i64) -> Option<(usize, i64)> {
        self.net.works[step].needs.iter().find_map(|need| {
            let room = self.net.capacity[need.resource] - need.count;
            let clash = self.profiles[need.resource].clash(start - need.lead, end + need.tail, room)?;
            Some((need.resource, clash.1.saturating_add(need.lead)))
        })
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
        self.queue.push(step);
        spread(net, &mut self.trial, &mut self.queue)?;
        let mut pushed = None;
        for other in steps {
            let Some((stands, _)) = self.at[*other] else { continue };
            if self.trial[*other] > stands {
                let by_min = self.trial[*other] - stands;
                let miss = self.window(*other, by_min, &self.trial);
                if self.pinned[*other].is_some() {
                    return Err(miss);
                }
                pushed = Some(miss);
                self.base[*other] = self.trial[*other];
                self.take(*other);
            }
        }
        if pushed.is_some() {
            self.settle_low(block)?;
        }
        Ok(pushed)
    }

    /// The window that pushes a step by so much: the one whose other step, at its bound in `low`, asks for all of it.
    fn window(&self, bound: usize, by_min: i64, low: &[i64]) -> Miss {
        let net = self.net;
        let asks = |arc: &&crate::net::Arc| {
            let start = low[arc.from];
            let end = if arc.way == Way::StartByEnd { net.stretch(arc.from, start)?.1 } else { start };
            net.bound(arc, start, end)
        };
        let within = net.into[bound].iter().filter(|arc| net.block_of[arc.from] == net.block_of[bound]);
        let most = within.max_by_key(|arc| asks(arc).unwrap_or(i64::MIN));
        Miss::Window { bound, late: most.map_or(bound, |arc| arc.from), by_min }
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
            let by_min = free - self.at[hold.from].map_or(free, |at| at.0);
            self.take(hold.from);
            self.base[hold.from] = free;
            self.settle_low(block)?;
            return Ok(Some(Miss::Window { bound: hold.from, late: hold.to, by_min }));
        }
        Ok(None)
    }

    /// Takes one hold if both its steps are placed; fails with the time it is free again.
    fn hold(&mut self, at: usize) -> Result<(), i64> {
        let hold = self.net.holds[at];
        let (Some((from, _)), Some((_, to))) = (self.at[hold.from], self.at[hold.to]) else { return Ok(()) };
        if self.held[at] {
            return Ok(());
        }
        let count = i64::from(hold.count);
        let room = self.net.capacity[hold.resource] - count;
        // What is held since before is a fact, however much there is.
        let begun = self.net.works[hold.from].begun.is_some();
        if let (false, Some((_, free))) = (begun, self.profiles[hold.resource].clash(from, to, room)) {
            return Err(free);
        }
        self.profiles[hold.resource].add(from, to, count);
        self.held[at] = true;
        Ok(())
    }

    fn put(&mut self, step: usize, start: i64, end: i64) {
        self.at[step] = Some((start, end));
        for need in &self.net.works[step].needs {
            self.profiles[need.resource].add(start - need.lead, end + need.tail, need.count);
        }
    }

    fn take(&mut self, step: usize) {
        let Some((start, end)) = self.at[step] else { return };
        for need in &self.net.works[step].needs {
            self.profiles[need.resource].add(start - need.lead, end + need.tail, -need.count);
        }
        for at in &self.net.works[step].holds {
            let hold = self.net.holds[*at];
            if let (true, Some((from, _)), Some((_, to))) = (self.held[*at], self.at[hold.from], self.at[hold.to]) {
                self.profiles[hold.resource].add(from, to, -i64::from(hold.count));
                self.held[*at] = false;
            }
        }
        self.at[step] = None;
    }
}

/// Spreads the bounds in `low` of the steps in `queue` through a block. No time beyond what is reckoned is reached
/// unless the bounds go round in a circle.
fn spread(net: &Net, low: &mut [i64], queue: &mut Vec<usize>) -> Result<(), Miss> {
    while let Some(step) = queue.pop() {
        let start = low[step];
        if start > crate::FARTHEST_MIN * 4 {
            queue.clear();
            return Err(Miss::Hours { step });
        }
        for arc in &net.within[step] {
            let end = match arc.way {
                Way::StartByEnd => net.stretch(step, start).map(|(_, end)| end),
                _ => Some(start),
            };
            let Some(bound) = end.and_then(|end| net.bound(arc, start, end)) else {
                queue.clear();
                return Err(Miss::Hours { step });
            };
            if bound > low[arc.to] {
                low[arc.to] = bound;
                queue.push(arc.to);
            }
        }
    }
    Ok(())
}
