//! The demo shop: invented instruments, jobs and a plausible climate over the ten days before now, lived through by
//! the real service with its clock set back, so that every alert in it was really told by an alarm.
//! Nothing here is measured; it is for looking at.

mod acts;
mod jobs;
mod strings;
mod versions;

use std::sync::{Arc, atomic::Ordering};

use facts::{Fact, Id, Kind as IdKind, ObservationMade, Porosity, Reading, RhPct, SensorId, TempC};
use store::{HeldKey, NewHeld, Saying};

use acts::{ACTS, Act, OUT_OF_POT};
use jobs::JOBS;

use crate::{
    alerts::{alarm, string_up},
    coating::CoatRequest,
    compose::{GlueUpRequest, new_id},
    now::instant,
    problem::{Kind, Problem},
    routes::mixes::{self, Mixed},
    state::State,
};

const MINUTE_MS: i64 = 60_000;
const HOUR_MS: i64 = 60 * MINUTE_MS;
/// How much past the demo has.
const DAYS: i64 = 10;

/// When the demo begins, ms: what the service does before it is lived through belongs there.
pub(crate) fn begins_ms(now_ms: i64) -> i64 {
    now_ms - DAYS * 24 * HOUR_MS
}

/// Zones: id, name, set-point. The warm box has no sensor: its times are marked as assumed.
const ZONES: [(&str, &str, f64, f64); 3] =
    [("bench", "Bench", 20.0, 47.0), ("booth", "Spray booth", 21.0, 45.0), ("warm-box", "Warm box", 32.0, 35.0)];

const INSTRUMENTS: [(&str, &str, &str); 7] = [
    ("parlour", "the parlour guitar", "steel-string guitar"),
    ("classical", "the classical guitar", "classical guitar"),
    ("twelve", "the twelve-string", "twelve-string guitar"),
    ("mandolin", "the mandolin", "mandolin"),
    ("violin", "the violin", "violin"),
    ("ukulele", "the tenor ukulele", "ukulele"),
    ("test-board", "the test board", "board for test pieces"),
];

/// Joints: id, instrument, name, gap in µm, uptake.
const JOINTS: [(&str, &str, &str, f64, Porosity); 14] = [
    ("parlour-bridge", "parlour", "bridge", 100.0, Porosity::Normal),
    ("parlour-crack", "parlour", "top crack, bass side", 40.0, Porosity::Open),
    ("parlour-cleat", "parlour", "cleats under the crack", 100.0, Porosity::Normal),
    ("classical-brace", "classical", "lower fan brace", 100.0, Porosity::Normal),
    ("classical-seam", "classical", "back seam", 80.0, Porosity::Normal),
    ("classical-plug", "classical", "plug in the side", 120.0, Porosity::Normal),
    ("twelve-neck", "twelve", "neck joint", 100.0, Porosity::Normal),
    ("twelve-slots", "twelve", "nut slots", 300.0, Porosity::Sealed),
    ("mandolin-binding", "mandolin", "binding", 200.0, Porosity::Sealed),
    ("violin-seam", "violin", "lower bout seam", 80.0, Porosity::Normal),
    ("violin-nut", "violin", "nut", 60.0, Porosity::Normal),
    ("ukulele-pickup", "ukulele", "pickup preamp", 100.0, Porosity::Normal),
    ("ukulele-head", "ukulele", "headstock break", 150.0, Porosity::Normal),
    ("test-pieces", "test-board", "test pieces", 100.0, Porosity::Normal),
];

const CLAMPS: [(&str, &str, &str); 14] = [
    ("cam-1", "Cam 1", "cam"),
    ("cam-2", "Cam 2", "cam"),
    ("cam-3", "Cam 3", "cam"),
    ("cam-4", "Cam 4", "cam"),
    ("deep-1", "Deep throat 1", "deep throat"),
    ("deep-2", "Deep throat 2", "deep throat"),
    ("deep-3", "Deep throat 3", "deep throat"),
    ("spool-1", "Spool set 1", "spool"),
    ("spool-2", "Spool set 2", "spool"),
    ("bar-1", "Bar 1", "bar"),
    ("bar-2", "Bar 2", "bar"),
    ("bridge-caul", "Bridge caul", "caul"),
    ("go-bar-1", "Go-bar set", "go-bar"),
    ("spring-1", "Spring 1", "spring"),
];

const LOTS: [(&str, &str, i64, f64, f64); 4] = [
    ("yellow-bottle", "aliphatic-resin", 90, 250.0, 12.0),
    ("thin-bottle", "thin-cyanoacrylate", 20, 30.0, 9.0),
    ("lacquer-tin", "nitrocellulose-lacquer", 60, 1000.0, 38.0),
    ("varnish-jar", "oil-varnish", 200, 500.0, 24.0),
];

fn id<K: IdKind>(text: &str) -> Id<K> {
    Id::new(text.to_string()).expect("the demo's ids are written by hand and fit")
}

/// The air of the demo: a daily swing, a cold night five to four days ago, a damp day from 60 to 40 hours ago.
fn air(zone: &str, hours_ago: f64, hour_of_day: f64) -> (f64, f64) {
    let swing = ((hour_of_day - 15.0) / 24.0 * std::f64::consts::TAU).cos();
    let ripple = (hours_ago * 1.7).sin() * 0.15;
    let bump = |middle: f64, half_width: f64| (-((hours_ago - middle) / half_width).powi(2)).exp();
    let (base_c, base_rh) = if zone == "booth" { (21.0, 45.0) } else { (20.0, 47.0) };
    let cold = 13.0 * bump(93.0, 6.5);
    let damp = 27.0 * bump(50.0, 9.0);
    let temp_c = base_c + 1.6 * swing + ripple - if zone == "booth" { 0.4 * cold } else { cold };
    let rh_pct = (base_rh - 3.0 * swing - ripple * 4.0 + damp + 0.7 * cold).clamp(25.0, 92.0);
    (temp_c, rh_pct)
}

/// Lives the demo's ten days up to `now_ms` and leaves the clock at the machine's.
///
/// # Errors
/// When a fact of the demo is refused, which a test would have found.
pub async fn fill(state: &Arc<State>, now_ms: i64) -> Result<(), Problem> {
    let clock = state.now().clone();
    let begins_ms = begins_ms(now_ms);
    clock.set(begins_ms);
    furnish(state, begins_ms, now_ms).await?;
    let mut acts = ACTS.iter().peekable();
    for step in 0..=DAYS * 24 * 12 {
        let at_ms = begins_ms + step * 5 * MINUTE_MS;
        // Each alarm rings at its own time, not at the next reading's.
        let next_wake = || state.shared.bench_mut().next_wake().filter(|wake_ms| *wake_ms < at_ms);
        let mut wake = next_wake();
        while let Some(wake_ms) = wake {
            clock.set(wake_ms.max(clock.ms()));
            alarm::step(state).await?;
            // An alarm that only moved to wait for the wall clock rings later.
            wake = next_wake().filter(|next_ms| *next_ms > wake_ms);
        }
        clock.set(at_ms);
        let hours_ago = (now_ms - at_ms) as f64 / HOUR_MS as f64;
        let readings = ["bench", "booth"].map(|zone| reading(zone, at_ms, hours_ago));
        let readings = readings.into_iter().collect::<Result<_, _>>()?;
        state.say(Saying { readings, recorded_ms: at_ms, ..Saying::default() }).await?;
        alarm::step(state).await?;
        while let Some((_, act)) = acts.next_if(|(hours, _)| *hours >= hours_ago) {
            live(state, *act, at_ms).await?;
        }
    }
    string_up::step(state).await?;
    let held = vec![doubted(clock.ms() - 3 * HOUR_MS)];
    state.say(Saying { held, recorded_ms: clock.ms(), ..Saying::default() }).await?;
    clock.release();
    // It has served since now and not for ten days: no recurring job was missed.
    state.working_since_ms.store(clock.ms(), Ordering::SeqCst);
    Ok(())
}

/// The hygrometer of a zone.
fn sensor(zone: &str) -> SensorId {
    id(&format!("{zone}-shelf"))
}

/// A reading nobody believes: somebody's hand-held meter says degrees Fahrenheit.
fn doubted(at_ms: i64) -> NewHeld {
    let sensor = Some(id("hand-held"));
    NewHeld {
        key: HeldKey { zone: id("bench"), sensor, at_ms, temp_c: 68.5, rh_pct: 47.0 },
        by: "demo".into(),
        reason: "unit".into(),
        detail: "68.5 °C is no air of a workshop".into(),
        mend: "say it in degrees Celsius".into(),
    }
}

fn reading(zone: &str, at_ms: i64, hours_ago: f64) -> Result<Reading, Problem> {
    let hour_of_day = (at_ms.rem_euclid(24 * HOUR_MS)) as f64 / HOUR_MS as f64;
    let (temp_c, rh_pct) = air(zone, hours_ago, hour_of_day);
    let round = |value: f64| (value * 100.0).round() / 100.0;
    Ok(Reading {
        zone: id(zone),
        sensor: Some(sensor(zone)),
        at: instant(at_ms),
        temp_c: TempC::new(round(temp_c))?,
        rh_pct: RhPct::new(round(rh_pct))?,
    })
}

/// Zones, instruments, joints, clamps, lots and jobs.
async fn furnish(state: &Arc<State>, at_ms: i64, now_ms: i64) -> Result<(), Problem> {
    let mut facts = Vec::new();
    for (zone, name, temp_c, rh_pct) in ZONES {
        facts.push(Fact::ZoneSet(facts::ZoneSet {
            id: id(zone),
            name: name.into(),
            set_temp_c: TempC::new(temp_c)?,
            set_rh_pct: RhPct::new(rh_pct)?,
        }));
    }
    for (instrument, name, family) in INSTRUMENTS {
        let added = facts::InstrumentAdded { id: id(instrument), name: name.into(), family: family.into() };
        facts.push(Fact::InstrumentAdded(added));
    }
    for (joint, instrument, name, gap_um, porosity) in JOINTS {
        let (id, instrument) = (id(joint), id(instrument));
        facts.push(Fact::JointAdded(facts::JointAdded { id, instrument, name: name.into(), gap_um, porosity }));
    }
    for (clamp, name, kind) in CLAMPS {
        let added = facts::ClampAdded { id: id(clamp), name: name.into(), clamp_kind: kind.into() };
        facts.push(Fact::ClampAdded(added));
    }
    for (lot, material, open_days, content_ml, cost) in LOTS {
        facts.push(Fact::LotAdded(facts::LotAdded {
            id: id(lot),
            material: id(material),
            label: String::new(),
            opened_at: Some(instant(at_ms - open_days * 24 * HOUR_MS)),
            best_before: None,
            content: Some(facts::Amount::Ml(content_ml)),
            cost: Some(cost),
        }));
    }
    for (job, instrument, title, due_days, steps) in JOBS {
        facts.push(Fact::JobOpened(facts::JobOpened {
            id: id(job),
            instrument: id(instrument),
            title: title.into(),
            due_at: Some(instant(now_ms + due_days * 24 * HOUR_MS)),
            weight: 1,
            steps: steps.iter().map(|row| jobs::step(job, row)).collect(),
        }));
    }
    facts.extend(strings::furnish());
    facts.push(versions::tried(state)?);
    for fact in facts {
        state.say_fact(fact, at_ms, "demo", None).await?;
    }
    for (fact, at_ms) in strings::history(now_ms) {
        state.say_fact(fact, at_ms, "demo", None).await?;
    }
    Ok(())
}

/// A glue-up at the bench as it is asked for.
fn glue(cure: &str, joint: &str, material: &str) -> GlueUpRequest {
    GlueUpRequest {
        id: Some(id(cure)),
        joint: Some(id(joint)),
        job: None,
        step: None,
        material: Some(id(material)),
        lot: None,
        used: None,
        mix: None,
        zone: id("bench"),
        clamps: vec![],
        started_at: None,
        minutes_ago: None,
        gap_um: None,
        porosity: None,
        surface_temp_c: None,
    }
}

/// A pot at the bench as it is asked for.
fn stirred(mix: &str, material: &str, wanted_ml: f64) -> Mixed {
    Mixed {
        id: Some(id(mix)),
        material: id(material),
        zone: id("bench"),
        wanted_ml: Some(wanted_ml),
        measured: None,
        thinner_pct: 0.0,
        lots: vec![],
        at: None,
        minutes_ago: None,
        warn_min: None,
    }
}

async fn live(state: &Arc<State>, act: Act, at_ms: i64) -> Result<(), Problem> {
    let facts = match act {
        Act::Glue(cure, job, step, joint, material, clamps) => {
            let pot = OUT_OF_POT.iter().find(|(of, _)| *of == cure);
            let begun = state.glue_up(GlueUpRequest {
                job: Some(id(job)),
                step: Some(id(step)),
                mix: pot.map(|(_, pot)| id(pot)),
                clamps: clamps.iter().map(|clamp| id(clamp)).collect(),
                ..glue(cure, joint, material)
            })?;
            vec![Fact::CureBegun(begun.into())]
        }
        Act::Piece(cure, material) => vec![Fact::CureBegun(state.glue_up(glue(cure, "test-pieces", material))?.into())],
        Act::Pot(mix, material, wanted_ml) => {
            let (made, _) = mixes::made(state, stirred(mix, material, wanted_ml))?;
            vec![Fact::MixMade(Box::new(made))]
        }
        Act::Look(cure, stage, reached, by) => {
            let (cure, stage, note) = (id(cure), stage.into(), String::new());
            vec![Fact::ObservationMade(ObservationMade { id: new_id('o'), cure, stage, reached, by, note })]
        }
        Act::Coat(cure, job, step, surface, material, film_um) => {
            let begun = state.coat(CoatRequest {
                id: Some(id(cure)),
                job: Some(id(job)),
                step: Some(id(step)),
                material: Some(id(material)),
                film_um: Some(film_um),
                ..CoatRequest::on(surface, id("booth"))
            })?;
            vec![Fact::CureBegun(begun.into())]
        }
        Act::Off(cure) => {
            let bench = state.bench();
            let known = bench.cure(cure).ok_or_else(|| Problem::new(Kind::Internal, cure, "a cure of the demo"))?;
            vec![Fact::ClampsOff { cure: known.begun.id.clone(), clamps: known.clamps_on.clone() }]
        }
        Act::Move(cure, zone) => vec![Fact::CureMoved { cure: id(cure), zone: id(zone) }],
        Act::RuleBack => vec![versions::back(state)?],
        Act::Done(job, step) => vec![Fact::StepDone { job: id(job), step: id(step) }],
        Act::Seen => {
            let bench = state.bench();
            let open = bench.alerts().values().filter(|alert| alert.state == clock::AlertState::Open);
            open.map(|alert| Fact::AlertAcknowledged { alert: alert.raised.id.clone() }).collect()
        }
    };
    for fact in facts {
        state.say_fact(fact, at_ms, "demo", None).await?;
    }
    Ok(())
}
