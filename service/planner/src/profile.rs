//! How much of a resource is taken over time.

/// Taken amounts as a step function: each entry holds until the next. The first stands before all time.
#[derive(Debug, Clone)]
pub(crate) struct Profile {
    steps: Vec<(i64, i64)>,
}

impl Profile {
    pub(crate) fn new() -> Self {
        Self { steps: vec![(i64::MIN, 0)] }
    }

    /// Takes `count` (gives back, if negative) from `from` to `to`.
    pub(crate) fn add(&mut self, from: i64, to: i64, count: i64) {
        if from >= to || count == 0 {
            return;
        }
        let first = self.split(from);
        let last = self.split(to);
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

    /// The place of the entry that begins at `at`, made if it is not there.
    fn split(&mut self, at: i64) -> usize {
        let after = self.steps.partition_point(|(start, _)| *start < at);
        if self.steps.get(after).is_none_or(|(start, _)| *start != at) {
            self.steps.insert(after, (at, self.steps[after - 1].1));
        }
        after
    }

    /// The first stretch within `from`..`to` in which more than `room` is taken: when it begins, and when no more than
    /// that is taken again.
    pub(crate) fn clash(&self, from: i64, to: i64, room: i64) -> Option<(i64, i64)> {
        let mut i = self.steps.partition_point(|(start, _)| *start <= from) - 1;
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
