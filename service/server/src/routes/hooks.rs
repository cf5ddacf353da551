//! The shop's own scripts: how each hook stands, and what holds a string-up back.

use actix_web::{HttpResponse, web};
use rules::HookTally;
use serde::Serialize;

use super::{Answer, Shop, materials::FaultWire};
use crate::{openapi::Api, problem::Problem, wire::List};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/hooks").route(web::get().to(list)))
        .service(web::resource("/instruments/{id}/held-back").route(web::get().to(held_back)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/hooks", "How the shop's own scripts stand").lists::<HookWire>();
    api.get("/instruments/{id}/held-back", "Why a script holds its stringing back").gives::<HeldBack>();
}

#[derive(Serialize, utoipa::ToSchema)]
struct HookWire {
    file: String,
    hook: &'static str,
    version: String,
    calls: u64,
    failures: u64,
    failures_in_a_row: u32,
    set_aside: bool,
    /// Time all its calls took, ms.
    total_ms: f64,
    longest_ms: f64,
    last_fault: Option<FaultWire>,
}

impl From<HookTally> for HookWire {
    fn from(tally: HookTally) -> Self {
        Self {
            file: tally.file,
            hook: tally.hook,
            version: tally.version.to_string(),
            calls: tally.calls,
            failures: tally.failures,
            failures_in_a_row: tally.in_a_row,
            set_aside: tally.set_aside,
            total_ms: tally.total.as_secs_f64() * 1e3,
            longest_ms: tally.longest.as_secs_f64() * 1e3,
            last_fault: tally.last_fault.as_ref().map(FaultWire::from),
        }
    }
}

async fn list(shop: Shop) -> Answer {
    Ok(HttpResponse::Ok().json(List::whole(shop.hooks.tallies().into_iter().map(HookWire::from))))
}

#[derive(Serialize, utoipa::ToSchema)]
struct HeldBack {
    instrument: String,
    /// Why not to string it up; empty when the shop's scripts have nothing against it.
    reasons: Vec<String>,
}

async fn held_back(shop: Shop, id: web::Path<String>) -> Answer {
    if !shop.bench().instruments().contains_key(id.as_str()) {
        return Err(Problem::not_found("instrument", &id));
    }
    let reasons = shop.held_back(&id).await;
    Ok(HttpResponse::Ok().json(HeldBack { instrument: id.into_inner(), reasons }))
}
