//! When a resource is there: opening hours as intervals of real minutes.

/// Opening hours: half-open intervals in minutes, in order and apart.
///
/// Minutes are real ones, counted from whatever instant the caller chose. A change to summer time is therefore no
/// concern of this room: that week's hours lie an hour nearer, and a wait of 60 minutes stays 60 minutes.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Calendar {
    open: Vec<(i64, i64)>,
    /// The first interval that ends after the beginning of each stretch of `stride` minutes from the first opening on.
    near: Vec<usize>,
    stride: i64,
}

/// The usual hours of a week with the days that differ from it.
#[derive(Debug, Clone, Default)]
pub struct Week {
    /// Hours of each weekday, Monday first, as minutes of the local day.
    pub hours: [Vec<(i64, i64)>; 7],
    /// Days that are otherwise, by the number of the day; no hours means closed.
    pub exceptions: Vec<(i64, Vec<(i64, i64)>)>,
}

impl Calendar {
    /// Opening hours from intervals in any order; what touches or overlaps becomes one, what is empty is left out.
    #[must_use]
    pub fn new(mut intervals: Vec<(i64, i64)>) -> Self {
        intervals.retain(|(from, to)| from < to);
        intervals.sort_unstable();
        let mut open: Vec<(i64, i64)> = Vec::with_capacity(intervals.len());
        for (from, to) in intervals {
            match open.last_mut() {
                Some(last) if from <= last.1 => last.1 = last.1.max(to),
                _ => open.push((from, to)),
            }
        }
        Self::indexed(open)
    }

    /// With an index to where a time is, so that nobody has to search for it.
    fn indexed(open: Vec<(i64, i64)>) -> Self {
        let (begins, ends) = (open.first().map_or(0, |first| first.0), open.last().map_or(0, |last| last.1));
        let stretches = 2 * open.len() as i64 + 1;
        let stride = (ends - begins) / stretches + 1;
        let at = |stretch: i64| begins + stretch * stride;
        let near = (0..stretches).map(|stretch| open.partition_point(|(_, to)| *to <= at(stretch))).collect();
        Self { open, near, stride }
    }

    /// The hours of `days` days from day number `first` on, which is a `weekday` (0 is Monday).
    ///
    /// `minute_of(day, minute)` is the real minute at which the local day shows that minute of its clock; without
    /// summer time that is `day * 1440 + minute`. Whoever knows the time zone gives it.
    #[must_use]
    pub fn weekly(week: &Week, first: i64, weekday: usize, days: usize, minute_of: impl Fn(i64, i64) -> i64) -> Self {
        let mut intervals = Vec::new();
        for i in 0..days {
            let day = first + i as i64;
            let other = week.exceptions.iter().find(|(exception, _)| *exception == day);
            let hours = other.map_or(&week.hours[(weekday + i) % 7], |(_, hours)| hours);
            intervals.extend(hours.iter().map(|(from, to)| (minute_of(day, *from), minute_of(day, *to))));
        }
        Self::new(intervals)
    }

    /// The intervals, in order and apart.
    #[must_use]
    pub fn open(&self) -> &[(i64, i64)] {
        &self.open
    }

    /// When both are open.
    #[must_use]
    pub fn and(&self, other: &Self) -> Self {
        let (mut i, mut j, mut open) = (0, 0, Vec::new());
        while let (Some(a), Some(b)) = (self.open.get(i), other.open.get(j)) {
            let both = (a.0.max(b.0), a.1.min(b.1));
            if both.0 < both.1 {
                open.push(both);
            }
            if a.1 < b.1 { i += 1 } else { j += 1 }
        }
        Self::indexed(open)
    }

    /// The same hours with time running backwards.
    pub(crate) fn mirrored(&self) -> Self {
        Self::indexed(self.open.iter().rev().map(|(from, to)| (-to, -from)).collect())
    }

    /// The number of the first interval that ends after `at_min`.
    pub(crate) fn after(&self, at_min: i64) -> usize {
        let Some((begins, _)) = self.open.first() else { return 0 };
        let stretch = ((at_min.max(*begins) - begins) / self.stride).min(self.near.len() as i64 - 1) as usize;
        let mut at = self.near[stretch];
        while self.open.get(at).is_some_and(|(_, to)| *to <= at_min) {
            at += 1;
        }
        at
    }

    /// The first stretch at or after `from_min` that has `length_min` in one interval, or, where the work `splits`, in
    /// as many as it takes. `None` past the last hours there are.
    #[must_use]
    pub fn stretch(&self, from_min: i64, length_min: i64, splits: bool) -> Option<(i64, i64)> {
        self.stretch_from(&mut self.after(from_min), from_min, length_min, splits)
    }

    /// The same for whoever asks for later and later times: looks on from `place`, which is moved along.
    pub(crate) fn stretch_from(
        &self,
        place: &mut usize,
        from_min: i64,
        length_min: i64,
        splits: bool,
    ) -> Option<(i64, i64)> {
        while self.open.get(*place).is_some_and(|(_, to)| *to <= from_min) {
            *place += 1;
        }
        if !splits {
            loop {
                let (from, to) = *self.open.get(*place)?;
                let start = from_min.max(from);
                if start + length_min <= to {
                    return Some((start, start + length_min));
                }
                *place += 1;
            }
        }
        let first = *place;
        let start = from_min.max(self.open.get(first)?.0);
        let (mut at, mut left) = (start, length_min);
        for (from, to) in &self.open[first..] {
            at = at.max(*from);
            if left <= to - at {
                return Some((start, at + left));
            }
            left -= to - at;
        }
        None
    }

    /// The last start from which such a stretch ends at or before `by_min`.
    #[must_use]
    pub fn last_start(&self, by_min: i64, length_min: i64, splits: bool) -> Option<i64> {
        let mirror = |from: i64, to: i64| (-to, -from);
        let begun = self.open.partition_point(|(from, _)| *from < by_min);
        let backwards = self.open[..begun].iter().rev().map(|(from, to)| mirror(*from, *to));
        let mut start: Option<i64> = None;
        let mut left = length_min;
        for (from, to) in backwards {
            let at = from.max(-by_min);
            if !splits {
                if at + length_min <= to {
                    return Some(-(at + length_min));
                }
                continue;
            }
            start = start.or(Some(at));
            if left <= to - at {
                return start.map(|_| -(at + left));
            }
            left -= to - at;
        }
        None
    }

    /// The end of the interval `at_min` lies in; `None` while closed.
    #[must_use]
    pub fn closes(&self, at_min: i64) -> Option<i64> {
        self.open.get(self.after(at_min)).filter(|(from, _)| *from <= at_min).map(|(_, to)| *to)
    }
}
