//! Whether it lives, whether it can do its work, and how it has been doing.

use std::{
    sync::{Arc, PoisonError},
    time::Duration,
};

use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder, http::header, web};
use serde::Serialize;
use store::Sqlite;

use super::{Answer, Shop};
use crate::{
    access::{self, Caller},
    alerts::tell,
    meters,
    openapi::Api,
    problem::{Kind, Problem},
    recurring,
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/health/live").route(web::get().to(live)))
        .service(web::resource("/health/ready").route(web::get().to(ready)))
        .service(web::resource("/metrics").route(web::get().to(metrics)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/health/live", "Whether it is alive").gives_media("text/plain");
    api.get("/health/ready", "Whether it is ready, and its recurring work")
        .gives::<Readiness>()
        .or_answers::<Readiness>(Kind::Busy);
    api.get("/metrics", "Counts for Prometheus").gives_media("text/plain");
}

/// Longest the alarms may not be looked at. They are looked at every five seconds at least.
const STUCK: Duration = Duration::from_secs(60);
/// Longest the database may take to prove that it can be written.
const PATIENCE: Duration = Duration::from_secs(3);

/// Whether it is to be left running: alarms are looked at. What a restart would not mend is for readiness.
async fn live(shop: Shop) -> Answer {
    alive(stuck(&shop))
}

/// For how long the alarms of a shop have not been looked at, where that is too long.
pub(crate) fn stuck(state: &State) -> Option<Duration> {
    state.alarm_looks.since().filter(|since| *since > STUCK)
}

/// What is answered to whoever asks whether it lives.
pub(crate) fn alive(stuck: Option<Duration>) -> Answer {
    match stuck {
        None => Ok(HttpResponse::Ok().content_type("text/plain").body("alive\n")),
        Some(since) => Err(Problem::new(
            Kind::Unavailable,
            format!("no alarm was looked at for {} s", since.as_secs()),
            "start the service again; systemd does so by itself",
        )),
    }
}

#[derive(Serialize, utoipa::ToSchema)]
struct Readiness {
    ready: bool,
    /// What a stranger is not told.
    #[serde(flatten)]
    state: Option<Condition>,
}

/// How a shop stands, for those who may know.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct Condition {
    /// Why not, each in a sentence.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(crate) why: Vec<String>,
    version: &'static str,
    sqlite: &'static str,
    store: Check,
    /// Where several instances share a database: whether this one has the duty of telling alerts.
    #[serde(skip_serializing_if = "Option::is_none")]
    on_duty: Option<bool>,
    /// Rule files whose last good version is still in force.
    rule_faults: usize,
    writes_waiting: usize,
    /// The way to the broker, if one is set. Without it the service does its work, so it is ready all the same.
    #[serde(skip_serializing_if = "Option::is_none")]
    mqtt: Option<MqttWire>,
    jobs: Vec<JobWire>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct Check {
    ok: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<String>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct MqttWire {
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    since: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<String>,
    taken: usize,
    known: usize,
    held: usize,
    refused: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    last_refusal: Option<String>,
}

fn mqtt(state: &State) -> Option<MqttWire> {
    if state.settings.mqtt.url.is_empty() {
        return None;
    }
    let status = state.intake.broker.status().clone();
    Some(MqttWire {
        state: if status.connected { "connected" } else { "down" },
        since: (status.since_ms > 0).then(|| state.rfc3339(status.since_ms)),
        why: status.why,
        taken: status.taken,
        known: status.known,
        held: status.held,
        refused: status.refused,
        last_refusal: status.last_refusal,
    })
}

#[derive(Serialize, utoipa::ToSchema)]
#[schema(as = RecurringJob)]
struct JobWire {
    name: &'static str,
    last_run_at: Option<String>,
    overdue: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<String>,
}

/// Asks the writer and the reader, who may be stuck behind a disk that does not answer.
async fn asked<T>(ask: impl Future<Output = Result<T, Problem>>) -> Result<T, Problem> {
    let late =
        || Problem::new(Kind::Unavailable, "the database does not answer", "look at the disk; the log says more");
    tokio::time::timeout(PATIENCE, ask).await.unwrap_or_else(|_| Err(late()))
}

async fn ready(shop: Shop, request: HttpRequest) -> Answer {
    let state = readiness(&shop).await;
    let ready = state.why.is_empty();
    let known = access::current().is_some() || Caller::of(&request, &shop.settings).here;
    Ok(readily(ready).json(Readiness { ready, state: known.then_some(state) }))
}

fn readily(ready: bool) -> HttpResponseBuilder {
    let mut answer = if ready { HttpResponse::Ok() } else { HttpResponse::ServiceUnavailable() };
    answer.insert_header((header::CACHE_CONTROL, "no-store"));
    answer
}

/// How one of several shops stands.
#[derive(Serialize)]
pub(crate) struct OfOne {
    pub(crate) name: String,
    /// Why it cannot do its work; empty where it can.
    pub(crate) why: Vec<String>,
}

/// How a service of several shops stands: ready when all of them are. Which they are is told where that may be known.
pub(crate) fn ready_of_all(shops: Vec<OfOne>, tell: bool) -> HttpResponse {
    let ready = shops.iter().all(|shop| shop.why.is_empty());
    let whys = |shop: &OfOne| shop.why.iter().map(|why| format!("{}: {why}", shop.name)).collect::<Vec<_>>();
    let why: Vec<_> = shops.iter().filter(|_| tell).flat_map(whys).collect();
    let shops = if tell { shops } else { vec![] };
    readily(ready).json(serde_json::json!({"ready": ready, "why": why, "shops": shops}))
}

/// How a shop stands.
pub(crate) async fn readiness(shop: &Arc<State>) -> Condition {
    let probed = asked(shop.act(|database| database.probe())).await;
    let jobs = asked(recurring::health(shop)).await;
    let rule_faults = shop.faults.read().unwrap_or_else(PoisonError::into_inner).len();
    let mut why: Vec<String> =
        [probed.as_ref().err(), jobs.as_ref().err()].into_iter().flatten().map(|p| p.detail.clone()).collect();
    why.dedup();
    let jobs = jobs.unwrap_or_default();
    why.extend(jobs.iter().filter(|job| job.overdue).map(|job| format!("the recurring job {} is overdue", job.name)));
    if let Some(since) = stuck(shop) {
        why.push(format!("no alarm was looked at for {} s", since.as_secs()));
    }
    why.extend(shop.doubt().map(|doubt| doubt.to_string()));
    if !tell::channels(&shop.settings).is_empty() {
        why.extend(shop.cannot_tell.lock().unwrap_or_else(PoisonError::into_inner).clone());
    }
    if shop.stop.is_cancelled() {
        why.push("the service is stopping".into());
    }
    Condition {
        why,
        version: env!("CARGO_PKG_VERSION"),
        sqlite: Sqlite::version(),
        store: Check { ok: probed.is_ok(), why: probed.err().map(|problem| problem.detail) },
        on_duty: shop.others.may_be().then(|| shop.others.on_duty()),
        rule_faults,
        writes_waiting: shop.writer.waiting(),
        mqtt: mqtt(shop),
        jobs: jobs
            .into_iter()
            .map(|job| JobWire {
                name: job.name,
                last_run_at: job.last_ms.map(|ms| shop.rfc3339(ms)),
                overdue: job.overdue,
                error: job.error,
            })
            .collect(),
    }
}

async fn metrics(shop: Shop) -> Answer {
    recurring::health(&shop).await?;
    Ok(HttpResponse::Ok().content_type("text/plain; version=0.0.4").body(meters::text(&shop)))
}
