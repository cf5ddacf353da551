//! A bench with instruments and plates, where hours count from [`START_MS`] and the last reading is held for ever.

use std::sync::{
    Arc,
    atomic::{AtomicUsize, Ordering},
};

use bench::stock::{id, instant, recorded};
use clock::{Bench, Expected, Forecast, Intended, Laws, Outlook, STEPS, Settings, Target, Timeline, Wood};
use facts::{
    Cut, FacesOpen, Fact, InstrumentAdded, InstrumentMoved, PlateAdded, Reading, RhPct, SpeciesGroup, TempC, ZoneSet,
};

/// 2026-03-02T08:00:00Z, a Monday.
pub(super) const START_MS: i64 = 1_772_438_400_000;

/// The shop's band as it is when nothing is set.
pub(super) const TARGET: Target = Target { rh_low_pct: 40.0, rh_high_pct: 55.0, temp_c: 22.0 };

pub(super) fn ms(hour: f64) -> i64 {
    START_MS + (hour * 3.6e6).round() as i64
}

pub(super) fn hour(at_ms: i64) -> f64 {
    (at_ms - START_MS) as f64 / 3.6e6
}

struct NoLaws;

impl Laws for NoLaws {
    fn law(&self, version: &facts::VersionId, _: &str) -> Result<clock::Law, String> {
        Err(format!("there is no law \"{version}\""))
    }
}

/// The last reading for ever. Counts how often it was asked: what a reading costs is told by it.
struct Held(Arc<AtomicUsize>);

impl Forecast for Held {
    fn outlook(&self, history: &Timeline, intended: &Intended) -> Outlook {
        self.0.fetch_add(1, Ordering::SeqCst);
        let (from_ms, air) = history.last().unwrap_or((0, intended.set));
        Outlook { from_ms, steps: vec![Expected { air, spread_k: 0.0, spread_rh_pct: 0.0 }; STEPS + 1] }
    }
}

pub(super) struct Shop {
    pub(super) bench: Bench,
    pub(super) forecasts: Arc<AtomicUsize>,
}

/// A quarter-sawn spruce top 400 mm wide and 2.8 mm thick, finished outside.
pub(super) fn top(plate: &str, instrument: &str, moisture_pct: Option<f64>) -> PlateAdded {
    PlateAdded {
        id: id(plate),
        instrument: id(instrument),
        name: "top".into(),
        species: SpeciesGroup::Spruce,
        cut: Cut::Quarter,
        thickness_mm: 2.8,
        width_mm: 400.0,
        faces_open: FacesOpen::One,
        moisture_pct,
    }
}

impl Shop {
    /// Zones "bench" and "box" at 22 °C and 47 %, "house" at 22 °C and 25 %, "cellar" at 22 °C and 75 %; a guitar.
    pub(super) fn open() -> Self {
        let forecasts = Arc::new(AtomicUsize::new(0));
        let bench = Bench::new(Settings::default(), Arc::new(NoLaws), Box::new(Held(forecasts.clone())));
        let mut shop = Self { bench, forecasts };
        for (zone, rh_pct) in [("bench", 47.0), ("box", 47.0), ("house", 25.0), ("cellar", 75.0)] {
            let (set_temp_c, set_rh_pct) = (TempC::new(22.0).expect("°C"), RhPct::new(rh_pct).expect("%"));
            shop.say(-5000.0, Fact::ZoneSet(ZoneSet { id: id(zone), name: zone.into(), set_temp_c, set_rh_pct }));
        }
        shop.instrument("guitar");
        shop
    }

    pub(super) fn instrument(&mut self, instrument: &str) {
        let added = InstrumentAdded { id: id(instrument), name: instrument.into(), family: String::new() };
        self.say(-5000.0, Fact::InstrumentAdded(added));
    }

    #[track_caller]
    pub(super) fn say(&mut self, hour: f64, fact: Fact) {
        if let Err(refusal) = self.bench.admit(&fact, ms(hour), ms(hour)) {
            panic!("{refusal}; {}", refusal.mend());
        }
        self.bench.take(&recorded(1, ms(hour), fact));
    }

    #[track_caller]
    pub(super) fn put(&mut self, hour: f64, instrument: &str, zone: &str) {
        let moved = InstrumentMoved { instrument: id(instrument), zone: id(zone) };
        self.say(hour, Fact::InstrumentMoved(moved));
    }

    #[track_caller]
    pub(super) fn plate(&mut self, hour: f64, plate: PlateAdded) {
        self.say(hour, Fact::PlateAdded(plate));
    }

    pub(super) fn read(&mut self, zone: &str, hour: f64, temp_c: f64, rh_pct: f64) {
        self.bench.take_reading(&Reading {
            zone: id(zone),
            sensor: None,
            at: instant(ms(hour)),
            temp_c: TempC::new(temp_c).expect("a bench temperature"),
            rh_pct: RhPct::new(rh_pct).expect("a bench humidity"),
        });
    }

    /// The guitar's wood at an hour.
    #[track_caller]
    pub(super) fn wood(&self, at_hour: f64) -> Wood {
        self.bench.wood(&id("guitar"), ms(at_hour)).expect("the guitar is somewhere")
    }

    /// Likely moisture of the guitar's only plate at an hour.
    #[track_caller]
    pub(super) fn moisture_pct(&self, at_hour: f64) -> f64 {
        self.wood(at_hour).run(0).moisture_pct()[1]
    }
}
