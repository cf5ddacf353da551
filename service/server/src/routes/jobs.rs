//! Jobs and their steps.

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use facts::{Fact, JobId, JobOpened, NoteMade, Step, StepId};
use serde::Deserialize;
use serde_json::json;

use super::{Answer, Paging, Shop};
use crate::{
    body::Body,
    compose::{When, new_id},
    openapi::Api,
    problem::Problem,
    wire::JobWire,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/jobs").route(web::get().to(list)).route(web::post().to(open)))
        .service(web::resource("/jobs/{id}").route(web::get().to(one)))
        .service(web::resource("/jobs/{id}/notes").route(web::post().to(note)))
        .service(web::resource("/jobs/{id}/close").route(web::post().to(close)))
        .service(web::resource("/jobs/{id}/reopen").route(web::post().to(reopen)))
        .service(web::resource("/jobs/{id}/steps/{step}/done").route(web::post().to(done)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/jobs", "Jobs").query::<Paging>(json!({})).lists::<JobWire>();
    api.post("/jobs", "Opens a job")
        .takes::<Job>(json!({"id": "bridge-reset", "instrument": "guitar", "title": "Reset the bridge",
"steps": [{"id": "glue", "kind": "glue_up", "title": "Glue the bridge"}]}))
        .makes::<JobWire>();
    api.get("/jobs/{id}", "One job").gives::<JobWire>();
    api.post("/jobs/{id}/notes", "Writes a note")
        .takes::<Note>(json!({"text": "old glue was hide glue"}))
        .makes::<JobWire>();
    api.post("/jobs/{id}/steps/{step}/done", "A step is done").takes::<AtTime>(json!({})).gives::<JobWire>();
    api.post("/jobs/{id}/close", "Closes a job; what cures on it tells nothing more")
        .takes::<AtTime>(json!({}))
        .gives::<JobWire>();
    api.post("/jobs/{id}/reopen", "Opens a closed job again; what cured on it goes on")
        .takes::<AtTime>(json!({}))
        .gives::<JobWire>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Job {
    id: Option<JobId>,
    instrument: facts::InstrumentId,
    title: String,
    due_at: Option<DateTime<Utc>>,
    /// What an hour of its lateness weighs, 1 if not said.
    weight: Option<u32>,
    #[serde(default)]
    #[schema(value_type = Vec<crate::twins::Step>)]
    steps: Vec<Step>,
}

/// A command that only may say when.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct AtTime {
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
}

async fn list(shop: Shop, paging: web::Query<Paging>) -> Answer {
    let bench = shop.bench();
    Ok(HttpResponse::Ok().json(paging.part(bench.jobs().iter(), |job| shop.job_wire(&bench, job))?))
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    answer(&shop, &id, HttpResponse::Ok())
}

fn answer(shop: &Shop, id: &str, mut builder: actix_web::HttpResponseBuilder) -> Answer {
    let bench = shop.bench();
    let job = bench.jobs().get(id).ok_or_else(|| Problem::not_found("job", id))?;
    Ok(builder.json(shop.job_wire(&bench, job)))
}

async fn open(shop: Shop, body: Body<Job>) -> Answer {
    let id = body.value.id.clone().unwrap_or_else(|| new_id('o'));
    let kept = body.answer(id.as_str());
    let Job { instrument, title, due_at, weight, steps, .. } = body.value;
    let fact =
        Fact::JobOpened(JobOpened { id: id.clone(), instrument, title, due_at, weight: weight.unwrap_or(1), steps });
    let said = shop.say_fact(fact, shop.now().ms(), "bench", kept).await?;
    answer(&shop, &super::id_of(&said, id.as_str()), HttpResponse::Created())
}

async fn close(shop: Shop, id: web::Path<String>, body: Body<AtTime>) -> Answer {
    let fact = Fact::JobClosed { job: known(&shop, &id)? };
    say(&shop, fact, &id, body).await
}

async fn reopen(shop: Shop, id: web::Path<String>, body: Body<AtTime>) -> Answer {
    let fact = Fact::JobReopened { job: known(&shop, &id)? };
    say(&shop, fact, &id, body).await
}

async fn say(shop: &Shop, fact: Fact, id: &str, body: Body<AtTime>) -> Answer {
    let at_ms = When { at: body.value.at, minutes_ago: body.value.minutes_ago }.ms(shop.now().ms())?;
    shop.say_fact(fact, at_ms, "bench", body.answer(id)).await?;
    answer(shop, id, HttpResponse::Ok())
}

async fn done(shop: Shop, path: web::Path<(String, String)>, body: Body<AtTime>) -> Answer {
    let (id, step) = path.into_inner();
    let job = known(&shop, &id)?;
    let step = {
        let bench = shop.bench();
        let steps = bench.jobs().get(&job).map(|job| job.opened.steps.as_slice()).unwrap_or_default();
        let known: Option<StepId> = steps.iter().find(|s| s.id.as_str() == step).map(|s| s.id.clone());
        known.ok_or_else(|| Problem::not_found("step", &step))?
    };
    say(&shop, Fact::StepDone { job, step }, &id, body).await
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Note {
    text: String,
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
}

async fn note(shop: Shop, id: web::Path<String>, body: Body<Note>) -> Answer {
    let job = known(&shop, &id)?;
    let at_ms = When { at: body.value.at, minutes_ago: body.value.minutes_ago }.ms(shop.now().ms())?;
    let kept = body.answer(&id);
    let fact = Fact::NoteMade(NoteMade { job, text: body.value.text });
    shop.say_fact(fact, at_ms, "bench", kept).await?;
    answer(&shop, &id, HttpResponse::Created())
}

fn known(shop: &Shop, id: &str) -> Result<JobId, Problem> {
    let bench = shop.bench();
    bench.jobs().get_key_value(id).map(|(id, _)| id.clone()).ok_or_else(|| Problem::not_found("job", id))
}
