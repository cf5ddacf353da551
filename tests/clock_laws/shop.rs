//! A bench with the verbs of a luthier. Whatever is said is admitted first and kept, so that it can be said again to
//! another bench.

use chrono::{DateTime, Utc};
use clock::{Bench, Cure, Due, Refusal};
use facts::{
    AirPlanned, AlertKind, AlertRaised, ClampAdded, CoatLaid, CureBegun, CureKind, Cut, FacesOpen, Fact, Id,
    InstrumentAdded, JobOpened, JointAdded, JointState, Kind, LotAdded, Meets, MixMade, PlateAdded, Porosity, Reading,
    Recorded, RhPct, RulePutInForce, SpeciesGroup, Step, StepKind, TargetAge, TempC, ZoneSet,
};

/// 2026-03-02T08:00:00Z, a Monday.
pub(super) const START_MS: i64 = 1_772_438_400_000;

/// What was said, in the order it was said.
#[derive(Clone)]
pub(super) enum Said {
    Fact(Recorded),
    Reading(Reading),
}

/// An alert as it was told: its id, the hour it was told, the hour it came true, whether it was called late.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Told {
    pub(super) alert: String,
    pub(super) at_h: f64,
    pub(super) due_h: f64,
    pub(super) late: bool,
}

pub(super) struct Shop {
    pub(super) bench: Bench,
    pub(super) said: Vec<Said>,
}

pub(super) fn ms(hour: f64) -> i64 {
    START_MS + (hour * 3.6e6).round() as i64
}

pub(super) fn hour(at_ms: i64) -> f64 {
    (at_ms - START_MS) as f64 / 3.6e6
}

pub(super) fn instant(hour: f64) -> DateTime<Utc> {
    DateTime::from_timestamp_millis(ms(hour)).expect("an hour of this century")
}

pub(super) fn id<K: Kind>(text: &str) -> Id<K> {
    Id::new(text.to_owned()).expect("a good id")
}

pub(super) fn reading(zone: &str, hour: f64, temp_c: f64, rh_pct: f64) -> Reading {
    Reading {
        sensor: None,
        zone: id(zone),
        at: instant(hour),
        temp_c: TempC::new(temp_c).expect("a bench temperature"),
        rh_pct: RhPct::new(rh_pct).expect("a bench humidity"),
    }
}

pub(super) fn zone_set(zone: &str, temp_c: f64) -> Fact {
    let (set_temp_c, set_rh_pct) = (TempC::new(temp_c).expect("°C"), RhPct::new(50.0).expect("%"));
    Fact::ZoneSet(ZoneSet { id: id(zone), name: zone.into(), set_temp_c, set_rh_pct })
}

/// Heat from one hour to another; the water in the air stays what it is.
pub(super) fn planned(plan: &str, zone: &str, hours: (f64, f64), temp_c: f64) -> Fact {
    let (from, until) = (instant(hours.0), instant(hours.1));
    let temp_c = TempC::new(temp_c).expect("°C");
    Fact::AirPlanned(AirPlanned { id: id(plan), zone: id(zone), from, until, temp_c, rh_pct: None })
}

/// A glue-up of the bridge; what a test is about is set on the fact it returns.
pub(super) fn glue_up(cure: &str, law: &str, zone: &str, start_h: f64, milestones: &[TargetAge]) -> CureBegun {
    CureBegun {
        id: id(cure),
        cure_kind: CureKind::GlueUp,
        instrument: id("guitar"),
        job: None,
        step: None,
        joint: Some(id("bridge")),
        surface: None,
        material: id("glue"),
        rule_version: id(law),
        mode: String::new(),
        lot: None,
        used: None,
        zone: id(zone),
        clamps: vec![],
        started_at: instant(start_h),
        joint_state: JointState { gap_um: 100.0, film_um: 0.0, porosity: Porosity::Normal },
        milestones: milestones.to_vec(),
        bearing: None,
        limits: vec![],
        findings: vec![],
        coat: None,
        mix: None,
    }
}

/// The usual strings of a steel-string guitar, brought up in two stages.
pub(super) fn strings(instrument: &str) -> Fact {
    let family = facts::Family::SteelStringGuitar;
    let (scale_mm, strings) = clock::usual_strings(family, None);
    let instrument = id(instrument);
    let half_tension_h = Some(12.0);
    Fact::StringsFitted(facts::StringsFitted { instrument, family, scale_mm, a4_hz: 440.0, strings, half_tension_h })
}

/// A bridge of the usual measures.
pub(super) fn loaded(joint: &str) -> Fact {
    let load = facts::LoadPath::BridgeFoot { across_mm: 155.0, along_mm: 30.0, height_mm: 12.0 };
    let (starved, reopened, sound) = (false, false, false);
    let wood = SpeciesGroup::Spruce;
    Fact::JointLoaded(facts::JointLoaded { joint: id(joint), load, wood, starved, reopened, sound })
}

/// A coat on a surface of the guitar, of finish that goes by a law.
pub(super) fn coat(cure: &str, law: &str, surface: &str, start_h: f64, milestones: &[TargetAge]) -> CureBegun {
    CureBegun {
        cure_kind: CureKind::Coat,
        joint: None,
        surface: Some(surface.into()),
        coat: Some(CoatLaid { abraded: Some(true), ..CoatLaid::default() }),
        ..glue_up(cure, law, "bench", start_h, milestones)
    }
}

/// A pot stirred in the bench zone, that gels at so many hours of a law.
pub(super) fn mix(mix: &str, law: &str, life_h: f64) -> Fact {
    let life = TargetAge { ahead_h: 0.1 * life_h, ..super::closing(super::stage("gels", life_h)) };
    Fact::MixMade(Box::new(MixMade {
        id: id(mix),
        material: id("glue"),
        rule_version: id(law),
        mode: String::new(),
        zone: id("bench"),
        parts: vec![],
        lots: vec![],
        life,
        findings: vec![],
    }))
}

pub(super) fn clamp(clamp: &str) -> Fact {
    Fact::ClampAdded(ClampAdded { id: id(clamp), name: clamp.into(), clamp_kind: "cam".into() })
}

pub(super) fn instrument(instrument: &str) -> Fact {
    Fact::InstrumentAdded(InstrumentAdded { id: id(instrument), name: instrument.into(), family: String::new() })
}

pub(super) fn joint(joint: &str, instrument: &str) -> Fact {
    let (id, instrument, name) = (id(joint), id(instrument), joint.into());
    Fact::JointAdded(JointAdded { id, instrument, name, gap_um: 100.0, porosity: Porosity::Normal })
}

/// A bare brace of spruce.
pub(super) fn plate(plate: &str, instrument: &str) -> Fact {
    Fact::PlateAdded(PlateAdded {
        id: id(plate),
        instrument: id(instrument),
        name: plate.into(),
        species: SpeciesGroup::Spruce,
        cut: Cut::Quarter,
        thickness_mm: 8.0,
        width_mm: 10.0,
        faces_open: FacesOpen::Both,
        moisture_pct: None,
    })
}

pub(super) fn job(job: &str, instrument: &str, steps: Vec<Step>) -> Fact {
    Fact::JobOpened(JobOpened {
        id: id(job),
        instrument: id(instrument),
        title: job.into(),
        due_at: None,
        weight: 1,
        steps,
    })
}

pub(super) fn step(step: &str, kind: StepKind, follows: &[&str]) -> Step {
    let follows = follows.iter().map(|step| id(step)).collect();
    Step {
        id: id(step),
        kind,
        title: step.into(),
        follows,
        joint: None,
        material: None,
        before_strings: false,
        lay: None,
        work: Default::default(),
    }
}

pub(super) fn lot(lot: &str, material: &str) -> Fact {
    let (id, material) = (id(lot), id(material));
    Fact::LotAdded(LotAdded {
        id,
        material,
        label: lot.into(),
        opened_at: None,
        best_before: None,
        content: None,
        cost: None,
    })
}

pub(super) fn in_force(material: &str, law: &str) -> Fact {
    let (material, version) = (id(material), id(law));
    let file = "materials/x.rhai".into();
    Fact::RulePutInForce(RulePutInForce { material, version, file, text: String::new(), override_reason: None })
}

impl Shop {
    /// A shop with two zones set to 20 °C, a guitar with a bridge joint, glue and two clamps. No reading yet.
    pub(super) fn open() -> Self {
        Self::with(super::bench())
    }

    pub(super) fn with(bench: Bench) -> Self {
        let mut shop = Self { bench, said: Vec::new() };
        for fact in [
            zone_set("bench", 20.0),
            zone_set("box", 20.0),
            instrument("guitar"),
            joint("bridge", "guitar"),
            in_force("glue", "linear"),
            clamp("cam-1"),
            clamp("cam-2"),
        ] {
            shop.say(-1000.0, fact);
        }
        shop
    }

    /// Says a fact that happened at an hour and is recorded then.
    #[track_caller]
    pub(super) fn say(&mut self, hour: f64, fact: Fact) {
        self.say_later(hour, hour, fact).unwrap_or_else(|refusal| panic!("{refusal}; {}", refusal.mend()));
    }

    /// Says at `now_h` a fact that happened at `hour`.
    pub(super) fn say_later(&mut self, hour: f64, now_h: f64, fact: Fact) -> Result<(), Refusal> {
        self.bench.admit(&fact, ms(hour), ms(now_h))?;
        let seq = self.said.len() as i64 + 1;
        let (happened_at, recorded_at) = (instant(hour), instant(now_h));
        let recorded = Recorded { seq, happened_at, recorded_at, by: "test".into(), fact };
        self.bench.take(&recorded);
        self.said.push(Said::Fact(recorded));
        Ok(())
    }

    #[track_caller]
    pub(super) fn begin(&mut self, begun: CureBegun) {
        let start_h = hour(begun.started_at.timestamp_millis());
        self.say(start_h, Fact::CureBegun(begun.into()));
    }

    pub(super) fn read(&mut self, zone: &str, hour: f64, temp_c: f64) {
        self.take_reading(reading(zone, hour, temp_c, 50.0));
    }

    pub(super) fn take_reading(&mut self, reading: Reading) {
        self.bench.take_reading(&reading);
        self.said.push(Said::Reading(reading));
    }

    /// Readings every `every_h` from one hour to another, both included, of a temperature that depends on the hour.
    pub(super) fn record(&mut self, zone: &str, hours: (f64, f64), every_h: f64, temp_c: impl Fn(f64) -> f64) {
        for i in 0..=((hours.1 - hours.0) / every_h).round() as i64 {
            let hour = hours.0 + i as f64 * every_h;
            self.read(zone, hour, temp_c(hour));
        }
    }

    pub(super) fn carry(&mut self, hour: f64, cure: &str, zone: &str) {
        self.say(hour, Fact::CureMoved { cure: id(cure), zone: id(zone) });
    }

    /// Tells all that is due at an hour, as the service does: until nothing is.
    #[track_caller]
    pub(super) fn tell(&mut self, now_h: f64) -> Vec<Told> {
        let mut told = Vec::new();
        for _ in 0..50 {
            let due = self.bench.due(ms(now_h), 256);
            if due.is_empty() {
                return told;
            }
            for due in due {
                let fact = self.saying(due, now_h, &mut told);
                self.say(now_h, fact);
            }
        }
        panic!("at hour {now_h} there is no end of alerts: {:?}", &told[told.len().saturating_sub(3)..]);
    }

    fn saying(&self, due: Due, now_h: f64, told: &mut Vec<Told>) -> Fact {
        match due {
            Due::Reached { cure, milestone, alert, due_ms, late } => {
                assert!(due_ms <= ms(now_h), "{alert} comes true after it is told");
                told.push(Told { alert: alert.to_string(), at_h: now_h, due_h: hour(due_ms), late });
                Fact::AlertRaised(Box::new(AlertRaised {
                    id: alert,
                    alert_kind: AlertKind::Milestone,
                    stage: self.cure(cure.as_str()).begun.milestones[milestone].stage.clone(),
                    cure: Some(cure),
                    instrument: None,
                    due_at: DateTime::from_timestamp_millis(due_ms).expect("an instant"),
                    late,
                    title: String::new(),
                    body: String::new(),
                }))
            }
            Due::Gelling { alert, due_ms, late, .. } => {
                assert!(due_ms <= ms(now_h), "{alert} comes true after it is told");
                told.push(Told { alert: alert.to_string(), at_h: now_h, due_h: hour(due_ms), late });
                Fact::AlertRaised(Box::new(AlertRaised {
                    id: alert,
                    alert_kind: AlertKind::Mix,
                    stage: "gels".into(),
                    cure: None,
                    instrument: None,
                    due_at: DateTime::from_timestamp_millis(due_ms).expect("an instant"),
                    late,
                    title: String::new(),
                    body: String::new(),
                }))
            }
            Due::Again { alert } => {
                told.push(Told { alert: format!("again {alert}"), at_h: now_h, due_h: now_h, late: false });
                Fact::AlertRepeated { alert }
            }
            Due::Untrue { alert, .. } => {
                told.push(Told { alert: format!("untrue {alert}"), at_h: now_h, due_h: now_h, late: false });
                Fact::AlertRetracted { alert, because: "readings were corrected".into() }
            }
        }
    }

    /// The ids told at an hour.
    #[track_caller]
    pub(super) fn told(&mut self, now_h: f64) -> Vec<String> {
        self.tell(now_h).into_iter().map(|told| told.alert).collect()
    }

    #[track_caller]
    pub(super) fn cure(&self, cure: &str) -> &Cure {
        self.bench.cure(cure).expect("a cure of that id")
    }

    #[track_caller]
    pub(super) fn age_h(&self, cure: &str, at_h: f64) -> f64 {
        self.bench.age_h(self.cure(cure), ms(at_h)).expect("an age")
    }

    /// Earliest, likely and safe hour of a cure's milestone.
    pub(super) fn hours(&self, cure: &str, milestone: usize) -> [Option<f64>; 3] {
        let of = &self.bench.milestones(self.cure(cure), START_MS)[milestone];
        [of.earliest_ms, of.likely_ms, of.safe_ms].map(|at_ms| at_ms.map(hour))
    }

    /// The hour at which a milestone is told.
    #[track_caller]
    pub(super) fn alert_h(&self, cure: &str, milestone: usize) -> f64 {
        let [earliest_h, _, safe_h] = self.hours(cure, milestone);
        let opens = self.cure(cure).begun.milestones[milestone].meets == Meets::Opens;
        if opens { safe_h } else { earliest_h }.expect("a milestone that comes")
    }

    /// Another bench that was told all this as the service does at its start: zones first, readings next in order of
    /// time and each instant as it was last said, then the other facts.
    pub(super) fn rebuilt(&self) -> Bench {
        let mut bench = super::bench();
        let facts = || self.said.iter().filter_map(|said| if let Said::Fact(fact) = said { Some(fact) } else { None });
        let is_zone = |fact: &&Recorded| matches!(fact.fact, Fact::ZoneSet(_));
        facts().filter(is_zone).for_each(|fact| bench.take(fact));
        let readings = self.said.iter().filter_map(|said| if let Said::Reading(r) = said { Some(r) } else { None });
        let kept: std::collections::BTreeMap<_, _> = readings.map(|r| ((r.zone.clone(), r.at), r)).collect();
        kept.values().for_each(|reading| bench.take_reading(reading));
        facts().filter(|fact| !is_zone(fact)).for_each(|fact| bench.take(fact));
        bench
    }

    /// Another bench that was told all this in the same order.
    pub(super) fn grown_again(&self) -> Bench {
        let mut bench = super::bench();
        for said in &self.said {
            match said {
                Said::Fact(fact) => bench.take(fact),
                Said::Reading(reading) => bench.take_reading(reading),
            }
        }
        bench
    }
}
