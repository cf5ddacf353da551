//! The state of the bench: everything facts have said so far, in the shape questions ask for it.
//! Grown by `take.rs`, guarded by `admit.rs`, asked by `milestone.rs`, `due.rs` and `board.rs`.

use std::{
    collections::{BTreeMap, BTreeSet, HashMap},
    sync::Arc,
};

use chrono::NaiveDate;
use facts::{
    AlertId, AlertRaised, ClampAdded, ClampId, CureId, DayHours, InstrumentAdded, InstrumentId, JobId, JobOpened,
    JointAdded, JointId, JointLoaded, LotAdded, LotId, MaterialId, MixId, ObservationId, PlanId, PlateId, SensorId,
    StepId, VersionId, ZoneId, ZoneSet,
};

use crate::{
    Air, Cure, Expected, Forecast, Laws, Mix, Note, Observation, Outlook, Photo, Planned, Plate, Shelved, Timeline,
    coats::SurfaceKey,
    cure_clock::{ClockKey, CureIx},
    sensors::{Calibration, Calibrations, Combining},
    string_up::{Setup, Strung},
    wood::Stay,
    zone::Zone,
};

/// What the shop may decide about its clocks.
#[derive(Debug, Clone, Copy)]
pub struct Settings {
    /// Longest gap between two readings that is bridged without a flag, ms.
    pub bridge_ms: i64,
    /// How long after it came true an alert counts as late, ms.
    pub late_after_ms: i64,
    /// How far ahead of now a time may lie before it is refused, ms: phones and sensors run a little fast.
    pub ahead_ms: i64,
    /// How old a sensor's word may be to count beside another's, ms.
    pub window_ms: i64,
    /// Sensors further apart than this disagree, K.
    pub apart_k: f64,
    /// Sensors further apart than this disagree, % RH.
    pub apart_rh_pct: f64,
}

impl Settings {
    pub(crate) fn combining(&self) -> Combining {
        Combining { window_ms: self.window_ms, apart_k: self.apart_k, apart_rh_pct: self.apart_rh_pct }
    }
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            bridge_ms: 2 * 3_600_000,
            late_after_ms: 60_000,
            ahead_ms: 60_000,
            window_ms: 20 * 60_000,
            apart_k: 2.0,
            apart_rh_pct: 8.0,
        }
    }
}

/// A job with what has been done on it.
#[derive(Debug)]
pub struct Job {
    /// As it was opened.
    pub opened: JobOpened,
    /// Steps said to be done, and when, ms; steps with a cure are done when the cure lets them.
    pub done: BTreeMap<StepId, i64>,
    /// Its glue-ups and coats, in the order they were registered.
    pub cures: Vec<CureId>,
    /// Whether anything more may be begun on it.
    pub closed: bool,
    /// When it was opened, ms.
    pub opened_ms: i64,
    /// What was written down about it, oldest first.
    pub notes: Vec<Note>,
    /// Its photos, oldest first.
    pub photos: Vec<Photo>,
}

impl Job {
    /// A job as it is opened at an instant, ms.
    pub fn new(opened: JobOpened, opened_ms: i64) -> Self {
        let (done, cures, notes, photos) = Default::default();
        Self { opened, done, cures, closed: false, opened_ms, notes, photos }
    }
}

/// A clamp and where it is.
#[derive(Debug)]
pub struct Clamp {
    /// As it was added.
    pub added: ClampAdded,
    /// The glue-up it holds.
    pub on: Option<CureId>,
    /// Whether it is out of use.
    pub away: bool,
}

impl Clamp {
    /// Whether a glue-up may take it.
    pub fn is_free(&self) -> bool {
        self.on.is_none() && !self.away
    }
}

/// An alert and what became of it.
#[derive(Debug)]
pub struct Alert {
    /// As it was told.
    pub raised: Arc<AlertRaised>,
    /// What became of it.
    pub state: AlertState,
    /// Place in the journal; orders the list.
    pub seq: i64,
}

/// What became of an alert.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AlertState {
    /// Nobody has answered yet.
    Open,
    /// Somebody has seen it.
    Acknowledged,
    /// To be told again at this instant, ms.
    Snoozed(i64),
    /// Corrected readings made it untrue, its glue-up or coat was withdrawn, or the next coat is on.
    Retracted,
}

/// Everything the shop knows.
pub struct Bench {
    pub(crate) settings: Settings,
    pub(crate) laws: Arc<dyn Laws>,
    pub(crate) forecast: Box<dyn Forecast>,
    pub(crate) zones: Vec<Zone>,
    pub(crate) zone_of: HashMap<ZoneId, usize>,
    pub(crate) plans: BTreeMap<PlanId, Planned>,
    pub(crate) instruments: BTreeMap<InstrumentId, InstrumentAdded>,
    /// Where each instrument has been, in order; the last is where it is.
    pub(crate) stays: BTreeMap<InstrumentId, Vec<Stay>>,
    pub(crate) plates: BTreeMap<PlateId, Plate>,
    pub(crate) jobs: BTreeMap<JobId, Job>,
    pub(crate) joints: BTreeMap<JointId, JointAdded>,
    pub(crate) loads: BTreeMap<JointId, JointLoaded>,
    pub(crate) strings: BTreeMap<InstrumentId, Strung>,
    /// In order of time.
    pub(crate) setups: BTreeMap<InstrumentId, Vec<Setup>>,
    pub(crate) clamps: BTreeMap<ClampId, Clamp>,
    /// Days that are not as their weekdays are.
    pub(crate) days: BTreeMap<NaiveDate, DayHours>,
    pub(crate) lots: BTreeMap<LotId, LotAdded>,
    /// What became of lots since.
    pub(crate) shelf: BTreeMap<LotId, Shelved>,
    pub(crate) in_force: BTreeMap<MaterialId, VersionId>,
    pub(crate) calibrations: Calibrations,
    pub(crate) cures: Vec<Cure>,
    pub(crate) cure_of: HashMap<CureId, CureIx>,
    /// Cures of each instrument, in the order they were registered.
    pub(crate) cures_of: HashMap<InstrumentId, Vec<CureIx>>,
    pub(crate) open: BTreeSet<CureIx>,
    /// Coats by the surface they lie on, in the order they were registered.
    pub(crate) coats: HashMap<SurfaceKey, Vec<CureIx>>,
    pub(crate) mixes: BTreeMap<MixId, Mix>,
    /// Mixes of which nobody has been told that they gel.
    pub(crate) live_mixes: BTreeSet<MixId>,
    pub(crate) observations: BTreeMap<ObservationId, Observation>,
    pub(crate) alerts: BTreeMap<AlertId, Alert>,
    /// Those of them that are open or snoozed: far fewer than were ever told.
    pub(crate) waiting: BTreeSet<AlertId>,
    /// Milestones whose age is reached and that wait for the wall clock: (instant, cure, milestone).
    pub(crate) floors: BTreeSet<(i64, CureIx, u8)>,
    /// Alerts to be told again: (instant, alert).
    pub(crate) snoozed: BTreeSet<(i64, AlertId)>,
    /// Told milestones that a corrected reading may have made untrue.
    pub(crate) suspects: BTreeSet<(CureIx, u8)>,
    /// When each clock's next alarm is due: (instant, zone, clock).
    pub(crate) wake: BTreeSet<(i64, usize, usize)>,
    /// Clocks whose place in `wake` is out of date.
    pub(crate) stale: Vec<(usize, usize)>,
}

impl Bench {
    /// An empty bench.
    pub fn new(settings: Settings, laws: Arc<dyn Laws>, forecast: Box<dyn Forecast>) -> Self {
        Self {
            settings,
            laws,
            forecast,
            zones: Vec::new(),
            zone_of: HashMap::new(),
            plans: BTreeMap::new(),
            instruments: BTreeMap::new(),
            stays: BTreeMap::new(),
            plates: BTreeMap::new(),
            jobs: BTreeMap::new(),
            joints: BTreeMap::new(),
            loads: BTreeMap::new(),
            strings: BTreeMap::new(),
            setups: BTreeMap::new(),
            clamps: BTreeMap::new(),
            days: BTreeMap::new(),
            lots: BTreeMap::new(),
            shelf: BTreeMap::new(),
            in_force: BTreeMap::new(),
            calibrations: Calibrations::new(),
            cures: Vec::new(),
            cure_of: HashMap::new(),
            cures_of: HashMap::new(),
            open: BTreeSet::new(),
            coats: HashMap::new(),
            mixes: BTreeMap::new(),
            live_mixes: BTreeSet::new(),
            observations: BTreeMap::new(),
            alerts: BTreeMap::new(),
            waiting: BTreeSet::new(),
            floors: BTreeSet::new(),
            snoozed: BTreeSet::new(),
            suspects: BTreeSet::new(),
            wake: BTreeSet::new(),
            stale: Vec::new(),
        }
    }

    /// Instruments by id.
    pub fn instruments(&self) -> &BTreeMap<InstrumentId, InstrumentAdded> {
        &self.instruments
    }

    /// Where an instrument is, and since when, ms; none while nobody has said.
    pub fn place(&self, instrument: &str) -> Option<(&ZoneId, i64)> {
        self.stays.get(instrument)?.last().map(|stay| (&self.zones[stay.zone].set.id, stay.from_ms))
    }

    /// Instruments that are in a zone, in order of id.
    pub fn instruments_in(&self, zone: &ZoneId) -> impl Iterator<Item = &InstrumentAdded> {
        let here = move |id: &&InstrumentId| self.place(id.as_str()).is_some_and(|(place, _)| place == zone);
        self.stays.keys().filter(here).filter_map(|id| self.instruments.get(id))
    }

    /// Plates by id.
    pub fn plates(&self) -> &BTreeMap<PlateId, Plate> {
        &self.plates
    }

    /// Jobs by id.
    pub fn jobs(&self) -> &BTreeMap<JobId, Job> {
        &self.jobs
    }

    /// Joints by id.
    pub fn joints(&self) -> &BTreeMap<JointId, JointAdded> {
        &self.joints
    }

    /// How the strings load each joint, where anybody said.
    pub fn loads(&self) -> &BTreeMap<JointId, JointLoaded> {
        &self.loads
    }

    /// Clamps by id.
    pub fn clamps(&self) -> &BTreeMap<ClampId, Clamp> {
        &self.clamps
    }

    /// Days that are not as their weekdays are, those that lie behind among them.
    pub fn days(&self) -> &BTreeMap<NaiveDate, DayHours> {
        &self.days
    }

    /// Bottles by id.
    pub fn lots(&self) -> &BTreeMap<LotId, LotAdded> {
        &self.lots
    }

    /// The version in force of each material.
    pub fn in_force(&self) -> &BTreeMap<MaterialId, VersionId> {
        &self.in_force
    }

    /// Alerts by id.
    pub fn alerts(&self) -> &BTreeMap<AlertId, Alert> {
        &self.alerts
    }

    /// Alerts that nobody has answered yet, by id.
    pub fn alerts_open(&self) -> impl Iterator<Item = &Alert> {
        let waiting = self.waiting.iter().filter_map(|id| self.alerts.get(id));
        waiting.filter(|alert| alert.state == AlertState::Open)
    }

    /// A glue-up or coat.
    pub fn cure(&self, id: &str) -> Option<&Cure> {
        self.cure_of.get(id).map(|ix| &self.cures[*ix as usize])
    }

    /// The zone a glue-up or coat lies in, or lay in when it was closed.
    pub fn lies_in<'a>(&'a self, cure: &'a Cure) -> &'a ZoneId {
        cure.legs.last().map_or(&cure.begun.zone, |leg| &self.zones[leg.zone].set.id)
    }

    /// Open glue-ups and coats of an instrument that are carried along when it goes to another zone at an instant.
    pub fn carried(&self, instrument: &str, zone: &str, at_ms: i64) -> Vec<CureId> {
        let elsewhere = |cure: &&Cure| {
            let last = cure.legs.last();
            last.is_some_and(|leg| leg.from_ms <= at_ms && self.zones[leg.zone].set.id.as_str() != zone)
        };
        let of_it = self.cures_of.get(instrument).into_iter().flatten();
        let open = of_it.filter(|ix| self.open.contains(ix)).map(|ix| &self.cures[*ix as usize]);
        open.filter(elsewhere).map(|cure| cure.begun.id.clone()).collect()
    }

    /// Every glue-up and coat, in the order they were registered.
    pub fn cures(&self) -> &[Cure] {
        &self.cures
    }

    /// How many glue-ups and coats have something still to come.
    pub fn open_cures(&self) -> usize {
        self.open.len()
    }

    /// Zones in the order they were set up.
    pub fn zones(&self) -> impl Iterator<Item = &ZoneSet> {
        self.zones.iter().map(|zone| &zone.set)
    }

    /// A zone as it was set up.
    pub fn zone(&self, zone: &str) -> Option<&ZoneSet> {
        self.zone_of.get(zone).map(|z| &self.zones[*z].set)
    }

    /// Planned changes of the air of all zones, by id; also those gone by and those called off.
    pub fn plans(&self) -> &BTreeMap<PlanId, Planned> {
        &self.plans
    }

    /// The readings of a zone.
    pub fn timeline(&self, zone: &str) -> Option<&Timeline> {
        self.zone_of.get(zone).map(|z| &self.zones[*z].timeline)
    }

    /// The sensors of a zone and what each said, uncorrected; a zone whose readings name no sensor has one without a
    /// name.
    pub fn sensors(&self, zone: &str) -> Vec<(Option<&SensorId>, &Timeline)> {
        let Some(zone) = self.zone_of.get(zone).map(|z| &self.zones[*z]) else { return Vec::new() };
        match zone.sensors.tracks() {
            [] if zone.timeline.is_empty() => Vec::new(),
            [] => vec![(None, &zone.timeline)],
            tracks => tracks.iter().map(|track| (track.sensor.as_ref(), &track.raw)).collect(),
        }
    }

    /// What one sensor of a zone said, uncorrected.
    pub fn sensor(&self, zone: &str, sensor: Option<&SensorId>) -> Option<&Timeline> {
        let zone = &self.zones[*self.zone_of.get(zone)?];
        match zone.sensors.tracks() {
            [] => sensor.is_none().then_some(&zone.timeline),
            tracks => {
                let place = tracks.binary_search_by(|track| track.sensor.as_ref().cmp(&sensor));
                place.ok().map(|i| &tracks[i].raw)
            }
        }
    }

    /// Calibrations of every sensor that has any, oldest first.
    pub fn calibrations(&self) -> &BTreeMap<SensorId, Vec<Calibration>> {
        &self.calibrations
    }

    /// Open glue-ups and coats that lie in a zone, in the order they were registered.
    pub fn cures_in(&self, zone: &str) -> impl Iterator<Item = &Cure> {
        let z = self.zone_of.get(zone).copied();
        let clocks = z.into_iter().flat_map(|z| &self.zones[z].clocks);
        let on_them: BTreeSet<CureIx> = clocks.flat_map(|clock| clock.cures.iter().copied()).collect();
        let cures = on_them.into_iter().map(|ix| &self.cures[ix as usize]);
        cures.filter(move |cure| cure.is_open() && cure.legs.last().is_some_and(|leg| Some(leg.zone) == z))
    }

    /// What the air of a zone is expected to be.
    pub fn outlook(&self, zone: &str) -> Option<&Outlook> {
        self.zone_of.get(zone).map(|z| self.zones[*z].outlook(self.forecast.as_ref()))
    }

    /// The air of a zone at an instant: recorded, bridged or expected.
    pub fn air_at(&self, zone: &str, at_ms: i64) -> Option<Air> {
        self.zone_of.get(zone).map(|z| self.zones[*z].air_at(at_ms, self.forecast.as_ref()))
    }

    /// The same with the band of what is expected.
    pub(crate) fn expected_at(&self, zone: &str, at_ms: i64) -> Option<Expected> {
        self.zone_of.get(zone).map(|z| self.zones[*z].expected_at(at_ms, self.forecast.as_ref()))
    }

    /// When the air of a zone was last measured, up to an instant, ms; none where nobody did.
    pub fn measured_ms(&self, zone: &str, at_ms: i64) -> Option<i64> {
        let timeline = &self.zones[*self.zone_of.get(zone)?].timeline;
        Some(timeline.get(timeline.after(at_ms).checked_sub(1)?).0)
    }

    /// Every glue-up and coat of an instrument, in the order they were registered.
    pub(crate) fn cures_of(&self, instrument: &InstrumentId) -> impl DoubleEndedIterator<Item = &Cure> {
        let of_it = self.cures_of.get(instrument).map_or(&[][..], Vec::as_slice);
        of_it.iter().map(|ix| &self.cures[*ix as usize])
    }

    pub(crate) fn clock_key(cure: &Cure) -> ClockKey {
        ClockKey { version: cure.begun.rule_version.clone(), mode: cure.begun.mode.clone() }
    }
}
