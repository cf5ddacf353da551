//! What the air of one zone was: readings in order of time, each instant once.

use std::collections::BTreeMap;

use crate::Air;

/// What a reading did to the timeline; decides how much of a clock must be summed again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Change {
    /// It was there already, to the digit.
    Nothing,
    /// It came after all others.
    Appended,
    /// It came late or corrected an earlier one: sums from this index on are void.
    From(usize),
}

/// Readings of a zone, oldest first.
#[derive(Debug, Default, Clone)]
pub struct Timeline {
    /// Instants apart from the airs, so that the binary search for an instant touches little memory.
    at_ms: Vec<i64>,
    air: Vec<Air>,
    /// What each sensor said where they disagreed. A map beside the airs, because it is nearly always empty.
    apart: BTreeMap<i64, Box<[Air]>>,
}

impl Timeline {
    /// Takes the air of an instant in, with what each sensor said if they disagreed; one of the same instant is replaced.
    pub(crate) fn put(&mut self, at_ms: i64, air: Air, apart: Option<Box<[Air]>>) -> Change {
        let same = self.apart.get(&at_ms) == apart.as_ref();
        match apart {
            Some(said) => drop(self.apart.insert(at_ms, said)),
            None if same => {}
            None => drop(self.apart.remove(&at_ms)),
        }
        // Most readings come last.
        if self.at_ms.last().is_none_or(|last_ms| at_ms > *last_ms) {
            self.at_ms.push(at_ms);
            self.air.push(air);
            return Change::Appended;
        }
        match self.at_ms.binary_search(&at_ms) {
            Ok(i) if self.air[i] == air && same => Change::Nothing,
            Ok(i) => {
                self.air[i] = air;
                Change::From(i)
            }
            Err(i) => {
                self.at_ms.insert(i, at_ms);
                self.air.insert(i, air);
                Change::From(i)
            }
        }
    }

    /// Forgets readings before an instant, but the last of them, which still bounds the first interval kept.
    /// Returns how many went.
    pub(crate) fn forget_before(&mut self, at_ms: i64) -> usize {
        let gone = self.at_ms.partition_point(|t| *t < at_ms).saturating_sub(1);
        self.at_ms.drain(..gone);
        self.air.drain(..gone);
        if let Some(first_ms) = self.at_ms.first() {
            self.apart = self.apart.split_off(first_ms);
        }
        gone
    }

    /// The readings of a stretch of time and the one before and after it, which bound it.
    pub(crate) fn cut(&self, from_ms: i64, to_ms: i64) -> Self {
        let first = self.after(from_ms).saturating_sub(1);
        let end = (self.after(to_ms) + 1).min(self.len()).max(first);
        let mut cut = Self::default();
        for i in first..end {
            let (at_ms, air) = self.get(i);
            cut.put(at_ms, air, self.apart.get(&at_ms).cloned());
        }
        cut
    }

    /// Number of readings.
    pub fn len(&self) -> usize {
        self.at_ms.len()
    }

    /// Whether no sensor has ever spoken here.
    pub fn is_empty(&self) -> bool {
        self.at_ms.is_empty()
    }

    /// The oldest reading: instant in ms since 1970 UTC and air.
    pub fn first(&self) -> Option<(i64, Air)> {
        Some((*self.at_ms.first()?, *self.air.first()?))
    }

    /// The last reading: instant in ms since 1970 UTC and air.
    pub fn last(&self) -> Option<(i64, Air)> {
        Some((*self.at_ms.last()?, *self.air.last()?))
    }

    /// Reading `i`, oldest first.
    ///
    /// # Panics
    /// When `i` is not below [`Timeline::len`].
    pub fn get(&self, i: usize) -> (i64, Air) {
        (self.at_ms[i], self.air[i])
    }

    /// The air at exactly an instant, if somebody read it then.
    pub fn exactly(&self, at_ms: i64) -> Option<Air> {
        self.at_ms.binary_search(&at_ms).ok().map(|i| self.air[i])
    }

    /// What each sensor said at an instant at which they disagreed.
    pub fn apart(&self, at_ms: i64) -> Option<&[Air]> {
        self.apart.get(&at_ms).map(AsRef::as_ref)
    }

    /// Whether sensors ever disagreed here; asked first, because nearly always they never did.
    pub(crate) fn ever_apart(&self) -> bool {
        !self.apart.is_empty()
    }

    /// Index of the first reading after an instant.
    pub fn after(&self, at_ms: i64) -> usize {
        self.at_ms.partition_point(|t| *t <= at_ms)
    }

    /// Readings from an instant up to and with another.
    pub fn between(&self, from_ms: i64, to_ms: i64) -> impl Iterator<Item = (i64, Air)> + '_ {
        let first = self.at_ms.partition_point(|t| *t < from_ms);
        (first..self.after(to_ms).max(first)).map(|i| self.get(i))
    }
}
