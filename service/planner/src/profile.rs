//! How much of a resource is taken over time.

/// Taken amounts as a step function: each entry holds until the next. The first stands before all time.
///
/// Minutes are kept short, since what is copied and moved most is this: nothing finds a place beyond 4,000 years.
#[derive(Debug, Clone)]
pub(crate) struct Profile<'a> {
    steps: Vec<Entry>,
    /// Outside of these `closed` is taken; empty where there are no hours.
    hours: &'a [(i64, i64)],
    closed: i32,
    /// How many of the hours have been entered: those long after all there is to do are none of anybody's business.
    entered: usize,
    /// Where it was looked at last: what finds a place there takes it.
    near: usize,
}

/// From when on how much is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Entry {
    at: i32,
    taken: i32,
}

/// A minute of which it is enough to know that it is beyond all reckoning, if it is.
fn short(at: i64) -> i32 {
    at.clamp(i32::MIN.into(), i32::MAX.into()) as i32
}

impl<'a> Profile<'a> {
    /// Nothing is taken.
    pub(crate) fn new() -> Self {
        Self::within(&[], 0)
    }

    /// All of `closed` is taken outside of these hours.
    pub(crate) fn within(hours: &'a [(i64, i64)], closed: i64) -> Self {
        // Of nothing, nothing can be taken.
        let hours = if closed > 0 { hours } else { &[] };
        let closed = short(closed);
        Self { steps: vec![Entry { at: i32::MIN, taken: closed }], hours, closed, entered: 0, near: 0 }
    }

    pub(crate) fn copy_from(&mut self, other: &Self) {
        self.steps.clone_from(&other.steps);
        self.entered = other.entered;
    }

    /// Enters the next hours; `false` if there are no more.
    fn enter(&mut self) -> bool {
        let Some((from, to)) = self.hours.get(self.entered) else { return false };
        let closes = Entry { at: short(*to), taken: self.closed };
        self.steps.extend([Entry { at: short(*from), taken: 0 }, closes]);
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
        self.enter_until(to);
        let (from, to, count) = (short(from), short(to), short(count));
        if from >= to || count == 0 {
            return;
        }
        let before = self.place(from);
        let mut last = before;
        while self.steps.get(last + 1).is_some_and(|step| step.at <= to) {
            last += 1;
        }
        let Entry { at, taken } = self.steps[before];
        if before == last && at == from && before > 0 && self.steps[before - 1].taken == taken.saturating_add(count) {
            // Right behind what is taken: that goes on for longer.
            self.steps[before].at = to;
            return;
        }
        if before == last && at != from && at != to {
            let end = self.steps.len();
            self.steps.extend([Entry { at: 0, taken: 0 }; 2]);
            self.steps.copy_within(before + 1..end, before + 3);
            self.steps[before + 1] = Entry { at: from, taken: taken.saturating_add(count) };
            self.steps[before + 2] = Entry { at: to, taken };
            return;
        }
        if self.steps[last].at != to {
            self.steps.insert(last + 1, Entry { at: to, ..self.steps[last] });
            last += 1;
        }
        let mut first = before;
        if at != from {
            first += 1;
            last += 1;
            self.steps.insert(first, Entry { at: from, taken });
        }
        for step in &mut self.steps[first..last] {
            step.taken = step.taken.saturating_add(count);
        }
        // Where taken and free again meet there is no edge; of the edges inside none can have gone.
        if self.steps[last].taken == self.steps[last - 1].taken {
            self.steps.remove(last);
        }
        if first > 0 && self.steps[first].taken == self.steps[first - 1].taken {
            self.steps.remove(first);
        }
    }

    /// The place of the entry that holds at `at`.
    fn place(&mut self, at: i32) -> usize {
        let holds = self.steps.get(self.near).is_some_and(|step| step.at <= at)
            && self.steps.get(self.near + 1).is_none_or(|next| next.at > at);
        if !holds {
            self.near = self.steps.partition_point(|step| step.at <= at) - 1;
        }
        self.near
    }

    /// When, of the first stretch within `from`..`to` in which more than `room` is taken, no more than that is taken again.
    pub(crate) fn clash(&mut self, from: i64, to: i64, room: i64) -> Option<i64> {
        self.enter_until(to);
        let (to, room) = (short(to), short(room));
        let place = self.place(short(from));
        let within = self.steps[place..].iter().take_while(|step| step.at < to);
        let full = place + within.enumerate().find(|(_, step)| step.taken > room)?.0;
        Some(self.free(full, room).map_or(i64::MAX, |free| self.steps[free].at.into()))
    }

    /// The first time at or after `from` from which no more than `room` is taken for so long; `None` if there is none.
    pub(crate) fn first(&mut self, from: i64, length: i64, room: i64) -> Option<i64> {
        self.enter_until(from);
        let (mut start, length, room) = (short(from), short(length), short(room));
        let mut place = self.place(start);
        loop {
            let end = start.checked_add(length)?;
            let within = self.steps[place..].iter().take_while(|step| step.at < end);
            let Some((full, _)) = within.enumerate().find(|(_, step)| step.taken > room) else {
                self.near = place;
                return Some(start.into());
            };
            place = self.free(place + full, room)?;
            start = self.steps[place].at;
        }
    }

    /// The first place from `place` on in which no more than `room` is taken.
    fn free(&mut self, mut place: usize, room: i32) -> Option<usize> {
        loop {
            match self.steps[place..].iter().position(|step| step.taken <= room) {
                Some(free) => return Some(place + free),
                None => place = self.steps.len(),
            }
            self.enter().then_some(())?;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Chance;

    const MINUTES: i64 = 60;
    const HOURS: [(i64, i64); 3] = [(5, 20), (25, 40), (45, 55)];
    const CAPACITY: i64 = 2;

    /// The same kept minute by minute.
    fn by_minutes(taken: &[i64], from: i64, length: i64, room: i64) -> Option<i64> {
        let free = |start: &i64| taken[*start as usize..(*start + length) as usize].iter().all(|taken| *taken <= room);
        (from..=MINUTES - length).find(free)
    }

    #[test]
    fn it_says_what_a_list_of_all_minutes_says() {
        let mut chance = Chance::new(11);
        for _ in 0..300 {
            let mut profile = Profile::within(&HOURS, CAPACITY);
            let open = |at: i64| HOURS.iter().any(|(from, to)| (*from..*to).contains(&at));
            let mut taken: Vec<i64> = (0..MINUTES).map(|at| if open(at) { 0 } else { CAPACITY }).collect();
            let mut put: Vec<(i64, i64, i64)> = Vec::new();
            for _ in 0..40 {
                let from = chance.below(55) as i64;
                let length = 1 + chance.below(12) as i64;
                let room = chance.below(2) as i64;
                assert_eq!(profile.first(from, length, room), by_minutes(&taken, from, length, room));
                let to = (from + length).min(MINUTES);
                let full = (from..to).find(|at| taken[*at as usize] > room);
                let free = full.map(|full| (full..MINUTES).find(|at| taken[*at as usize] <= room).unwrap_or(i64::MAX));
                assert_eq!(profile.clash(from, to, room), free);
                let change = if put.len() > 6 {
                    let (from, to, count) = put.swap_remove(chance.below(7));
                    (from, to, -count)
                } else {
                    // As steps are placed: where the first room is, or across closing like a tail.
                    let start = by_minutes(&taken, from, length, room).filter(|_| chance.below(4) > 0).unwrap_or(from);
                    put.push((start, (start + length).min(MINUTES), 1 + chance.below(2) as i64));
                    put[put.len() - 1]
                };
                profile.add(change.0, change.1, change.2);
                (change.0..change.1).for_each(|at| taken[at as usize] += change.2);
            }
            assert!(profile.steps.windows(2).all(|pair| pair[0].at < pair[1].at && pair[0].taken != pair[1].taken));
        }
    }
}
