//! Clamps: the inventory, which clamp is on which glue-up, and when each will be free.

use actix_web::{HttpResponse, web};
use facts::{ClampAdded, ClampId, Fact};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Paging, Shop};
use crate::{
    body::{Body, Nothing},
    compose::new_id,
    openapi::Api,
    problem::Problem,
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/clamps").route(web::get().to(list)).route(web::post().to(add)))
        .service(web::resource("/clamps/{id}").route(web::get().to(one)))
        .service(web::resource("/clamps/{id}/put-away").route(web::post().to(put_away)))
        .service(web::resource("/clamps/{id}/bring-back").route(web::post().to(bring_back)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/clamps", "Clamps, and where they are").query::<Paging>(json!({})).lists::<ClampWire>();
    api.post("/clamps", "Adds a clamp").takes::<Clamp>(json!({"id": "cam-1", "name": "cam 1"})).makes::<ClampWire>();
    api.get("/clamps/{id}", "One clamp").gives::<ClampWire>();
    api.post("/clamps/{id}/put-away", "Takes a clamp out of use").takes::<Nothing>(json!({})).gives::<ClampWire>();
    api.post("/clamps/{id}/bring-back", "Takes a clamp into use again")
        .takes::<Nothing>(json!({}))
        .gives::<ClampWire>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Clamp {
    id: Option<ClampId>,
    name: String,
    #[serde(default)]
    kind: String,
}

#[derive(Serialize, utoipa::ToSchema)]
struct ClampWire {
    id: String,
    name: String,
    kind: String,
    /// The glue-up it holds; none while it is free.
    on: Option<String>,
    /// Whether it is out of use: no glue-up may take it and the plan does not count on it.
    away: bool,
    /// When that glue-up can let it go; none while it is free, or when that cannot be told.
    free_at: Option<String>,
}

fn wire(state: &State, bench: &clock::Bench, line: &clock::ClampLine<'_>) -> ClampWire {
    let added = bench.clamps().get(line.clamp).map(|clamp| &clamp.added);
    ClampWire {
        id: line.clamp.to_string(),
        name: added.map_or_else(String::new, |clamp| clamp.name.clone()),
        kind: added.map_or_else(String::new, |clamp| clamp.clamp_kind.clone()),
        on: line.on.map(ToString::to_string),
        away: line.away,
        free_at: line.free_ms.map(|ms| state.rfc3339(ms)),
    }
}

async fn list(shop: Shop, paging: web::Query<Paging>) -> Answer {
    let bench = shop.bench();
    let lines = bench.clamp_lines(shop.now().ms());
    let all = lines.iter().map(|line| (line.clamp, line));
    Ok(HttpResponse::Ok().json(paging.part(all, |line| wire(&shop, &bench, line))?))
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    answer(&shop, &id, HttpResponse::Ok())
}

fn answer(shop: &Shop, id: &str, mut builder: actix_web::HttpResponseBuilder) -> Answer {
    let bench = shop.bench();
    let lines = bench.clamp_lines(shop.now().ms());
    let line = lines.iter().find(|line| line.clamp.as_str() == id).ok_or_else(|| Problem::not_found("clamp", id))?;
    Ok(builder.json(wire(shop, &bench, line)))
}

async fn add(shop: Shop, body: Body<Clamp>) -> Answer {
    let id = body.value.id.clone().unwrap_or_else(|| new_id('k'));
    let kept = body.answer(id.as_str());
    let Clamp { name, kind, .. } = body.value;
    let fact = Fact::ClampAdded(ClampAdded { id: id.clone(), name, clamp_kind: kind });
    let said = shop.say_fact(fact, shop.now().ms(), "bench", kept).await?;
    answer(&shop, &super::id_of(&said, id.as_str()), HttpResponse::Created())
}

async fn put_away(shop: Shop, id: web::Path<String>, body: Body<Nothing>) -> Answer {
    change(&shop, &id, &body, |clamp| Fact::ClampPutAway { clamp }).await
}

async fn bring_back(shop: Shop, id: web::Path<String>, body: Body<Nothing>) -> Answer {
    change(&shop, &id, &body, |clamp| Fact::ClampBroughtBack { clamp }).await
}

async fn change(shop: &Shop, id: &str, body: &Body<Nothing>, fact: fn(ClampId) -> Fact) -> Answer {
    let clamp = shop.clamp_named(id)?;
    shop.say_fact(fact(clamp), shop.now().ms(), "bench", body.answer(id)).await?;
    answer(shop, id, HttpResponse::Ok())
}

impl State {
    /// The id of a clamp that is known.
    ///
    /// # Errors
    /// When there is none of that id.
    pub(crate) fn clamp_named(&self, id: &str) -> Result<ClampId, Problem> {
        let bench = self.bench();
        bench.clamps().get_key_value(id).map(|(id, _)| id.clone()).ok_or_else(|| Problem::not_found("clamp", id))
    }
}
