//! Readings held back: what cannot be believed waits here for a person, who releases or discards it.

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use facts::{Reading, RhPct, TempC, ZoneId};
use serde::{Deserialize, Serialize};
use serde_json::json;
use store::{Held, HeldState, Saying};

use super::{Answer, Shop};
use crate::{
    body::{Body, Nothing},
    now::instant,
    openapi::Api,
    problem::{Kind, Problem},
    state::State,
    wire::List,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/zones/{id}/quarantine").route(web::get().to(list)))
        .service(web::resource("/zones/{id}/quarantine/{held}/release").route(web::post().to(release)))
        .service(web::resource("/zones/{id}/quarantine/{held}/discard").route(web::post().to(discard)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/zones/{id}/quarantine", "Readings held back").query::<Which>(json!({})).lists::<HeldWire>();
    api.post("/zones/{id}/quarantine/{held}/release", "Takes a held reading, mended if need be")
        .takes::<Release>(json!({"temp_c": 20.5}))
        .gives::<HeldWire>();
    api.post("/zones/{id}/quarantine/{held}/discard", "Discards a held reading")
        .takes::<Nothing>(json!({}))
        .gives::<HeldWire>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Which {
    /// In which state: held (when not said), released, discarded.
    state: Option<String>,
    /// Only those after this id: `next` of the part before.
    after: Option<i64>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct HeldWire {
    id: i64,
    zone: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    sensor: Option<String>,
    at: String,
    temp_c: f64,
    rh_pct: f64,
    reason: String,
    detail: String,
    mend: String,
    by: String,
    recorded_at: String,
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    decided_at: Option<String>,
}

const PART: usize = 100;

fn wire(state: &State, held: Held) -> HeldWire {
    HeldWire {
        id: held.id,
        zone: held.key.zone.to_string(),
        sensor: held.key.sensor.as_ref().map(ToString::to_string),
        at: state.rfc3339(held.key.at_ms),
        temp_c: held.key.temp_c,
        rh_pct: held.key.rh_pct,
        reason: held.reason,
        detail: held.detail,
        mend: held.mend,
        by: held.by,
        recorded_at: state.rfc3339(held.recorded_ms),
        state: word(held.state),
        decided_at: held.decided_ms.map(|ms| state.rfc3339(ms)),
    }
}

fn word(state: HeldState) -> &'static str {
    match state {
        HeldState::Held => "held",
        HeldState::Released => "released",
        HeldState::Discarded => "discarded",
    }
}

async fn list(shop: Shop, id: web::Path<String>, which: web::Query<Which>) -> Answer {
    let zone = known(&shop, &id)?;
    let state = match which.state.as_deref() {
        None | Some("held") => HeldState::Held,
        Some("released") => HeldState::Released,
        Some("discarded") => HeldState::Discarded,
        Some(other) => {
            let detail = format!("there is no state \"{other}\"");
            return Err(Problem::new(Kind::Invalid, detail, "held, released or discarded").about("state"));
        }
    };
    let after = which.after.unwrap_or(0);
    let mut held = shop.read(move |database| database.held(&zone, state, after, PART + 1)).await?;
    let more = held.len() > PART;
    held.truncate(PART);
    let next = held.last().filter(|_| more).map(|last| last.id.to_string());
    let items = held.into_iter().map(|held| wire(&shop, held)).collect();
    Ok(HttpResponse::Ok().json(List { items, next }))
}

/// What is to be taken instead of what was said; what is left out stays.
#[derive(Default, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Release {
    pub(crate) at: Option<DateTime<Utc>>,
    pub(crate) temp_c: Option<f64>,
    pub(crate) rh_pct: Option<f64>,
}

async fn release(shop: Shop, path: web::Path<(String, i64)>, body: Body<Release>) -> Answer {
    let kept = body.answer(&path.1.to_string());
    release_held(&shop, &path, &body.value, kept).await?;
    answer(&shop, path.1).await
}

/// Takes a held reading, with what is put right in it.
///
/// # Errors
/// When there is none, somebody has decided about it already, or what is put right is no air.
pub(crate) async fn release_held(
    shop: &Shop,
    path: &(String, i64),
    instead: &Release,
    kept: Option<store::Answer>,
) -> Result<(), Problem> {
    let held = waiting(shop, path).await?;
    let key = held.key.clone();
    let mend = "send the right value with the release, for example {\"temp_c\": 20.5}; or discard it";
    let reading = Reading {
        zone: key.zone.clone(),
        sensor: key.sensor.clone(),
        at: instead.at.unwrap_or(instant(key.at_ms)),
        temp_c: TempC::new(instead.temp_c.unwrap_or(key.temp_c)).map_err(|e| put_right(e, mend))?,
        rh_pct: RhPct::new(instead.rh_pct.unwrap_or(key.rh_pct)).map_err(|e| put_right(e, mend))?,
    };
    decide(shop, held, HeldState::Released, vec![reading], kept).await
}

fn put_right(invalid: facts::Invalid, mend: &str) -> Problem {
    let said = invalid.mend.clone();
    let mut problem = Problem::from(invalid);
    problem.mend = format!("{mend} ({said})");
    problem
}

async fn discard(shop: Shop, path: web::Path<(String, i64)>, body: Body<Nothing>) -> Answer {
    let kept = body.answer(&path.1.to_string());
    let Nothing {} = body.value;
    discard_held(&shop, &path, kept).await?;
    answer(&shop, path.1).await
}

/// Discards a held reading.
///
/// # Errors
/// When there is none, or somebody has decided about it already.
pub(crate) async fn discard_held(
    shop: &Shop,
    path: &(String, i64),
    kept: Option<store::Answer>,
) -> Result<(), Problem> {
    let held = waiting(shop, path).await?;
    decide(shop, held, HeldState::Discarded, vec![], kept).await
}

async fn decide(
    shop: &Shop,
    held: Held,
    state: HeldState,
    readings: Vec<Reading>,
    kept: Option<store::Answer>,
) -> Result<(), Problem> {
    shop.intake.decided(&(held.key.zone.clone(), held.key.sensor.clone()));
    let saying = Saying {
        readings,
        decided: vec![(held.key, state)],
        recorded_ms: shop.now().ms(),
        answer: kept,
        ..Saying::default()
    };
    shop.say_once(saying).await.map(drop)
}

async fn answer(shop: &Shop, id: i64) -> Answer {
    let held = shop.read(move |database| database.held_one(id)).await?;
    Ok(HttpResponse::Ok().json(held.map(|held| wire(shop, held))))
}

/// The held reading of that zone, if nobody has decided about it yet.
async fn waiting(shop: &Shop, path: &(String, i64)) -> Result<Held, Problem> {
    let (zone, id) = (known(shop, &path.0)?, path.1);
    let held = shop.read(move |database| database.held_one(id)).await?;
    let held = held.filter(|held| held.key.zone == zone);
    let held = held.ok_or_else(|| Problem::not_found("reading held back", &id.to_string()))?;
    if held.state == HeldState::Held {
        return Ok(held);
    }
    let detail = format!("reading {id} was {} already", word(held.state));
    Err(Problem::new(Kind::Conflict, detail, "nothing needs doing; to correct it, post a reading of the same instant"))
}

fn known(shop: &Shop, id: &str) -> Result<ZoneId, Problem> {
    shop.bench().zone(id).map(|set| set.id.clone()).ok_or_else(|| Problem::not_found("zone", id))
}
