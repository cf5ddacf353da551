//! Mixes: how much of what for a wanted volume, registering a pot, and when it gels.

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use facts::{Fact, Finding, LotId, MaterialId, MixId, MixMade, MixPart, VersionId, ZoneId, within};
use rules::{By, MixSheet, Rule};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Paging, Shop};
use crate::{
    alerts::words::ESTIMATE,
    body::Body,
    compose::{When, missing, new_id, stale, unknown},
    mixing::{amounts, life, measured_parts, off_ratio, warn_min},
    now::instant,
    openapi::Api,
    problem::{Kind, Problem},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/mixes").route(web::get().to(list)).route(web::post().to(add)))
        .service(web::resource("/mixes/{id}").route(web::get().to(one)))
        .service(web::resource("/mix-amounts").route(web::get().to(how_much)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/mixes", "Mixes").query::<Paging>(json!({})).lists::<MixWire>();
    api.post("/mixes", "A mix is stirred")
        .takes::<Mixed>(json!({"id": "pot", "material": "fast-epoxy", "zone": "bench", "wanted_ml": 10}))
        .makes::<MixWire>();
    api.get("/mixes/{id}", "One mix").gives::<MixWire>();
    api.get("/mix-amounts", "How much of each part")
        .query::<HowMuch>(json!({"material": "fast-epoxy", "wanted_ml": 10}))
        .gives::<Amounts>();
}

/// A mix: a volume wanted, or what was measured, in the unit of its rule and named as there.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Mixed {
    pub(crate) id: Option<MixId>,
    pub(crate) material: MaterialId,
    pub(crate) zone: ZoneId,
    pub(crate) wanted_ml: Option<f64>,
    pub(crate) measured: Option<std::collections::BTreeMap<String, f64>>,
    /// Thinner, % by volume of the whole.
    #[serde(default)]
    pub(crate) thinner_pct: f64,
    #[serde(default)]
    pub(crate) lots: Vec<LotId>,
    pub(crate) at: Option<DateTime<Utc>>,
    pub(crate) minutes_ago: Option<f64>,
    /// How long before it may gel to tell of it.
    pub(crate) warn_min: Option<f64>,
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct HowMuch {
    pub(crate) material: MaterialId,
    pub(crate) wanted_ml: f64,
    #[serde(default)]
    pub(crate) thinner_pct: f64,
}

/// What a wanted volume takes.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct Amounts {
    material: String,
    #[schema(value_type = crate::twins::By)]
    pub(crate) by: By,
    #[schema(value_type = Vec<crate::twins::MixPart>)]
    pub(crate) parts: Vec<MixPart>,
    pub(crate) working_life_min: f64,
    pub(crate) cautions: Vec<String>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct MixWire {
    id: String,
    material: String,
    rule_version: String,
    zone: String,
    at: String,
    #[schema(value_type = Vec<crate::twins::MixPart>)]
    parts: Vec<MixPart>,
    lots: Vec<String>,
    /// `live`, `doubtful`, `gelled`.
    state: &'static str,
    gels_earliest_at: Option<String>,
    gels_likely_at: Option<String>,
    gels_latest_at: Option<String>,
    #[schema(value_type = Vec<crate::twins::Finding>)]
    findings: Vec<Finding>,
    cautions: Vec<String>,
    estimate: &'static str,
}

fn wire(state: &State, bench: &clock::Bench, mix: &clock::Mix) -> MixWire {
    let now_ms = state.now().ms();
    let gels = bench.gels(mix, now_ms);
    let at = |ms: Option<i64>| ms.map(|ms| state.rfc3339(ms));
    let rule = state.rulebook.rule(&mix.made.rule_version);
    MixWire {
        id: mix.made.id.to_string(),
        material: mix.made.material.to_string(),
        rule_version: mix.made.rule_version.to_string(),
        zone: mix.made.zone.to_string(),
        at: state.rfc3339(mix.at_ms),
        parts: mix.made.parts.clone(),
        lots: mix.made.lots.iter().map(ToString::to_string).collect(),
        state: match bench.mix_state(mix, now_ms) {
            clock::MixState::Live => "live",
            clock::MixState::Doubtful => "doubtful",
            clock::MixState::Gelled => "gelled",
        },
        gels_earliest_at: at(gels.earliest_ms),
        gels_likely_at: at(gels.likely_ms),
        gels_latest_at: at(gels.safe_ms),
        findings: mix.made.findings.clone(),
        cautions: rule.map_or_else(|_| vec![], |rule| rule.sheet.cautions.clone()),
        estimate: ESTIMATE,
    }
}

async fn list(shop: Shop, paging: web::Query<Paging>) -> Answer {
    let bench = shop.bench();
    Ok(HttpResponse::Ok().json(paging.part(bench.mixes().iter(), |mix| wire(&shop, &bench, mix))?))
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    answer(&shop, &id, HttpResponse::Ok())
}

fn answer(shop: &Shop, id: &str, mut builder: actix_web::HttpResponseBuilder) -> Answer {
    let bench = shop.bench();
    let known = bench.mixes().get(id).ok_or_else(|| Problem::not_found("mix", id))?;
    Ok(builder.json(wire(shop, &bench, known)))
}

/// The rule of a material that is mixed.
fn mixed(shop: &State, material: &MaterialId) -> Result<(VersionId, std::sync::Arc<Rule>, MixSheet, f64), Problem> {
    let version = shop.bench().in_force().get(material).cloned();
    let version = version.ok_or_else(|| unknown("material", material.as_str(), "materials"))?;
    let rule = shop.rulebook.rule(&version)?;
    match (rule.sheet.mix.clone(), rule.sheet.working_life_min) {
        (Some(sheet), Some(minutes)) => Ok((version, rule, sheet, minutes)),
        _ => Err(Problem::new(
            Kind::Invalid,
            format!("{material} is not mixed: its rule has no mix"),
            "add mix to material() of its rule if yours is",
        )
        .about("material")),
    }
}

fn wanted(sheet: &MixSheet, wanted_ml: f64, thinner_pct: f64) -> Result<Vec<MixPart>, Problem> {
    let wanted_ml = within("wanted_ml", wanted_ml, 0.1, 20_000.0, "ml", "a coat on a guitar body takes about 60 ml")?;
    Ok(amounts(sheet, wanted_ml, thinner(sheet, thinner_pct)?))
}

fn thinner(sheet: &MixSheet, thinner_pct: f64) -> Result<f64, Problem> {
    let mend = "its rule allows no more; the product's data sheet decides";
    Ok(within("thinner_pct", thinner_pct, 0.0, sheet.thinner_up_to_pct, "%", mend)?)
}

async fn how_much(shop: Shop, asked: web::Query<HowMuch>) -> Answer {
    Ok(HttpResponse::Ok().json(amounts_of(&shop, &asked)?))
}

/// What a wanted volume takes, by the rule in force.
///
/// # Errors
/// No such material, none that is mixed, or a volume or thinner out of range.
pub(crate) fn amounts_of(shop: &Shop, asked: &HowMuch) -> Result<Amounts, Problem> {
    let (_, rule, sheet, working_life_min) = mixed(shop, &asked.material)?;
    Ok(Amounts {
        material: asked.material.to_string(),
        by: sheet.by,
        parts: wanted(&sheet, asked.wanted_ml, asked.thinner_pct)?,
        working_life_min,
        cautions: rule.sheet.cautions.clone(),
    })
}

/// What was measured, in the order of the rule.
fn in_order(sheet: &MixSheet, measured: &std::collections::BTreeMap<String, f64>) -> Result<Vec<f64>, Problem> {
    let names: Vec<&str> = sheet.parts.iter().map(|part| part.name.as_str()).collect();
    let wrong = |what: String| {
        Problem::new(Kind::Invalid, what, format!("name each of: {}", names.join(", "))).about("measured")
    };
    if let Some(name) = measured.keys().find(|name| !names.contains(&name.as_str())) {
        return Err(wrong(format!("there is no component \"{name}\"")));
    }
    let amount = |name: &&str| {
        let given = measured.get(*name).ok_or_else(|| wrong(format!("{name} is missing")))?;
        Ok(within("measured", *given, 0.01, 20_000.0, "", "send ml or g, as the rule has it")?)
    };
    names.iter().map(amount).collect()
}

async fn add(shop: Shop, body: Body<Mixed>) -> Answer {
    let (asked, once) = body.split();
    let (made, at_ms) = made(&shop, asked)?;
    let id = made.id.clone();
    let said = shop.say_fact(Fact::MixMade(Box::new(made)), at_ms, "bench", once.answer(id.as_str())).await?;
    answer(&shop, &super::id_of(&said, id.as_str()), HttpResponse::Created())
}

/// The fact a mix is, in the rule now in force, and when it was stirred, ms.
///
/// # Errors
/// What is missing, unknown or out of range.
pub(crate) fn made(shop: &State, asked: Mixed) -> Result<(MixMade, i64), Problem> {
    let at_ms = When { at: asked.at, minutes_ago: asked.minutes_ago }.ms(shop.now().ms())?;
    let (rule_version, rule, sheet, working_life_min) = mixed(shop, &asked.material)?;
    let (parts, mut findings) = match (asked.wanted_ml, &asked.measured) {
        (Some(wanted_ml), None) => (wanted(&sheet, wanted_ml, asked.thinner_pct)?, vec![]),
        (None, Some(measured)) => {
            let measured = in_order(&sheet, measured)?;
            let whole = measured_parts(&sheet, &measured, 0.0);
            let finish_ml: f64 = whole.iter().map(|part| part.ml).sum();
            let thinner_pct = thinner(&sheet, asked.thinner_pct)?.min(99.0);
            let thinner_ml = finish_ml * thinner_pct / (100.0 - thinner_pct);
            (measured_parts(&sheet, &measured, thinner_ml), off_ratio(&sheet, &measured))
        }
        _ => return Err(missing("either wanted_ml or measured")),
    };
    let mut life = life(&sheet, working_life_min);
    let warn = asked.warn_min.unwrap_or_else(|| warn_min(working_life_min));
    let warn = within("warn_min", warn, 0.0, 1440.0, "min", "leave it out for a share of its working life")?;
    {
        let bench = shop.bench();
        bench.zone(asked.zone.as_str()).ok_or_else(|| unknown("zone", asked.zone.as_str(), "zones"))?;
        life.ahead_h = shop.reference_h(&bench, &rule, &sheet.mode, &asked.zone, warn / 60.0).min(life.earliest_h);
        let lots = asked.lots.iter().filter_map(|lot| bench.lots().get(lot));
        findings.extend(lots.filter_map(|lot| stale(lot, rule.sheet.storage_days, instant(at_ms))));
    }
    let made = MixMade {
        id: asked.id.unwrap_or_else(|| new_id('m')),
        material: asked.material,
        rule_version,
        mode: sheet.mode,
        zone: asked.zone,
        parts,
        lots: asked.lots,
        life,
        findings,
    };
    Ok((made, at_ms))
}
