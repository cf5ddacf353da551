//! Joints of an instrument, with what is particular to each.

use actix_web::{HttpResponse, web};
use facts::{Fact, JointAdded};
use serde::Deserialize;
use serde_json::json;

use super::{Answer, Paging, Shop};
use crate::{body::Body, compose::new_id, openapi::Api, problem::Problem};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/joints").route(web::get().to(list)).route(web::post().to(add)))
        .service(web::resource("/joints/{id}").route(web::get().to(one)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/joints", "Joints").query::<Paging>(json!({})).lists::<crate::twins::JointAdded>();
    api.post("/joints", "Adds a joint")
        .takes::<Joint>(json!({"id": "bridge", "instrument": "guitar", "name": "bridge", "gap_um": 100}))
        .makes::<crate::twins::JointAdded>();
    api.get("/joints/{id}", "One joint").gives::<crate::twins::JointAdded>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Joint {
    id: Option<facts::JointId>,
    instrument: facts::InstrumentId,
    name: String,
    /// Gap between the faces, µm; a good fit if not said.
    #[serde(default = "good_fit_um")]
    gap_um: f64,
    #[serde(default)]
    #[schema(value_type = crate::twins::Porosity)]
    porosity: facts::Porosity,
}

fn good_fit_um() -> f64 {
    100.0
}

async fn list(shop: Shop, paging: web::Query<Paging>) -> Answer {
    let bench = shop.bench();
    Ok(HttpResponse::Ok().json(paging.part(bench.joints().iter(), Clone::clone)?))
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    answer(&shop, &id, HttpResponse::Ok())
}

fn answer(shop: &Shop, id: &str, mut builder: actix_web::HttpResponseBuilder) -> Answer {
    let bench = shop.bench();
    let known = bench.joints().get(id).ok_or_else(|| Problem::not_found("joint", id))?;
    Ok(builder.json(known))
}

async fn add(shop: Shop, body: Body<Joint>) -> Answer {
    let id = body.value.id.clone().unwrap_or_else(|| new_id('j'));
    let kept = body.answer(id.as_str());
    let Joint { instrument, name, gap_um, porosity, .. } = body.value;
    let fact = Fact::JointAdded(JointAdded { id: id.clone(), instrument, name, gap_um, porosity });
    let said = shop.say_fact(fact, shop.now().ms(), "bench", kept).await?;
    answer(&shop, &super::id_of(&said, id.as_str()), HttpResponse::Created())
}
