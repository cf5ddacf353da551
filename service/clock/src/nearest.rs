//! The cures that come next, found without asking every open one: each clock has its alarms in order, and when the next of
//! each clock comes stands in the wake list.

use std::{
    cmp::Reverse,
    collections::{BTreeMap, BinaryHeap},
    ops::Bound,
};

use facts::Meets;

use crate::{
    Bench, Cure,
    alarms::alert_band,
    cure_clock::{Alarm, CureIx},
};

/// A cure, its next milestone, and when that comes, ms.
pub(crate) type Headline<'a> = (&'a Cure, Option<usize>, Option<i64>);

/// Rounding of a time looked up by an age, ms.
const ROUNDING_MS: i64 = 1000;

/// An alarm of a clock, by when it comes, ms: the zone, the clock, and whether something opens.
type Ahead = Reverse<(i64, usize, usize, bool, Alarm)>;

impl Bench {
    /// Open cures at `now_ms`, those to act on first, then by what comes next: at most `at_most` of them.
    pub(crate) fn nearest(&self, now_ms: i64, at_most: usize) -> Vec<Headline<'_>> {
        let found = if self.open.len() > at_most { Search::new(self, now_ms, at_most).run() } else { None };
        let every = || self.open.iter().map(|ix| self.headline(&self.cures[*ix as usize], now_ms)).collect();
        let mut cures: Vec<Headline<'_>> = found.unwrap_or_else(every);
        let first = |(cure, _, next_ms): &Headline<'_>| {
            (!self.release_clamps(cure), next_ms.unwrap_or(i64::MAX), cure.recorded_ms)
        };
        cures.sort_by_key(first);
        cures.truncate(at_most);
        cures
    }

    /// The first alarm of each kind of a clock.
    fn first_alarms(&self, zone: usize, clock: usize) -> impl Iterator<Item = Ahead> {
        [true, false].into_iter().filter_map(move |opens| self.alarm_after(zone, clock, opens, Bound::Unbounded))
    }

    /// The next alarm of one kind of a clock; none where the expected air never gets there.
    fn alarm_after(&self, zone: usize, clock: usize, opens: bool, after: Bound<Alarm>) -> Option<Ahead> {
        let on = &self.zones[zone].clocks[clock];
        let (alarms, meets) = if opens { (&on.opening, Meets::Opens) } else { (&on.closing, Meets::Closes) };
        let alarm = alarms.range((after, Bound::Unbounded)).next()?;
        let at_ms = on.ages.time_of(alarm.target.0, alert_band(meets), self.air_of(zone))?;
        Some(Reverse((at_ms, zone, clock, opens, *alarm)))
    }
}

/// A search for the nearest cures. No milestone of a cure comes before its earliest alarm: once the alarms have come to
/// the last of as many times as were asked for, none that was not seen comes before it.
struct Search<'a> {
    bench: &'a Bench,
    now_ms: i64,
    at_most: usize,
    seen: BTreeMap<CureIx, Headline<'a>>,
    /// The nearest times seen, the last of them on top.
    times: BinaryHeap<i64>,
    ahead: BinaryHeap<Ahead>,
}

impl<'a> Search<'a> {
    /// Begins with the cures that are held by clamps, which may stand first whatever comes next, and with the clocks whose
    /// place in the wake list is out of date.
    fn new(bench: &'a Bench, now_ms: i64, at_most: usize) -> Self {
        let held = bench.clamps.values().filter_map(|clamp| bench.cure_of.get(clamp.on.as_ref()?));
        let held = held.filter(|ix| bench.open.contains(ix));
        let seen = held.map(|ix| (*ix, bench.headline(&bench.cures[*ix as usize], now_ms))).collect();
        let ahead = bench.stale.iter().flat_map(|(zone, clock)| bench.first_alarms(*zone, *clock)).collect();
        Self { bench, now_ms, at_most, seen, times: BinaryHeap::new(), ahead }
    }

    /// Every cure that can be among the nearest, in the order they were registered, and some more; none where fewer than
    /// were asked for have a time at all.
    fn run(mut self) -> Option<Vec<Headline<'a>>> {
        let bench = self.bench;
        let up_to_date = |(_, zone, clock): &&(i64, usize, usize)| !bench.zones[*zone].clocks[*clock].stale;
        let mut wake = bench.wake.iter().filter(up_to_date).peekable();
        let mut floors = bench.floors.iter().peekable();
        loop {
            let of_ahead = self.ahead.peek().map(|Reverse((at_ms, ..))| *at_ms);
            let of_wake = wake.peek().map(|(at_ms, ..)| *at_ms);
            let of_floors = floors.peek().map(|(at_ms, ..)| *at_ms);
            let next_ms = [of_ahead, of_wake, of_floors].into_iter().flatten().min()?;
            if self.is_done(next_ms) {
                return Some(self.seen.into_values().collect());
            }
            if of_floors == Some(next_ms) {
                floors.next().into_iter().for_each(|(_, ix, _)| self.see(*ix));
            } else if of_wake == Some(next_ms) {
                wake.next()
                    .into_iter()
                    .for_each(|(_, zone, clock)| self.ahead.extend(bench.first_alarms(*zone, *clock)));
            } else if let Some(Reverse((_, zone, clock, opens, alarm))) = self.ahead.pop() {
                self.see(alarm.cure);
                self.ahead.extend(bench.alarm_after(zone, clock, opens, Bound::Excluded(alarm)));
            }
        }
    }

    fn is_done(&self, next_ms: i64) -> bool {
        self.times.len() >= self.at_most && self.times.peek().is_none_or(|last_ms| next_ms > last_ms + ROUNDING_MS)
    }

    fn see(&mut self, ix: CureIx) {
        if self.seen.contains_key(&ix) {
            return;
        }
        let headline = self.bench.headline(&self.bench.cures[ix as usize], self.now_ms);
        self.seen.insert(ix, headline);
        self.times.extend(headline.2);
        if self.times.len() > self.at_most {
            self.times.pop();
        }
    }
}
