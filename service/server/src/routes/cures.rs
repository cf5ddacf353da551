//! Glue-ups and coats: registering one, looking at it, taking its clamps off, moving it, changing the version of its rule,
//! withdrawing it.

use actix_web::{HttpResponse, HttpResponseBuilder, web};
use chrono::{DateTime, Utc};
use facts::{ClampId, CureBegun, CureId, CureKind, Fact, VersionId, ZoneId};
use serde::{Deserialize, Serialize};

use super::{Answer, Paging, Shop};
use crate::{
    body::Body,
    coating::CoatRequest,
    compose::{GlueUpRequest, When},
    problem::Problem,
    wire::{CureWire, List},
    workshop::Moved,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/glue-ups").route(web::get().to(glue_ups)).route(web::post().to(glue_up)))
        .service(web::resource("/glue-ups/{id}").route(web::get().to(one)))
        .service(web::resource("/glue-ups/{id}/milestones").route(web::get().to(milestones)))
        .service(web::resource("/glue-ups/{id}/clamps-off").route(web::post().to(clamps_off)))
        .service(web::resource("/glue-ups/{id}/move").route(web::post().to(carry)))
        .service(web::resource("/glue-ups/{id}/rule").route(web::post().to(change_rule)))
        .service(web::resource("/glue-ups/{id}/withdraw").route(web::post().to(withdraw)))
        .service(web::resource("/coats").route(web::get().to(coats)).route(web::post().to(coat)))
        .service(web::resource("/coats/{id}").route(web::get().to(one)))
        .service(web::resource("/coats/{id}/milestones").route(web::get().to(milestones)))
        .service(web::resource("/coats/{id}/move").route(web::post().to(carry)))
        .service(web::resource("/coats/{id}/rule").route(web::post().to(change_rule)))
        .service(web::resource("/coats/{id}/withdraw").route(web::post().to(withdraw)));
}

async fn glue_ups(shop: Shop, paging: web::Query<Paging>) -> Answer {
    list(&shop, &paging, CureKind::GlueUp)
}

async fn coats(shop: Shop, paging: web::Query<Paging>) -> Answer {
    list(&shop, &paging, CureKind::Coat)
}

fn list(shop: &Shop, paging: &Paging, kind: CureKind) -> Answer {
    let (bench, now_ms) = (shop.bench(), shop.now().ms());
    let mut of_kind: Vec<_> = bench.cures().iter().filter(|cure| cure.begun.cure_kind == kind).collect();
    of_kind.sort_by(|a, b| a.begun.id.cmp(&b.begun.id));
    let all = of_kind.into_iter().map(|cure| (&cure.begun.id, cure));
    Ok(HttpResponse::Ok().json(paging.part(all, |cure| shop.cure_wire(&bench, cure, now_ms))?))
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    answer(&shop, &id, HttpResponse::Ok())
}

fn answer(shop: &Shop, id: &str, mut builder: HttpResponseBuilder) -> Answer {
    let bench = shop.bench();
    let cure = bench.cure(id).ok_or_else(|| Problem::not_found("glue-up or coat", id))?;
    Ok(builder.json(shop.cure_wire(&bench, cure, shop.now().ms())))
}

async fn milestones(shop: Shop, id: web::Path<String>) -> Answer {
    let bench = shop.bench();
    let cure = bench.cure(&id).ok_or_else(|| Problem::not_found("glue-up or coat", &id))?;
    Ok(HttpResponse::Ok().json(List::whole(shop.milestones_wire(&bench, cure, shop.now().ms()))))
}

async fn glue_up(shop: Shop, body: Body<GlueUpRequest>) -> Answer {
    let begun = shop.glue_up(body.value.clone())?;
    begin(&shop, begun, &body).await
}

async fn coat(shop: Shop, body: Body<CoatRequest>) -> Answer {
    let begun = shop.coat(body.value.clone())?;
    begin(&shop, begun, &body).await
}

async fn begin<T>(shop: &Shop, begun: CureBegun, body: &Body<T>) -> Answer {
    let id = begun.id.to_string();
    let at_ms = begun.started_at.timestamp_millis();
    let said = shop.say_fact(Fact::CureBegun(begun.into()), at_ms, "bench", body.answer(&id)).await?;
    answer(shop, &super::id_of(&said, &id), HttpResponse::Created())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ClampsOff {
    /// Which; all that are on it if not said.
    clamps: Option<Vec<ClampId>>,
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
}

async fn clamps_off(shop: Shop, id: web::Path<String>, body: Body<ClampsOff>) -> Answer {
    let (cure, on) = {
        let bench = shop.bench();
        let known = bench.cure(&id).ok_or_else(|| Problem::not_found("glue-up or coat", &id))?;
        (known.begun.id.clone(), known.clamps_on.clone())
    };
    let kept = body.answer(&id);
    let at_ms = When { at: body.value.at, minutes_ago: body.value.minutes_ago }.ms(shop.now().ms())?;
    let clamps = body.value.clamps.unwrap_or(on);
    shop.say_fact(Fact::ClampsOff { cure, clamps }, at_ms, "bench", kept).await?;
    answer(&shop, &id, HttpResponse::Ok())
}

/// Where something is carried, and when; a cure alone or an instrument with all that cures on it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Move {
    pub(super) zone: ZoneId,
    pub(super) at: Option<DateTime<Utc>>,
    pub(super) minutes_ago: Option<f64>,
}

async fn carry(shop: Shop, id: web::Path<String>, body: Body<Move>) -> Answer {
    let cure = known(&shop, &id)?;
    let kept = body.answer(&id);
    let at_ms = When { at: body.value.at, minutes_ago: body.value.minutes_ago }.ms(shop.now().ms())?;
    shop.say_fact(Fact::CureMoved { cure, zone: body.value.zone }, at_ms, "bench", kept).await?;
    answer(&shop, &id, HttpResponse::Ok())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Withdraw {
    reason: String,
}

async fn withdraw(shop: Shop, id: web::Path<String>, body: Body<Withdraw>) -> Answer {
    let cure = known(&shop, &id)?;
    let kept = body.answer(&id);
    let fact = Fact::CureWithdrawn { cure, reason: body.value.reason };
    shop.say_fact(fact, shop.now().ms(), "bench", kept).await?;
    answer(&shop, &id, HttpResponse::Ok())
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ChangeRule {
    /// A version its material had in force; the one in force now if not said.
    version: Option<VersionId>,
    /// Says what would move and moves nothing.
    #[serde(default)]
    dry_run: bool,
}

#[derive(Serialize)]
struct RuleChanged {
    /// The times that move, or would.
    moved: Vec<Moved>,
    #[serde(flatten)]
    cure: CureWire,
}

/// Moves a cure to another version of its rule, over all the air it has had.
async fn change_rule(shop: Shop, id: web::Path<String>, body: Body<ChangeRule>) -> Answer {
    let cure = known(&shop, &id)?;
    let kept = body.answer(&id);
    let ChangeRule { version, dry_run } = body.value;
    let (change, moved) = {
        let bench = shop.bench();
        let cure = bench.cure(&id).ok_or_else(|| Problem::not_found("glue-up or coat", &id))?;
        let rule = shop.version_for(&bench, cure, version)?;
        let change = shop.rule_change(&bench, cure, &rule)?;
        let moved = shop.moved(&bench, cure, &rule, &change)?;
        (change, moved)
    };
    if !dry_run {
        shop.say_fact(Fact::CureRuleChanged(change.into()), shop.now().ms(), "bench", kept).await?;
    }
    let bench = shop.bench();
    let cure = bench.cure(cure.as_str()).ok_or_else(|| Problem::not_found("glue-up or coat", &id))?;
    let cure = shop.cure_wire(&bench, cure, shop.now().ms());
    Ok(HttpResponse::Ok().json(RuleChanged { moved, cure }))
}

fn known(shop: &Shop, id: &str) -> Result<CureId, Problem> {
    let bench = shop.bench();
    bench.cure(id).map(|cure| cure.begun.id.clone()).ok_or_else(|| Problem::not_found("glue-up or coat", id))
}
