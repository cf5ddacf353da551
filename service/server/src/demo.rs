//! The demo shop: invented instruments, jobs and a plausible climate over the ten days before now, lived through by
//! the real service with its clock set back, so that every alert in it was really told by an alarm.
//! Nothing here is measured; it is for looking at.

mod strings;

use std::sync::Arc;

use facts::{Fact, Id, Kind as IdKind, Porosity, Reading, RhPct, Step, StepKind, TempC};
use store::Saying;

use crate::{
    alerts::{alarm, string_up},
    coating::CoatRequest,
    compose::GlueUpRequest,
    now::instant,
    problem::{Kind, Problem},
    state::State,
};

const MINUTE_MS: i64 = 60_000;
const HOUR_MS: i64 = 60 * MINUTE_MS;
/// How much past the demo has.
const DAYS: i64 = 10;

/// Zones: id, name, set-point. The warm box has no sensor: its times are marked as assumed.
const ZONES: [(&str, &str, f64, f64); 3] =
    [("bench", "Bench", 20.0, 47.0), ("booth", "Spray booth", 21.0, 45.0), ("warm-box", "Warm box", 32.0, 35.0)];

const INSTRUMENTS: [(&str, &str, &str); 6] = [
    ("parlour", "the parlour guitar", "steel-string guitar"),
    ("classical", "the classical guitar", "classical guitar"),
    ("twelve", "the twelve-string", "twelve-string guitar"),
    ("mandolin", "the mandolin", "mandolin"),
    ("violin", "the violin", "violin"),
    ("ukulele", "the tenor ukulele", "ukulele"),
];

/// Joints: id, instrument, name, gap in µm, uptake.
const JOINTS: [(&str, &str, &str, f64, Porosity); 13] = [
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

use StepKind::{Check, Coat, GlueUp, HandsOn, Wait};

/// A step: id, kind, title. Each follows the one above it.
type StepRow = (&'static str, StepKind, &'static str);

/// Jobs: id, instrument, title, days until due, steps.
const JOBS: [(&str, &str, &str, i64, &[StepRow]); 10] = [
    (
        "bridge",
        "parlour",
        "Re-glue the bridge",
        3,
        &[
            ("clean", HandsOn, "Clean both faces"),
            ("glue", GlueUp, "Glue the bridge"),
            ("rest", Wait, "Let it come to full strength"),
            ("string", Check, "String up and check the action"),
        ],
    ),
    (
        "crack",
        "parlour",
        "Close the top crack",
        6,
        &[
            ("wick", GlueUp, "Wick thin adhesive into the crack"),
            ("cleat", GlueUp, "Glue cleats across it"),
            ("coat-1", Coat, "First touch-up coat"),
            ("coat-2", Coat, "Second touch-up coat"),
            ("rest", Wait, "Let the film harden"),
            ("rub", HandsOn, "Level and rub out"),
        ],
    ),
    (
        "brace",
        "classical",
        "Re-glue the loose brace",
        4,
        &[
            ("glue", GlueUp, "Glue the brace"),
            ("seam", GlueUp, "Glue the back seam"),
            ("tap", Check, "Tap for rattles"),
        ],
    ),
    (
        "plug",
        "classical",
        "Plug the jack hole",
        8,
        &[
            ("glue", GlueUp, "Glue the plug to its cleat"),
            ("flush", HandsOn, "Level the plug"),
            ("coat", Coat, "Drop-fill the finish"),
        ],
    ),
    (
        "neck",
        "twelve",
        "Reset the neck",
        12,
        &[
            ("slots", GlueUp, "Fill the nut slots"),
            ("glue", GlueUp, "Glue the neck"),
            ("rest", Wait, "Let it rest before strings"),
            ("string", Check, "String up in stages"),
        ],
    ),
    (
        "binding",
        "mandolin",
        "Binding and scroll touch-up",
        9,
        &[
            ("binding", GlueUp, "Glue the binding"),
            ("seal", Coat, "Seal with shellac"),
            ("coat-1", Coat, "First lacquer coat"),
            ("coat-2", Coat, "Second lacquer coat"),
            ("coat-3", Coat, "Third lacquer coat"),
            ("rest", Wait, "Let the film harden"),
            ("rub", HandsOn, "Rub out"),
        ],
    ),
    (
        "seam",
        "violin",
        "Close the open seam",
        5,
        &[("glue", GlueUp, "Glue the seam"), ("varnish", Coat, "Touch up the varnish"), ("set-up", HandsOn, "Set up")],
    ),
    ("nut", "violin", "Re-glue the nut", 6, &[("glue", GlueUp, "Glue the nut"), ("string", Check, "String up")]),
    (
        "pickup",
        "ukulele",
        "Fit the pickup",
        2,
        &[("tape", GlueUp, "Tape the preamp in"), ("wire", HandsOn, "Dress the wires")],
    ),
    (
        "head",
        "ukulele",
        "Mend the headstock",
        10,
        &[
            ("glue", GlueUp, "Glue the break"),
            ("shape", HandsOn, "Scrape and level"),
            ("coat", Coat, "Touch-up coat"),
            ("rest", Wait, "Let joint and film come to full strength"),
            ("string", Check, "String up"),
        ],
    ),
];

/// What is known beforehand of glue-ups still to come: job, joint, material.
const PLANNED: [(&str, &str, &str); 1] = [("nut", "violin-nut", "liquid-hide-glue")];

/// What happens, hours ago. Twenty glue-ups and coats, clamps taken off, a move, work done.
#[derive(Clone, Copy)]
enum Act {
    Glue(&'static str, &'static str, &'static str, &'static str, &'static str, &'static [&'static str]),
    Coat(&'static str, &'static str, &'static str, &'static str, &'static str, f64),
    Off(&'static str),
    Move(&'static str, &'static str),
    Done(&'static str, &'static str),
    /// Every open alert is seen.
    Seen,
}

/// Glue: id, job, step, joint, material, clamps. Coat: id, job, step, surface, material, wet film in µm.
const ACTS: [(f64, Act); 34] = [
    (150.0, Act::Glue("binding-1", "binding", "binding", "mandolin-binding", "gap-cyanoacrylate", &["spring-1"])),
    (148.5, Act::Off("binding-1")),
    (148.0, Act::Coat("scroll-seal", "binding", "seal", "scroll", "shellac", 60.0)),
    (124.0, Act::Coat("scroll-1", "binding", "coat-1", "scroll", "nitrocellulose-lacquer", 80.0)),
    (121.0, Act::Coat("scroll-2", "binding", "coat-2", "scroll", "nitrocellulose-lacquer", 80.0)),
    (106.0, Act::Seen),
    // The cold night: the heating failed, and the brace was closed into it.
    (98.0, Act::Glue("brace-1", "brace", "glue", "classical-brace", "aliphatic-resin", &["go-bar-1", "deep-1"])),
    (77.0, Act::Off("brace-1")),
    (76.5, Act::Seen),
    (72.0, Act::Glue("crack-1", "crack", "wick", "parlour-crack", "thin-cyanoacrylate", &["cam-1"])),
    (70.5, Act::Off("crack-1")),
    (70.0, Act::Glue("cleat-1", "crack", "cleat", "parlour-cleat", "aliphatic-resin", &["cam-1", "cam-2"])),
    (66.0, Act::Off("cleat-1")),
    // The damp day: lacquer laid into it may blush, hide glue dries slowly.
    (54.0, Act::Glue("violin-1", "seam", "glue", "violin-seam", "liquid-hide-glue", &["spool-1", "spool-2"])),
    (53.0, Act::Glue("slots-1", "neck", "slots", "twelve-slots", "gap-cyanoacrylate", &[])),
    (52.0, Act::Coat("scroll-3", "binding", "coat-3", "scroll", "nitrocellulose-lacquer", 80.0)),
    (48.0, Act::Coat("top-1", "crack", "coat-1", "top, along the crack", "nitrocellulose-lacquer", 60.0)),
    (45.0, Act::Coat("top-2", "crack", "coat-2", "top, along the crack", "nitrocellulose-lacquer", 60.0)),
    (44.0, Act::Seen),
    (34.0, Act::Glue("head-1", "head", "glue", "ukulele-head", "slow-epoxy", &["cam-3", "cam-4"])),
    (30.0, Act::Glue("back-1", "brace", "seam", "classical-seam", "fish-glue", &["bar-1", "bar-2"])),
    (28.0, Act::Move("head-1", "warm-box")),
    (26.5, Act::Done("bridge", "clean")),
    (26.0, Act::Glue("bridge-1", "bridge", "glue", "parlour-bridge", "hot-hide-glue", &["bridge-caul", "deep-2"])),
    (24.5, Act::Off("violin-1")),
    (23.0, Act::Seen),
    (20.0, Act::Coat("violin-2", "seam", "varnish", "lower bout edge", "oil-varnish", 50.0)),
    (9.0, Act::Off("head-1")),
    (8.5, Act::Done("head", "shape")),
    (8.0, Act::Glue("neck-1", "neck", "glue", "twelve-neck", "hot-hide-glue", &["deep-3", "cam-1"])),
    (6.0, Act::Seen),
    (4.0, Act::Coat("head-2", "head", "coat", "headstock", "water-borne-lacquer", 90.0)),
    (3.0, Act::Glue("pickup-1", "pickup", "tape", "ukulele-pickup", "foam-tape", &[])),
    (0.4, Act::Glue("plug-1", "plug", "glue", "classical-plug", "aliphatic-resin", &["cam-2", "spring-1"])),
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
    let begins_ms = now_ms - DAYS * 24 * HOUR_MS;
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
    clock.release();
    Ok(())
}

fn reading(zone: &str, at_ms: i64, hours_ago: f64) -> Result<Reading, Problem> {
    let hour_of_day = (at_ms.rem_euclid(24 * HOUR_MS)) as f64 / HOUR_MS as f64;
    let (temp_c, rh_pct) = air(zone, hours_ago, hour_of_day);
    let round = |value: f64| (value * 100.0).round() / 100.0;
    Ok(Reading {
        zone: id(zone),
        sensor: None,
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
        let planned = |kind| PLANNED.iter().find(|(of_job, ..)| *of_job == job && kind == GlueUp);
        let step = |(id_text, kind, title): &StepRow| Step {
            id: id(id_text),
            kind: *kind,
            title: (*title).into(),
            follows: vec![],
            joint: planned(*kind).map(|(_, joint, _)| id(joint)),
            material: planned(*kind).map(|(.., material)| id(material)),
            before_strings: strings::BEFORE.contains(&(job, id_text)),
            work: facts::Work::default(),
        };
        facts.push(Fact::JobOpened(facts::JobOpened {
            id: id(job),
            instrument: id(instrument),
            title: title.into(),
            due_at: Some(instant(now_ms + due_days * 24 * HOUR_MS)),
            weight: 1,
            steps: steps.iter().map(step).collect(),
        }));
    }
    facts.extend(strings::furnish());
    for fact in facts {
        state.say_fact(fact, at_ms, "demo", None).await?;
    }
    for (fact, at_ms) in strings::history(now_ms) {
        state.say_fact(fact, at_ms, "demo", None).await?;
    }
    Ok(())
}

async fn live(state: &Arc<State>, act: Act, at_ms: i64) -> Result<(), Problem> {
    let facts = match act {
        Act::Glue(cure, job, step, joint, material, clamps) => {
            let begun = state.glue_up(GlueUpRequest {
                id: Some(id(cure)),
                joint: Some(id(joint)),
                job: Some(id(job)),
                step: Some(id(step)),
                material: Some(id(material)),
                lot: None,
                used: None,
                mix: None,
                zone: id("bench"),
                clamps: clamps.iter().map(|clamp| id(clamp)).collect(),
                started_at: None,
                minutes_ago: None,
                gap_um: None,
                porosity: None,
                surface_temp_c: None,
            })?;
            vec![Fact::CureBegun(begun.into())]
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
