//! Air at the gun: lay the coat now, add retarder, or wait until when, with the forecast behind it.

use std::{cell::RefCell, collections::HashMap};

use actix_web::{HttpResponse, web};
use clock::{Air, Gun, GunAir, Retarder, SprayWindow, Word, best_window, spray_windows};
use facts::{JointState, Level, MaterialId, within};
use rules::MaterialKind;
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Shop};
use crate::{
    alerts::words::ESTIMATE,
    compose::unknown,
    now::instant,
    openapi::Api,
    problem::{Kind, Problem},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/spray-window").route(web::get().to(window)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/spray-window", "When the air is fit for spraying")
        .query::<Asked>(json!({"material": "shellac", "zone": "bench"}))
        .gives::<SprayWire>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Asked {
    pub(crate) material: MaterialId,
    pub(crate) zone: String,
    /// How far to look, hours, 1 to 72; 72 if not said.
    pub(crate) hours: Option<f64>,
    /// How much colder than the air the instrument is, K.
    pub(crate) surface_below_k: Option<f64>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct SprayWire {
    material: String,
    zone: String,
    at: String,
    temp_c: f64,
    rh_pct: f64,
    dew_point_spread_k: f64,
    /// When that air was last measured; null where nobody did and the zone's set-point stands for it.
    measured_at: Option<String>,
    /// `now`, `add_retarder`, `wait`, `none`.
    verdict: &'static str,
    /// Whether every air of the forecast band, while the film is wet, says so too; else it is likely.
    sure: bool,
    says: String,
    /// What stands against laying it now.
    against: Vec<String>,
    next: Option<WindowWire>,
    best: Option<WindowWire>,
    windows: Vec<WindowWire>,
    cautions: Vec<String>,
    estimate: &'static str,
}

#[derive(Serialize, utoipa::ToSchema)]
struct WindowWire {
    from: String,
    until: String,
    /// The longest stretch of it in which every air of the forecast band is fit; the rest is only likely. Null where none is.
    sure_from: Option<String>,
    sure_until: Option<String>,
    add_retarder: bool,
    least_dew_point_spread_k: f64,
    dampest_rh_pct: f64,
}

fn round(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

fn wire(state: &State, window: &SprayWindow) -> WindowWire {
    WindowWire {
        from: state.rfc3339(window.from_ms),
        until: state.rfc3339(window.until_ms),
        sure_from: window.sure_ms.map(|(from_ms, _)| state.rfc3339(from_ms)),
        sure_until: window.sure_ms.map(|(_, until_ms)| state.rfc3339(until_ms)),
        add_retarder: window.retard,
        least_dew_point_spread_k: round(window.least_spread_k),
        dampest_rh_pct: round(window.dampest_rh_pct),
    }
}

/// What stands against it, in words.
pub(crate) fn against(state: &State, judged: &GunAir) -> Vec<String> {
    let line = |(what, at_ms, air): &(String, i64, clock::Air)| {
        let at = instant(*at_ms).with_timezone(&state.zone).format("%H:%M");
        format!("{what}: {:.1} °C and {:.0} % RH at the surface at {at}", air.temp_c, air.rh_pct)
    };
    judged.against.iter().map(line).collect()
}

/// The word for now, in a sentence: "wait until about Tue 14:00".
fn word(state: &State, now: &GunAir, next: Option<&SprayWindow>, hours: f64) -> (&'static str, String) {
    let until = next.map(|window| {
        let from = instant(window.from_ms).with_timezone(&state.zone).format("%a %H:%M");
        let retard = if window.retard { ", and add retarder then" } else { "" };
        format!("wait until about {from}{retard}")
    });
    match (now.word, until) {
        (Word::Go, _) if !now.sure => {
            ("now", "lay it now; likely, but not surely, the air stays fit while it is wet".into())
        }
        (Word::Go, _) => ("now", "lay it now".into()),
        (Word::Retard, Some(until)) => ("add_retarder", format!("add retarder, or {until}")),
        (Word::Retard, None) => ("add_retarder", "add retarder".into()),
        (Word::Wait, Some(until)) => ("wait", until),
        (Word::Wait, None) => ("none", format!("no air for it is in sight within {hours:.0} h: heat or dry the zone")),
    }
}

/// What a rule's own checks have against an air. A script is slow beside a limit, so it is asked once for airs that differ
/// by less than a sensor shows.
struct AirChecks<'a> {
    rule: &'a rules::Rule,
    joint: JointState,
    /// What it says in its reference air too is not of the air.
    always: Vec<facts::Finding>,
    asked: RefCell<HashMap<(i64, i64), Vec<String>>>,
}

impl AirChecks<'_> {
    fn against(&self, air: Air) -> Vec<String> {
        let (quarters_k, halves_rh_pct) = ((air.temp_c * 4.0).round(), (air.rh_pct * 2.0).round());
        let ask = || {
            // A rule in force answers for every air of a workshop; of one that does not, its limits speak alone.
            let said =
                self.rule.application(Air { temp_c: quarters_k / 4.0, rh_pct: halves_rh_pct / 2.0 }, &self.joint);
            let findings = said.map_or_else(|_| vec![], |said| said.findings);
            let of_air = findings.into_iter().filter(|f| f.level != Level::Note && !self.always.contains(f));
            of_air.map(|finding| finding.what.trim_end_matches('.').to_string()).collect()
        };
        self.asked.borrow_mut().entry((quarters_k as i64, halves_rh_pct as i64)).or_insert_with(ask).clone()
    }
}

/// The air ahead, judged for a finish.
pub(crate) struct Judged {
    pub(crate) rule: std::sync::Arc<rules::Rule>,
    /// When the air was last measured, ms.
    pub(crate) measured_ms: Option<i64>,
    /// Now.
    pub(crate) now: GunAir,
    /// Stretches in which a coat may be laid.
    pub(crate) windows: Vec<SprayWindow>,
    next: Option<SprayWindow>,
    verdict: &'static str,
    /// The word for now, in a sentence.
    pub(crate) says: String,
}

/// Judges the air of a zone for a finish.
///
/// # Errors
/// No such zone, no such finish, or hours or colder surface out of range.
pub(crate) fn judge(shop: &Shop, asked: &Asked) -> Result<Judged, Problem> {
    let hours = within("hours", asked.hours.unwrap_or(72.0), 1.0, 72.0, "h", "no forecast reaches further than 72 h")?;
    let colder = asked.surface_below_k.unwrap_or(0.0);
    let mend = "an instrument just in from a car is some kelvins colder than the room";
    let surface_below_k = within("surface_below_k", colder, 0.0, 30.0, "K", mend)?;
    let version = shop.bench().in_force().get(&asked.material).cloned();
    let version = version.ok_or_else(|| unknown("material", asked.material.as_str(), "materials"))?;
    let rule = shop.rulebook.rule(&version)?;
    if rule.sheet.kind != MaterialKind::Finish {
        let what = format!("{} is no finish", asked.material);
        return Err(Problem::new(Kind::Invalid, what, "ask about a finish of GET /api/v1/materials").about("material"));
    }
    let joint = JointState { gap_um: 0.0, film_um: 0.0, porosity: facts::Porosity::Normal };
    let reference = rule.sheet.reference;
    let reference = rule.application(Air { temp_c: reference.temp_c, rh_pct: reference.rh_pct }, &joint)?;
    let checks = AirChecks { rule: &rule, joint, always: reference.findings, asked: RefCell::default() };
    let retarder = rule.sheet.film.as_ref().and_then(|film| film.retarder);
    let gun = Gun {
        limits: &rule.limits,
        checks: &|air| checks.against(air),
        law: rule.law(&reference.mode)?,
        retarder: retarder.and_then(|retarder| Retarder::full(&rule.limits, retarder.up_to_rh_pct)),
        surface_below_k,
    };
    let now_ms = shop.now().ms();
    let (ahead, measured_ms) = {
        let bench = shop.bench();
        (bench.air_ahead(&asked.zone, now_ms, hours), bench.measured_ms(&asked.zone, now_ms))
    };
    let judged = ahead.ok_or_else(|| unknown("zone", &asked.zone, "zones"))?.judged(&gun);
    let windows = spray_windows(&judged);
    let now = judged.into_iter().next().ok_or_else(|| unknown("zone", &asked.zone, "zones"))?;
    let next = windows.iter().find(|window| !window.retard).or(windows.first());
    let next = next.filter(|window| window.from_ms > now_ms).copied();
    let (verdict, mut says) = word(shop, &now, next.as_ref(), hours);
    if measured_ms.is_none() {
        says += "; nobody measured the air of this zone: its set-point stands for it";
    }
    Ok(Judged { measured_ms, now, windows, next, verdict, says, rule })
}

async fn window(shop: Shop, asked: web::Query<Asked>) -> Answer {
    let Judged { rule, measured_ms, now, windows, next, verdict, says } = judge(&shop, &asked)?;
    Ok(HttpResponse::Ok().json(SprayWire {
        material: asked.material.to_string(),
        zone: asked.zone.clone(),
        at: shop.rfc3339(now.at_ms),
        temp_c: round(now.air.temp_c),
        rh_pct: round(now.air.rh_pct),
        dew_point_spread_k: round(now.spread_k),
        measured_at: measured_ms.map(|ms| shop.rfc3339(ms)),
        verdict,
        sure: now.sure,
        says,
        against: against(&shop, &now),
        next: next.map(|window| wire(&shop, &window)),
        best: best_window(&windows).map(|window| wire(&shop, &window)),
        windows: windows.iter().map(|window| wire(&shop, window)).collect(),
        cautions: rule.sheet.cautions.clone(),
        estimate: ESTIMATE,
    }))
}
