//! Plans: what somebody will make of a zone's air, "booth at 28 °C from 18:00 to 22:00". Times of open cures follow.

use actix_web::{HttpResponse, HttpResponseBuilder, web};
use chrono::{DateTime, Utc};
use clock::Planned;
use facts::{AirPlanned, Fact, PlanId, RhPct, TempC, ZoneId};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Paging, Shop};
use crate::{
    body::Body,
    compose::{When, new_id},
    now::instant,
    openapi::Api,
    problem::Problem,
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/zones/{id}/plans").route(web::get().to(list)).route(web::post().to(plan)))
        .service(web::resource("/zones/{id}/plans/{plan}").route(web::get().to(one)))
        .service(web::resource("/zones/{id}/plans/{plan}/cancel").route(web::post().to(cancel)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/zones/{id}/plans", "Planned air of a zone").query::<Paging>(json!({})).lists::<PlanWire>();
    api.post("/zones/{id}/plans", "Plans the air of a zone for some hours")
        .takes::<Plan>(json!({"id": "evening", "until": "2026-03-02T22:00:00Z", "temp_c": 26}))
        .makes::<PlanWire>();
    api.get("/zones/{id}/plans/{plan}", "One plan").gives::<PlanWire>();
    api.post("/zones/{id}/plans/{plan}/cancel", "Cancels a plan").takes::<Cancel>(json!({})).gives::<PlanWire>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Plan {
    id: Option<PlanId>,
    /// When it begins; now if not said.
    from: Option<DateTime<Utc>>,
    until: DateTime<Utc>,
    temp_c: f64,
    /// Left out where only the heat is changed.
    rh_pct: Option<f64>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct PlanWire {
    id: String,
    zone: String,
    from: String,
    until: String,
    temp_c: f64,
    rh_pct: Option<f64>,
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    cancelled_at: Option<String>,
}

fn wire(state: &State, planned: &Planned) -> PlanWire {
    let now_ms = state.now().ms();
    PlanWire {
        id: planned.id().to_string(),
        zone: planned.said.zone.to_string(),
        from: state.rfc3339(planned.from_ms()),
        until: state.rfc3339(planned.said.until.timestamp_millis()),
        temp_c: planned.said.temp_c.get(),
        rh_pct: planned.said.rh_pct.map(RhPct::get),
        state: match planned.cancelled_ms {
            Some(_) => "cancelled",
            None if now_ms < planned.from_ms() => "planned",
            None if now_ms < planned.until_ms() => "under_way",
            None => "over",
        },
        cancelled_at: planned.cancelled_ms.map(|ms| state.rfc3339(ms)),
    }
}

fn zone(shop: &Shop, id: &str) -> Result<ZoneId, Problem> {
    let bench = shop.bench();
    let known = bench.zones().find(|set| set.id.as_str() == id).map(|set| set.id.clone());
    known.ok_or_else(|| Problem::not_found("zone", id))
}

async fn list(shop: Shop, id: web::Path<String>, paging: web::Query<Paging>) -> Answer {
    let zone = zone(&shop, &id)?;
    let bench = shop.bench();
    let of_zone = bench.plans().iter().filter(|(_, planned)| planned.said.zone == zone);
    Ok(HttpResponse::Ok().json(paging.part(of_zone, |planned| wire(&shop, planned))?))
}

async fn one(shop: Shop, path: web::Path<(String, String)>) -> Answer {
    let (zone, plan) = path.into_inner();
    answer(&shop, &zone, &plan, HttpResponse::Ok())
}

fn answer(shop: &Shop, zone: &str, plan: &str, mut builder: HttpResponseBuilder) -> Answer {
    let bench = shop.bench();
    let of_zone = |planned: &&Planned| planned.said.zone.as_str() == zone;
    let planned = bench.plans().get(plan).filter(of_zone).ok_or_else(|| Problem::not_found("plan", plan))?;
    Ok(builder.json(wire(shop, planned)))
}

async fn plan(shop: Shop, id: web::Path<String>, body: Body<Plan>) -> Answer {
    let zone = zone(&shop, &id)?;
    let now_ms = shop.now().ms();
    let plan = body.value.id.clone().unwrap_or_else(|| new_id('p'));
    let kept = body.answer(plan.as_str());
    let fact = Fact::AirPlanned(AirPlanned {
        id: plan.clone(),
        zone,
        from: body.value.from.unwrap_or_else(|| instant(now_ms)),
        until: body.value.until,
        temp_c: TempC::new(body.value.temp_c)?,
        rh_pct: body.value.rh_pct.map(RhPct::new).transpose()?,
    });
    let said = shop.say_fact(fact, now_ms, "bench", kept).await?;
    answer(&shop, &id, &super::id_of(&said, plan.as_str()), HttpResponse::Created())
}

/// A command that only may say when.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Cancel {
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
}

async fn cancel(shop: Shop, path: web::Path<(String, String)>, body: Body<Cancel>) -> Answer {
    let (zone, plan) = path.into_inner();
    let known = {
        let bench = shop.bench();
        let known = bench.plans().get_key_value(plan.as_str()).filter(|(_, p)| p.said.zone.as_str() == zone);
        known.map(|(id, _)| id.clone()).ok_or_else(|| Problem::not_found("plan", &plan))?
    };
    let at_ms = When { at: body.value.at, minutes_ago: body.value.minutes_ago }.ms(shop.now().ms())?;
    shop.say_fact(Fact::PlanCancelled { plan: known }, at_ms, "bench", body.answer(&plan)).await?;
    answer(&shop, &zone, &plan, HttpResponse::Ok())
}
