//! How much of a resource is taken over time.

use std::cell::Cell;

/// Taken amounts as a step function: each entry holds until the next. The first stands before all time.
#[derive(Debug, Clone)]
pub(crate) struct Profile {
    steps: Vec<(i64, i64)>,
    /// Where it was looked at last: the next look is mostly near by.
    near: Cell<usize>,
}

/// How far a look goes on from the last one before it looks everywhere.
const NEAR: usize = 8;

impl Profile {
    pub(crate) fn new() -> Self {
        Self { steps: vec![(i64::MIN, 0)], near: Cell::new(0) }
    }

    pub(crate) fn copy_from(&mut self, other: &Self) {
        self.steps.clone_from(&other.steps);
    }

    /// Takes `count` (gives back, if negative) from `from` to `to`.
    pub(crate) fn add(&mut self, from: i64, to: i64, count: i64) {
        if from >= to || count == 0 {
            return;
        }
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
    pub(crate) fn place(&self, at: i64) -> usize {
        let near = self.near.get().min(self.steps.len() - 1);
        let holds = |i: &usize| self.steps[*i].0 <= at && self.steps.get(i + 1).is_none_or(|next| next.0 > at);
        let found = if self.steps[near].0 <= at {
            (near..self.steps.len().min(near + NEAR)).find(holds)
        } else {
            (near.saturating_sub(NEAR)..near).rev().find(holds)
        };
        let place = found.unwrap_or_else(|| self.steps.partition_point(|(start, _)| *start <= at) - 1);
        self.near.set(place);
        place
    }

    /// The first stretch within `from`..`to` in which more than `room` is taken: when it begins, and when no more than
    /// that is taken again.
    pub(crate) fn clash(&self, from: i64, to: i64, room: i64) -> Option<(i64, i64)> {
        self.clash_from(&mut self.place(from), from, to, room)
    }

    /// The same for whoever asks for later and later times: looks on from `place`, which is moved along.
    pub(crate) fn clash_from(&self, place: &mut usize, from: i64, to: i64, room: i64) -> Option<(i64, i64)> {
        let mut i = *place;
        while self.steps.get(i + 1).is_some_and(|step| step.0 <= from) {
            i += 1;
        }
        *place = i;
        self.near.set(i);
        while i < self.steps.len() && self.steps[i].0 < to {
            if self.steps[i].1 > room {
                let begins = self.steps[i].0;
                while self.steps.get(i).is_some_and(|step| step.1 > room) {
                    i += 1;
                }
                return Some((begins, self.steps.get(i).map_or(i64::MAX, |step| step.0)));
            }
            i += 1;
        }
        None
    }

    /// When the last of it is free again.
    pub(crate) fn ends(&self) -> i64 {
        self.steps.last().map_or(i64::MIN, |step| step.0)
    }
}
