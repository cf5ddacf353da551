//! The bench plan: what to do now and next across every open job, and what one job more would do.

use actix_web::{HttpResponse, web};

use serde::Serialize;
use serde_json::json;

use super::{Answer, Shop};
use crate::{
    body::Body,
    openapi::Api,
    plan::{Asked, LONGER, PlanWire, WhatIfWire},
    problem::{Kind, Problem},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/plan").route(web::get().to(plan)).route(web::post().to(asked)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/plan", "What to do now and next across every open job").gives::<PlanWire>();
    api.post("/plan", "Plans the bench anew, or says what one job more would do")
        .takes::<Asked>(json!({"job": {"schedule": "french-polish"}, "due_at": "2026-03-20T16:00:00Z"}))
        .gives::<Answered>();
}

/// The plan, or what one job more would do to it.
#[derive(Serialize, utoipa::ToSchema)]
#[serde(untagged)]
enum Answered {
    Plan(PlanWire),
    WhatIf(WhatIfWire),
}

async fn plan(shop: Shop) -> Answer {
    let standing = shop.bench_plan().await?;
    Ok(HttpResponse::Ok().json(shop.plan_wire(&standing)))
}

/// Without a job the bench is planned anew; with one nothing is kept of it.
async fn asked(shop: Shop, body: Body<Asked>) -> Answer {
    match body.value {
        Asked { job: Some(job), due_at } => {
            let answer = shop.what_if(job, due_at).await?;
            Ok(HttpResponse::Ok().json(Answered::WhatIf(shop.what_if_wire(&answer, due_at))))
        }
        Asked { job: None, due_at: Some(_) } => {
            let mend = "send {\"job\": {\"schedule\": \"...\"}, \"due_at\": \"...\"}, or {} to plan anew";
            Err(Problem::new(Kind::Invalid, "a due date without a job", mend).about("due_at"))
        }
        Asked { job: None, due_at: None } => {
            let standing = shop.replan(LONGER).await?;
            Ok(HttpResponse::Ok().json(Answered::Plan(shop.plan_wire(&standing))))
        }
    }
}
