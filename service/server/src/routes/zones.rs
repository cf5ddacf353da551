//! Zones: places with one climate, and the set-point assumed while no sensor speaks.

use actix_web::{HttpResponse, web};
use facts::{Fact, RhPct, TempC, ZoneId, ZoneSet};
use serde::{Deserialize, Serialize};
use serde_json::json;
use store::Saying;

use super::{Answer, Paging, Shop};
use crate::{
    body::Body,
    compose::new_id,
    openapi::Api,
    problem::{Kind, Problem},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/zones").route(web::get().to(list)).route(web::post().to(add)))
        .service(web::resource("/zones/{id}").route(web::get().to(one)).route(web::put().to(revise)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/zones", "Zones, in order of id").query::<Paging>(json!({})).lists::<ZoneWire>();
    api.post("/zones", "Adds a zone")
        .takes::<Zone>(json!({"id": "bench", "name": "Bench", "set_temp_c": 20, "set_rh_pct": 50}))
        .makes::<ZoneWire>();
    api.get("/zones/{id}", "One zone, its air now").gives::<ZoneWire>();
    api.put("/zones/{id}", "Sets a zone anew")
        .takes::<Zone>(json!({"name": "Bench", "set_temp_c": 21, "set_rh_pct": 48}))
        .gives::<ZoneWire>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Zone {
    id: Option<ZoneId>,
    name: String,
    set_temp_c: f64,
    set_rh_pct: f64,
}

#[derive(Serialize, utoipa::ToSchema)]
struct ZoneWire {
    id: String,
    name: String,
    set_temp_c: f64,
    set_rh_pct: f64,
    /// The air now: measured, or expected from what was.
    temp_c: f64,
    rh_pct: f64,
    dew_point_c: Option<f64>,
    emc_pct: Option<f64>,
    last_reading_at: Option<String>,
    readings: usize,
}

fn wire(state: &State, bench: &clock::Bench, set: &ZoneSet) -> ZoneWire {
    let now_ms = state.now().ms();
    let air = bench.air_at(set.id.as_str(), now_ms);
    let air = air.unwrap_or(clock::Air::new(set.set_temp_c, set.set_rh_pct));
    let timeline = bench.timeline(set.id.as_str());
    let round = |value: f64| (value * 100.0).round() / 100.0;
    ZoneWire {
        id: set.id.to_string(),
        name: set.name.clone(),
        set_temp_c: set.set_temp_c.get(),
        set_rh_pct: set.set_rh_pct.get(),
        temp_c: round(air.temp_c),
        rh_pct: round(air.rh_pct),
        dew_point_c: physics::air::dew_point_c(air.temp_c, air.rh_pct).ok().map(round),
        emc_pct: physics::wood::emc_pct(air.temp_c, air.rh_pct).ok().map(round),
        last_reading_at: timeline.and_then(clock::Timeline::last).map(|(at_ms, _)| state.rfc3339(at_ms)),
        readings: timeline.map_or(0, clock::Timeline::len),
    }
}

async fn list(shop: Shop, paging: web::Query<Paging>) -> Answer {
    let bench = shop.bench();
    let mut zones: Vec<_> = bench.zones().collect();
    zones.sort_by(|a, b| a.id.cmp(&b.id));
    let all = zones.into_iter().map(|set| (&set.id, set));
    Ok(HttpResponse::Ok().json(paging.part(all, |set| wire(&shop, &bench, set))?))
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    answer(&shop, &id, HttpResponse::Ok())
}

fn answer(shop: &Shop, id: &str, mut builder: actix_web::HttpResponseBuilder) -> Answer {
    let bench = shop.bench();
    let set = bench.zone(id).ok_or_else(|| Problem::not_found("zone", id))?;
    Ok(builder.json(wire(shop, &bench, set)))
}

async fn add(shop: Shop, body: Body<Zone>) -> Answer {
    let id = body.value.id.clone().unwrap_or_else(|| new_id('z'));
    set(&shop, id, body, true, HttpResponse::Created()).await
}

async fn revise(shop: Shop, id: web::Path<String>, body: Body<Zone>) -> Answer {
    let known = shop.bench().zone(&id).map(|set| set.id.clone());
    let id = known.ok_or_else(|| Problem::not_found("zone", &id))?;
    if let Some(other) = body.value.id.as_ref().filter(|other| **other != id) {
        let detail = format!("the body says zone \"{other}\", the address \"{id}\"");
        return Err(Problem::new(Kind::Invalid, detail, "leave id out; a zone keeps the id it has").about("id"));
    }
    set(&shop, id, body, false, HttpResponse::Ok()).await
}

async fn set(
    shop: &Shop,
    id: ZoneId,
    body: Body<Zone>,
    fresh: bool,
    builder: actix_web::HttpResponseBuilder,
) -> Answer {
    let kept = body.answer(id.as_str());
    let fact = Fact::ZoneSet(ZoneSet {
        id: id.clone(),
        name: body.value.name,
        set_temp_c: TempC::new(body.value.set_temp_c).map_err(|e| Problem::from(e).about("set_temp_c"))?,
        set_rh_pct: RhPct::new(body.value.set_rh_pct).map_err(|e| Problem::from(e).about("set_rh_pct"))?,
    });
    let saying = Saying { fresh, ..shop.saying(fact, shop.now().ms(), "bench", vec![], kept) };
    let said = shop.say_once(saying).await?;
    answer(shop, &super::id_of(&said, id.as_str()), builder)
}
