//! One clock: the age of one rule version (and mode) in one zone, and the alarms set on it in order of target age.
//! A reading advances all of them at once; its cost does not depend on how many cures are open.

use std::collections::BTreeSet;

use facts::{Meets, VersionId};

use crate::ages::Ages;

/// Which rule a clock follows.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(crate) struct ClockKey {
    pub(crate) version: VersionId,
    pub(crate) mode: String,
}

/// Place of a cure in the bench's list.
pub(crate) type CureIx = u32;

/// A milestone waiting on a clock. Ordered by age first; the rest only makes it unique.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Alarm {
    pub(crate) target: AgeH,
    pub(crate) cure: CureIx,
    pub(crate) milestone: u8,
}

/// An age in hours with a total order, so that it can stand in a set. Never NaN: laws are checked before use.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct AgeH(pub(crate) f64);

impl Eq for AgeH {}
impl PartialOrd for AgeH {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for AgeH {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        self.0.total_cmp(&other.0)
    }
}

/// A clock with its alarms.
pub(crate) struct CureClock {
    pub(crate) ages: Ages,
    /// Told at `safe`, checked against the slow edge of the band.
    pub(crate) opening: BTreeSet<Alarm>,
    /// Told at `earliest`, checked against the fast edge.
    pub(crate) closing: BTreeSet<Alarm>,
    /// Cures of which something rests on the outlook, a start, a move or a told milestone after the last reading:
    /// looked at again with the next one. A set, because several legs may put the same cure here.
    pub(crate) unsettled: BTreeSet<CureIx>,
    /// Every open cure on this clock, also those without an alarm left.
    pub(crate) cures: BTreeSet<CureIx>,
    /// When this clock's next alarm is due, as it stands in the bench's wake list.
    pub(crate) wake_ms: Option<i64>,
    /// Whether it is on the bench's list of clocks whose next alarm must be looked up again.
    pub(crate) stale: bool,
}

impl CureClock {
    pub(crate) fn new(ages: Ages) -> Self {
        Self {
            ages,
            opening: BTreeSet::new(),
            closing: BTreeSet::new(),
            unsettled: BTreeSet::new(),
            cures: BTreeSet::new(),
            wake_ms: None,
            stale: false,
        }
    }

    pub(crate) fn alarms(&mut self, meets: Meets) -> &mut BTreeSet<Alarm> {
        match meets {
            Meets::Opens => &mut self.opening,
            Meets::Closes => &mut self.closing,
        }
    }
}
