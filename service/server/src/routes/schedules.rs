//! Finish schedules: what there is, opening a job by one, and laying one onto a job that is open already.

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use facts::{Fact, InstrumentId, JobId, JobOpened, StepId};
use serde::{Deserialize, Serialize};
use serde_json::json;
use store::Saying;

use super::{Answer, Shop};
use crate::{
    body::Body,
    compose::{new_id, unknown},
    openapi::Api,
    problem::Problem,
    schedules::{Schedule, schedules},
    wire::{JobWire, List},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/schedules").route(web::get().to(list)))
        .service(web::resource("/schedules/{id}").route(web::get().to(one)))
        .service(web::resource("/schedules/{id}/jobs").route(web::post().to(open)))
        .service(web::resource("/jobs/{id}/schedules").route(web::post().to(lay)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/schedules", "Schedules of steps").lists::<ScheduleWire>();
    api.get("/schedules/{id}", "One schedule").gives::<ScheduleWire>();
    api.post("/schedules/{id}/jobs", "Opens a job with the steps of a schedule")
        .takes::<Planned>(json!({"instrument": "guitar"}))
        .makes::<JobWire>();
    api.post("/jobs/{id}/schedules", "Lays a schedule onto an open job: its steps come behind those there are")
        .takes::<Laying>(json!({"schedule": "french-polish", "surface": "back"}))
        .makes::<JobWire>();
}

#[derive(Serialize, utoipa::ToSchema)]
struct ScheduleWire {
    id: String,
    #[serde(flatten)]
    schedule: Schedule,
    coats: usize,
    /// The usual cautions of every material in it.
    cautions: Vec<String>,
}

/// A job by a schedule.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Planned {
    id: Option<JobId>,
    instrument: InstrumentId,
    /// The schedule's name if not said.
    title: Option<String>,
    due_at: Option<DateTime<Utc>>,
    /// What an hour of its lateness weighs, 1 if not said.
    weight: Option<u32>,
}

fn wire(shop: &Shop, (id, schedule): (String, Schedule)) -> ScheduleWire {
    let steps = schedule.unfolded();
    let coats = steps.iter().filter(|step| step.kind == facts::StepKind::Coat);
    let mut cautions: Vec<String> = Vec::new();
    let in_force = shop.bench().in_force().clone();
    for line in &schedule.steps {
        let version = line.material.as_ref().and_then(|material| in_force.get(material));
        for caution in version.and_then(|v| shop.rulebook.rule(v).ok()).iter().flat_map(|rule| &rule.sheet.cautions) {
            if !cautions.contains(caution) {
                cautions.push(caution.clone());
            }
        }
    }
    ScheduleWire { id, coats: coats.count(), schedule, cautions }
}

async fn list(shop: Shop) -> Answer {
    let all = schedules(&shop.settings.scripts.folder)?;
    Ok(HttpResponse::Ok().json(List::whole(all.into_iter().map(|schedule| wire(&shop, schedule)))))
}

fn named(shop: &Shop, id: &str) -> Result<(String, Schedule), Problem> {
    let all = schedules(&shop.settings.scripts.folder)?;
    all.into_iter().find(|(name, _)| name == id).ok_or_else(|| Problem::not_found("schedule", id))
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    Ok(HttpResponse::Ok().json(wire(&shop, named(&shop, &id)?)))
}

async fn open(shop: Shop, id: web::Path<String>, body: Body<Planned>) -> Answer {
    let (_, schedule) = named(&shop, &id)?;
    let (asked, once) = body.split();
    let job = asked.id.unwrap_or_else(|| new_id('o'));
    let opened = JobOpened {
        id: job.clone(),
        instrument: asked.instrument,
        title: asked.title.unwrap_or_else(|| schedule.name.clone()),
        due_at: asked.due_at,
        weight: asked.weight.unwrap_or(1),
        steps: schedule.unfolded(),
    };
    let said = shop.say_fact(Fact::JobOpened(opened), shop.now().ms(), "bench", once.answer(job.as_str())).await?;
    let job = super::id_of(&said, job.as_str());
    let bench = shop.bench();
    let known = bench.jobs().get(job.as_str()).ok_or_else(|| Problem::not_found("job", &job))?;
    Ok(HttpResponse::Created().json(shop.job_wire(&bench, known)))
}

/// A schedule for a job that is open already.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Laying {
    pub(crate) schedule: String,
    /// What is coated: it stands in the title of each step.
    #[serde(default)]
    pub(crate) surface: String,
    /// The step the first of them follows; the last of the job if not said.
    pub(crate) after: Option<StepId>,
}

async fn lay(shop: Shop, id: web::Path<String>, body: Body<Laying>) -> Answer {
    let (asked, once) = body.split();
    shop.say_once(laid(&shop, &id, &asked, once.answer(&id))?).await?;
    let bench = shop.bench();
    let known = bench.jobs().get(id.as_str()).ok_or_else(|| Problem::not_found("job", &id))?;
    Ok(HttpResponse::Created().json(shop.job_wire(&bench, known)))
}

/// The steps of a schedule as one saying: all of them are added, or none.
///
/// # Errors
/// No such job or schedule, or a step that contradicts what is there.
pub(crate) fn laid(shop: &Shop, job: &str, asked: &Laying, answer: Option<store::Answer>) -> Result<Saying, Problem> {
    let all = schedules(&shop.settings.scripts.folder)?;
    let schedule = all.into_iter().find(|(name, _)| *name == asked.schedule);
    let (_, schedule) = schedule.ok_or_else(|| unknown("schedule", &asked.schedule, "schedules"))?;
    let (job, steps) = {
        let bench = shop.bench();
        let known = bench.jobs().get(job).ok_or_else(|| Problem::not_found("job", job))?;
        let there = &known.opened.steps;
        let steps = schedule.laid(there, asked.surface.trim(), asked.after.as_ref());
        bench.admit_steps(&[there.as_slice(), &steps].concat())?;
        (known.opened.id.clone(), steps)
    };
    let now_ms = shop.now().ms();
    let mut whole = Saying { recorded_ms: now_ms, answer, ..Saying::default() };
    for step in steps {
        let fact = Fact::StepAdded { job: job.clone(), step };
        whole.entries.extend(shop.saying(fact, now_ms, "bench", vec![], None).entries);
    }
    Ok(whole)
}
