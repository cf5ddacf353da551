//! How much of a resource is taken over time.

/// Taken amounts as a step function: each entry holds until the next. The first stands before all time.
#[derive(Debug, Clone)]
pub(crate) struct Profile<'a> {
    steps: Vec<(i64, i64)>,
    /// Outside of these `closed` is taken; empty where there are no hours.
    hours: &'a [(i64, i64)],
    closed: i64,
    /// How many of the hours have been entered: those long after all there is to do are none of anybody's business.
    entered: usize,
    /// Where it was looked at last: the next look is mostly near by.
    near: usize,
}

/// How far a look goes on from the last one before it looks everywhere.
const NEAR: usize = 8;

impl<'a> Profile<'a> {
    /// Nothing is taken.
    pub(crate) fn new() -> Self {
        Self { steps: vec![(i64::MIN, 0)], hours: &[], closed: 0, entered: 0, near: 0 }
    }

    /// All of `closed` is taken outside of these hours.
    pub(crate) fn within(hours: &'a [(i64, i64)], closed: i64) -> Self {
        // Of nothing, nothing can be taken.
        let hours = if closed > 0 { hours } else { &[] };
        Self { steps: vec![(i64::MIN, closed)], hours, closed, ..Self::new() }
    }

    pub(crate) fn copy_from(&mut self, other: &Self) {
        self.steps.clone_from(&other.steps);
        self.entered = other.entered;
    }

    /// Enters the next hours; `false` if there are no more.
    fn enter(&mut self) -> bool {
        let Some((from, to)) = self.hours.get(self.entered) else { return false };
        self.steps.extend([(*from, 0), (*to, self.closed)]);
        self.entered += 1;
        true
    }

    /// Enters all hours that begin until then.
    fn enter_until(&mut self, at: i64) {
        while self.hours.get(self.entered).is_some_and(|hours| hours.0 <= at) {
            self.enter();
        }
    }

    /// Takes `count` (gives back, if negative) from `from` to `to`.
    pub(crate) fn add(&mut self, from: i64, to: i64, count: i64) {
        if from >= to || count == 0 {
            return;
        }
        self.enter_until(to);
        let before = self.place(from);
        let mut last = before;
        while self.steps.get(last + 1).is_some_and(|step| step.0 <= to) {
            last += 1;
        }
        if before == last && self.steps[before].0 != from && self.steps[before].0 != to {
            let (level, end) = (self.steps[before].1, self.steps.len());
            self.steps.extend([(0, 0); 2]);
            self.steps.copy_within(before + 1..end, before + 3);
            (self.steps[before + 1], self.steps[before + 2]) = ((from, level + count), (to, level));
            return;
        }
        if self.steps[last].0 != to {
            self.steps.insert(last + 1, (to, self.steps[last].1));
            last += 1;
        }
        let mut first = before;
        if self.steps[before].0 != from {
            first += 1;
            last += 1;
            self.steps.insert(first, (from, self.steps[before].1));
        }
        for step in &mut self.steps[first..last] {
            step.1 += count;
        }
        // Where taken and free again meet there is no edge; of the edges inside none can have gone.
        if self.steps[last].1 == self.steps[last - 1].1 {
            self.steps.remove(last);
        }
        if self.steps[first].1 == self.steps[first - 1].1 {
            self.steps.remove(first);
        }
    }

    /// The place of the entry that holds at `at`.
    fn place(&mut self, at: i64) -> usize {
        let near = self.near.min(self.steps.len() - 1);
        let found = if self.steps[near].0 <= at {
            let later = &self.steps[near + 1..];
            let next = later.iter().take(NEAR).position(|step| step.0 > at);
            next.or((later.len() < NEAR).then_some(later.len())).map(|next| near + next)
        } else {
            self.steps[..near].iter().rev().take(NEAR).position(|step| step.0 <= at).map(|back| near - 1 - back)
        };
        let place = found.unwrap_or_else(|| self.steps.partition_point(|step| step.0 <= at) - 1);
        self.near = place;
        place
    }

    /// When, of the first stretch within `from`..`to` in which more than `room` is taken, no more than that is taken again.
    pub(crate) fn clash(&mut self, from: i64, to: i64, room: i64) -> Option<i64> {
        self.enter_until(to);
        let place = self.place(from);
        let within = self.steps[place..].iter().take_while(|step| step.0 < to);
        let full = place + within.enumerate().find(|(_, step)| step.1 > room)?.0;
        Some(self.free(full, room).map_or(i64::MAX, |free| self.steps[free].0))
    }

    /// The first time at or after `from` from which no more than `room` is taken for so long; `None` if there is none.
    pub(crate) fn first(&mut self, from: i64, length: i64, room: i64) -> Option<i64> {
        self.enter_until(from);
        let mut place = self.place(from);
        let mut start = from;
        loop {
            let within = self.steps[place..].iter().take_while(|step| step.0 < start + length);
            let Some((full, _)) = within.enumerate().find(|(_, step)| step.1 > room) else {
                self.near = place;
                return Some(start);
            };
            place = self.free(place + full, room)?;
            start = self.steps[place].0;
        }
    }

    /// The first place from `place` on in which no more than `room` is taken.
    fn free(&mut self, mut place: usize, room: i64) -> Option<usize> {
        loop {
            match self.steps[place..].iter().position(|step| step.1 <= room) {
                Some(free) => return Some(place + free),
                None => place = self.steps.len(),
            }
            self.enter().then_some(())?;
        }
    }
}
