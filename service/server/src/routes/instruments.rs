//! Instruments on the bench. Who owns one is not asked.

use actix_web::{HttpResponse, web};
use facts::{Fact, InstrumentAdded};
use serde::Deserialize;
use serde_json::json;

use super::{Answer, Paging, Shop};
use crate::{body::Body, compose::new_id, openapi::Api, problem::Problem};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/instruments").route(web::get().to(list)).route(web::post().to(add)))
        .service(web::resource("/instruments/{id}").route(web::get().to(one)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/instruments", "Instruments").query::<Paging>(json!({})).lists::<crate::twins::InstrumentAdded>();
    api.post("/instruments", "Adds an instrument")
        .takes::<Instrument>(json!({"id": "guitar", "name": "the guitar", "family": "steel-string guitar"}))
        .makes::<crate::twins::InstrumentAdded>();
    api.get("/instruments/{id}", "One instrument").gives::<crate::twins::InstrumentAdded>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Instrument {
    id: Option<facts::InstrumentId>,
    name: String,
    #[serde(default)]
    family: String,
}

async fn list(shop: Shop, paging: web::Query<Paging>) -> Answer {
    let bench = shop.bench();
    Ok(HttpResponse::Ok().json(paging.part(bench.instruments().iter(), Clone::clone)?))
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    answer(&shop, &id, HttpResponse::Ok())
}

fn answer(shop: &Shop, id: &str, mut builder: actix_web::HttpResponseBuilder) -> Answer {
    let bench = shop.bench();
    let known = bench.instruments().get(id).ok_or_else(|| Problem::not_found("instrument", id))?;
    Ok(builder.json(known))
}

async fn add(shop: Shop, body: Body<Instrument>) -> Answer {
    let id = body.value.id.clone().unwrap_or_else(|| new_id('i'));
    let kept = body.answer(id.as_str());
    let Instrument { name, family, .. } = body.value;
    let fact = Fact::InstrumentAdded(InstrumentAdded { id: id.clone(), name, family });
    let said = shop.say_fact(fact, shop.now().ms(), "bench", kept).await?;
    answer(&shop, &super::id_of(&said, id.as_str()), HttpResponse::Created())
}
