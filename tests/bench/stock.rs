//! Stock for benches and load: many facts of one kind, made up.

use facts::{
    CureBegun, CureKind, Entry, Fact, Id, InstrumentAdded, JointAdded, JointState, Kind, Meets, Porosity, Reading,
    Recorded, RhPct, TargetAge, TempC, ZoneSet,
};

/// A minute in milliseconds.
pub const MINUTE_MS: i64 = 60_000;

/// An id written by hand.
///
/// # Panics
/// When it does not fit.
pub fn id<K: Kind>(text: &str) -> Id<K> {
    Id::new(text.to_string()).expect("an id that fits")
}

/// An instant.
///
/// # Panics
/// When it is beyond the calendar.
pub fn instant(at_ms: i64) -> chrono::DateTime<chrono::Utc> {
    chrono::DateTime::from_timestamp_millis(at_ms).expect("an instant of the calendar")
}

/// A fact as it comes from the journal.
pub fn recorded(seq: i64, at_ms: i64, fact: Fact) -> Recorded {
    Recorded { seq, happened_at: instant(at_ms), recorded_at: instant(at_ms), by: "bench".into(), fact }
}

/// The same fact on its way into the journal.
pub fn entry(recorded: Recorded) -> Entry {
    let Recorded { happened_at, recorded_at, by, fact, .. } = recorded;
    Entry { happened_at, recorded_at, by, fact }
}

/// A zone of the given id at 20 °C and 50 %.
///
/// # Panics
/// Never: the set-point is good.
pub fn zone(zone: &str) -> Fact {
    Fact::ZoneSet(ZoneSet {
        id: id(zone),
        name: zone.into(),
        set_temp_c: TempC::new(20.0).expect("20 °C"),
        set_rh_pct: RhPct::new(50.0).expect("50 %"),
    })
}

/// A zone "bench", an instrument and a joint.
pub fn furniture(at_ms: i64) -> Vec<Recorded> {
    let instrument = InstrumentAdded { id: id("guitar"), name: "the guitar".into(), family: String::new() };
    let joint = JointAdded {
        id: id("bridge"),
        instrument: id("guitar"),
        name: "bridge".into(),
        gap_um: 100.0,
        porosity: Porosity::Normal,
    };
    [zone("bench"), Fact::InstrumentAdded(instrument), Fact::JointAdded(joint)]
        .into_iter()
        .zip(1..)
        .map(|(fact, seq)| recorded(seq, at_ms, fact))
        .collect()
}

/// A reading that follows a daily swing.
///
/// # Panics
/// Never: the swing stays within a workshop's.
pub fn reading(zone: &str, at_ms: i64) -> Reading {
    let day = (at_ms.rem_euclid(86_400_000)) as f64 / 86_400_000.0 * std::f64::consts::TAU;
    Reading {
        zone: id(zone),
        sensor: None,
        at: instant(at_ms),
        temp_c: TempC::new(20.0 + 2.0 * day.sin()).expect("a workshop's temperature"),
        rh_pct: RhPct::new(48.0 + 5.0 * day.cos()).expect("a workshop's humidity"),
    }
}

/// Glue-up number `n`: four milestones, the last of which is safe at `last_h` reference hours.
pub fn cure(n: usize, version: &str, zone: &str, started_ms: i64, last_h: f64) -> Recorded {
    let stage = |stage: &str, share: f64, next: &str| TargetAge {
        stage: stage.into(),
        earliest_h: last_h * share * 0.7,
        likely_h: last_h * share * 0.85,
        safe_h: last_h * share,
        floor_h: 0.0,
        meets: Meets::Opens,
        ahead_h: 0.0,
        next: next.into(),
    };
    let begun = CureBegun {
        id: id(&format!("g-{n}")),
        cure_kind: CureKind::GlueUp,
        instrument: id("guitar"),
        job: None,
        step: None,
        joint: Some(id("bridge")),
        surface: None,
        material: id("aliphatic-resin"),
        rule_version: id(version),
        mode: String::new(),
        lot: None,
        used: None,
        zone: id(zone),
        clamps: vec![],
        started_at: instant(started_ms),
        joint_state: JointState { gap_um: 100.0, film_um: 0.0, porosity: Porosity::Normal },
        milestones: vec![
            stage("scrape_flush", 0.7, "Scrape the squeeze-out while it is rubbery."),
            stage("clamp_off", 0.8, "Take the clamps off; no load yet."),
            stage("handle", 0.9, "It may be handled."),
            stage("full_strength", 1.0, "It may be loaded."),
        ],
        bearing: None,
        limits: vec![],
        findings: vec![],
        coat: None,
        mix: None,
    };
    recorded(n as i64 + 1000, started_ms, Fact::CureBegun(begun.into()))
}

/// Bytes as of a photo: no two stretches alike, the same on every run.
pub fn noise(n: usize) -> Vec<u8> {
    let mut state = 1_u64;
    let next = || {
        // The constants of Knuth's linear congruential generator (from memory).
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (state >> 56) as u8
    };
    std::iter::repeat_with(next).take(n).collect()
}
