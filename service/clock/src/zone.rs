//! A zone: its readings, its outlook, and the clocks that run in it.

use std::{collections::HashMap, sync::OnceLock};

use facts::{Reading, ZoneSet};

use crate::{
    Air, Expected, Forecast, Intended, Outlook, Timeline,
    ages::{AirOf, Past},
    cure_clock::{ClockKey, CureClock},
    sensors::{Calibrations, Combining, Sensors},
    timeline::Change,
};

/// One place with one climate.
pub(crate) struct Zone {
    pub(crate) set: ZoneSet,
    /// Its set-point and the plans for it.
    pub(crate) intended: Intended,
    /// The one series its clocks run on.
    pub(crate) timeline: Timeline,
    /// What each sensor said, where there are several or they have names.
    pub(crate) sensors: Sensors,
    /// Made when first asked for after a change of the timeline.
    outlook: OnceLock<Outlook>,
    /// Never shrinks, so that an index into it stays good.
    pub(crate) clocks: Vec<CureClock>,
    pub(crate) clock_of: HashMap<ClockKey, usize>,
}

impl Zone {
    pub(crate) fn new(set: ZoneSet) -> Self {
        Self {
            intended: Intended::always(Air::new(set.set_temp_c, set.set_rh_pct)),
            set,
            timeline: Timeline::default(),
            sensors: Sensors::default(),
            outlook: OnceLock::new(),
            clocks: Vec::new(),
            clock_of: HashMap::new(),
        }
    }

    /// Takes a reading in.
    pub(crate) fn put(&mut self, reading: &Reading, combining: Combining, calibrations: &Calibrations) -> Change {
        self.sensors.put(reading, &mut self.timeline, combining, calibrations)
    }

    /// A hygrometer's correction changed from an instant on.
    pub(crate) fn correct(&mut self, from_ms: i64, combining: Combining, calibrations: &Calibrations) -> Change {
        self.sensors.combine(from_ms, i64::MAX, &mut self.timeline, combining, calibrations)
    }

    /// Its name or set-point is another from an instant on.
    pub(crate) fn revise(&mut self, set: &ZoneSet, at_ms: i64) {
        self.set = set.clone();
        let air = Air::new(set.set_temp_c, set.set_rh_pct);
        if air != self.intended.set {
            self.intended.set = air;
            self.intended.set_since_ms = at_ms;
        }
    }

    /// What a clock of this zone reads its air from. The outlook is made here if a reading voided it.
    pub(crate) fn air_of<'a>(&'a self, forecast: &dyn Forecast, bridge_ms: i64) -> AirOf<'a> {
        let past = Past { timeline: &self.timeline, set: self.intended.set, bridge_ms };
        AirOf { past, outlook: self.outlook(forecast) }
    }

    /// Its clocks, and the past that they sum.
    pub(crate) fn clocks_and_past(&mut self, bridge_ms: i64) -> (&mut Vec<CureClock>, Past<'_>) {
        let set = self.intended.set;
        (&mut self.clocks, Past { timeline: &self.timeline, set, bridge_ms })
    }

    pub(crate) fn outlook(&self, forecast: &dyn Forecast) -> &Outlook {
        self.outlook.get_or_init(|| forecast.outlook(&self.timeline, &self.intended))
    }

    /// The timeline, the set-point or a plan changed: the outlook must be made again.
    pub(crate) fn look_again(&mut self) {
        self.outlook = OnceLock::new();
    }

    /// Expected air at an instant: recorded, straight between readings, or the outlook's middle.
    pub(crate) fn air_at(&self, at_ms: i64, forecast: &dyn Forecast) -> Air {
        self.expected_at(at_ms, forecast).air
    }

    /// The same with its band, which has no width where it was recorded.
    pub(crate) fn expected_at(&self, at_ms: i64, forecast: &dyn Forecast) -> Expected {
        let known = |air| Expected { air, spread_k: 0.0, spread_rh_pct: 0.0 };
        let i = self.timeline.after(at_ms);
        if i == 0 && !self.timeline.is_empty() {
            return known(self.intended.set);
        }
        if i == self.timeline.len() {
            return self.outlook(forecast).expected_at(at_ms);
        }
        let ((from_ms, air), (to_ms, to)) = (self.timeline.get(i - 1), self.timeline.get(i));
        known(air.towards(to, (at_ms - from_ms) as f64 / (to_ms - from_ms) as f64))
    }
}
