//! A zone: its readings, its outlook, and the clocks that run in it.

use std::{collections::HashMap, sync::OnceLock};

use facts::{Reading, ZoneSet};

use crate::{
    Air, Forecast, Outlook, Timeline,
    ages::{AirOf, Past},
    cure_clock::{ClockKey, CureClock},
    sensors::{Calibrations, Combining, Sensors},
    timeline::Change,
};

/// One place with one climate.
pub(crate) struct Zone {
    pub(crate) set: ZoneSet,
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

    pub(crate) fn set_air(&self) -> Air {
        Air::new(self.set.set_temp_c, self.set.set_rh_pct)
    }

    /// What a clock of this zone reads its air from. The outlook is made here if a reading voided it.
    pub(crate) fn air_of<'a>(&'a self, forecast: &dyn Forecast, bridge_ms: i64) -> AirOf<'a> {
        let past = Past { timeline: &self.timeline, set: self.set_air(), bridge_ms };
        AirOf { past, outlook: self.outlook(forecast) }
    }

    /// Its clocks, and the past that they sum.
    pub(crate) fn clocks_and_past(&mut self, bridge_ms: i64) -> (&mut Vec<CureClock>, Past<'_>) {
        let set = self.set_air();
        (&mut self.clocks, Past { timeline: &self.timeline, set, bridge_ms })
    }

    pub(crate) fn outlook(&self, forecast: &dyn Forecast) -> &Outlook {
        self.outlook.get_or_init(|| forecast.outlook(&self.timeline, self.set_air()))
    }

    /// The timeline or the set-point changed: the outlook must be made again.
    pub(crate) fn look_again(&mut self) {
        self.outlook = OnceLock::new();
    }

    /// Expected air at an instant: recorded, straight between readings, or the outlook's middle.
    pub(crate) fn air_at(&self, at_ms: i64, forecast: &dyn Forecast) -> Air {
        let i = self.timeline.after(at_ms);
        if i == 0 {
            return self.set_air();
        }
        let (from_ms, air) = self.timeline.get(i - 1);
        if i < self.timeline.len() {
            let (to_ms, to) = self.timeline.get(i);
            return air.towards(to, (at_ms - from_ms) as f64 / (to_ms - from_ms) as f64);
        }
        self.outlook(forecast).air_at(at_ms)
    }
}
