//! Lots: the bottles, pots and tins on the shelf.

use actix_web::{HttpResponse, web};
use facts::{Fact, LotAdded};
use serde::Deserialize;
use serde_json::json;

use super::{Answer, Paging, Shop};
use crate::{body::Body, compose::new_id, openapi::Api, problem::Problem};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/lots").route(web::get().to(list)).route(web::post().to(add)))
        .service(web::resource("/lots/{id}").route(web::get().to(one)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/lots", "Bottles, pots and tins").query::<Paging>(json!({})).lists::<crate::twins::LotAdded>();
    api.post("/lots", "Adds one")
        .takes::<Lot>(json!({"id": "bottle", "material": "aliphatic-resin", "content": {"ml": 250}, "cost": 12}))
        .makes::<crate::twins::LotAdded>();
    api.get("/lots/{id}", "One of them").gives::<crate::twins::LotAdded>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Lot {
    id: Option<facts::LotId>,
    material: facts::MaterialId,
    #[serde(default)]
    label: String,
    opened_at: Option<chrono::DateTime<chrono::Utc>>,
    best_before: Option<chrono::DateTime<chrono::Utc>>,
    #[schema(value_type = Option<crate::twins::Amount>)]
    content: Option<facts::Amount>,
    cost: Option<f64>,
}

async fn list(shop: Shop, paging: web::Query<Paging>) -> Answer {
    let bench = shop.bench();
    Ok(HttpResponse::Ok().json(paging.part(bench.lots().iter(), Clone::clone)?))
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    answer(&shop, &id, HttpResponse::Ok())
}

fn answer(shop: &Shop, id: &str, mut builder: actix_web::HttpResponseBuilder) -> Answer {
    let bench = shop.bench();
    let known = bench.lots().get(id).ok_or_else(|| Problem::not_found("lot", id))?;
    Ok(builder.json(known))
}

async fn add(shop: Shop, body: Body<Lot>) -> Answer {
    let id = body.value.id.clone().unwrap_or_else(|| new_id('l'));
    let kept = body.answer(id.as_str());
    let Lot { material, label, opened_at, best_before, content, cost, .. } = body.value;
    let fact = Fact::LotAdded(LotAdded { id: id.clone(), material, label, opened_at, best_before, content, cost });
    let said = shop.say_fact(fact, shop.now().ms(), "bench", kept).await?;
    answer(&shop, &super::id_of(&said, id.as_str()), HttpResponse::Created())
}
