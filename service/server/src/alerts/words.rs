//! What an alert says: what is ready, on which instrument and joint, what to do next, and that it is an estimate.

use clock::{Bench, Cure, Mix};
use facts::{AlertRaised, ClampId, CureKind, Meets};
use serde::Serialize;

use crate::{now::instant, state::State};

/// Said with every alert and every answer that predicts.
pub(crate) const ESTIMATE: &str = "An estimate from the room's air and the rule of this material, not a guarantee: \
     test the joint or film, and follow the product's data sheet and safety data sheet.";

pub(crate) struct Words {
    pub(crate) stage: String,
    pub(crate) title: String,
    pub(crate) body: String,
    /// Cautions that follow the body whatever the shop's scripts make of it.
    pub(crate) kept: String,
}

/// A stage as a person says it: "clamp_off" is "clamp off".
pub(crate) fn spoken(stage: &str) -> String {
    stage.replace('_', " ")
}

/// What a cure is on, as a person says it: "bridge of the parlour guitar".
pub(crate) fn place(bench: &Bench, cure: &Cure) -> String {
    let begun = &cure.begun;
    let instrument = bench.instruments().get(&begun.instrument).map_or(begun.instrument.as_str(), |i| &i.name);
    let part = match begun.cure_kind {
        CureKind::GlueUp => {
            begun.joint.as_ref().map(|joint| bench.joints().get(joint).map_or(joint.as_str(), |j| &j.name))
        }
        CureKind::Coat => begun.surface.as_deref(),
    };
    part.map_or_else(|| instrument.into(), |part| format!("{part} of {instrument}"))
}

pub(crate) fn of_milestone(state: &State, bench: &Bench, cure: &Cure, milestone: usize) -> Words {
    let target = &cure.begun.milestones[milestone];
    let place = place(bench, cure);
    let named = |clamp: &ClampId| bench.clamps().get(clamp).map_or_else(|| clamp.to_string(), |c| c.added.name.clone());
    let clamps: Vec<String> = cure.clamps_on.iter().map(named).collect();
    let title = match (target.stage.as_str(), target.meets) {
        ("clamp_off", _) if !clamps.is_empty() => format!("Clamps can come off: {place}"),
        (stage, Meets::Opens) => format!("Ready, {}: {place}", spoken(stage)),
        (stage, Meets::Closes) => format!("Closing, {}: {place}", spoken(stage)),
    };
    let mut body = String::new();
    if target.stage == "clamp_off" && !clamps.is_empty() {
        body.push_str(&format!("Clamps on it: {}. ", clamps.join(", ")));
    }
    if !target.next.is_empty() {
        body.push_str(&format!("{} ", target.next));
    }
    if let Some(step) = bench.step_after(cure) {
        body.push_str(&format!("Next step of the job: {}. ", step.title));
    }
    let mut kept = String::new();
    let now_ms = state.now().ms();
    let spoiled = bench.broken_limits(cure, now_ms);
    for (limit, since_ms, air) in spoiled {
        kept.push_str(&format!("Look out: {}. ", broken(state, limit, since_ms, air)));
    }
    if bench.climate(cure, now_ms).is_assumed() {
        kept.push_str("Part of the air was assumed, not measured. ");
    }
    kept.push_str(ESTIMATE);
    Words { stage: target.stage.clone(), title, body: body.trim_end().into(), kept }
}

/// What is said of a mix that is about to gel.
pub(crate) fn of_mix(state: &State, bench: &Bench, mix: &Mix) -> Words {
    let gels = bench.gels(mix, state.now().ms());
    let at = |ms: Option<i64>| {
        ms.map_or_else(
            || "not in this air".into(),
            |ms| instant(ms).with_timezone(&state.zone).format("%H:%M").to_string(),
        )
    };
    let title = format!("Gelling, mix {}: from {}", mix.made.id, at(gels.earliest_ms));
    let body = format!("Most of its kind have gelled by {}. {}", at(gels.likely_ms), mix.made.life.next);
    Words { stage: "gels".into(), title, body, kept: ESTIMATE.into() }
}

/// A broken limit in a sentence.
pub(crate) fn broken(state: &State, limit: &facts::Limit, since_ms: i64, air: clock::Air) -> String {
    let at = instant(since_ms).with_timezone(&state.zone).format("%a %H:%M");
    format!(
        "{}: {} and {:.0} % RH at {at}. {}",
        limit.name,
        state.settings.shop.temp_unit.text(air.temp_c),
        air.rh_pct,
        limit.says.trim_end_matches('.')
    )
}

/// The type of a message that takes an alert back.
pub(crate) const TAKEN_BACK: &str = "alert.retracted";

#[derive(Serialize)]
struct Payload<'a> {
    r#type: &'static str,
    timestamp: String,
    data: &'a AlertRaised,
}

/// The body of a delivery: the same text on every attempt.
pub(crate) fn payload(state: &State, raised: &AlertRaised) -> String {
    let r#type = match raised.alert_kind {
        facts::AlertKind::Milestone => "milestone.reached",
        facts::AlertKind::Digest => "digest",
        facts::AlertKind::Climate => "climate",
        facts::AlertKind::SensorSilent => "sensor.silent",
        facts::AlertKind::CalibrationDue => "calibration.due",
        facts::AlertKind::Mix => "mix.gelling",
        facts::AlertKind::HookSetAside => "hook.set_aside",
        facts::AlertKind::StringUp => "string_up",
        facts::AlertKind::ClockLeapt => "clock.leapt",
    };
    let timestamp = state.rfc3339(raised.due_at.timestamp_millis());
    serde_json::to_string(&Payload { r#type, timestamp, data: raised }).expect("an alert has a JSON form")
}

/// The body of a delivery that takes an alert back: the alert's own id, and words that say so.
pub(crate) fn taken_back(state: &State, raised: &AlertRaised, because: &str, now_ms: i64) -> String {
    let because = because.trim_end_matches('.');
    let title = format!("Taken back: {}", raised.title);
    let body = format!("It is not so: {because}. Do not go by what was told before. {ESTIMATE}");
    let data = AlertRaised { title, body, ..raised.clone() };
    let payload = Payload { r#type: TAKEN_BACK, timestamp: state.rfc3339(now_ms), data: &data };
    serde_json::to_string(&payload).expect("an alert has a JSON form")
}
