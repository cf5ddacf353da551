//! Whether it lives, whether it can do its work, and how it has been doing.

use std::sync::PoisonError;

use actix_web::{HttpResponse, http::header, web};
use serde::Serialize;
use store::Sqlite;

use super::{Answer, Shop};
use crate::{problem::Problem, recurring, state::State};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/livez").route(web::get().to(alive)))
        .service(web::resource("/readyz").route(web::get().to(ready)))
        .service(web::resource("/metrics").route(web::get().to(metrics)));
}

async fn alive() -> HttpResponse {
    HttpResponse::Ok().content_type("text/plain").body("alive\n")
}

#[derive(Serialize)]
struct Readiness {
    ready: bool,
    version: &'static str,
    sqlite: &'static str,
    store: Check,
    /// Rule files whose last good version is still in force.
    rule_faults: usize,
    writes_waiting: usize,
    /// The way to the broker, if one is set. Without it the service does its work, so it is ready all the same.
    #[serde(skip_serializing_if = "Option::is_none")]
    mqtt: Option<MqttWire>,
    jobs: Vec<JobWire>,
}

#[derive(Serialize)]
struct Check {
    ok: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    why: Option<String>,
}

#[derive(Serialize)]
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

#[derive(Serialize)]
struct JobWire {
    name: &'static str,
    last_run_at: Option<String>,
    overdue: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    error: Option<String>,
}

async fn ready(shop: Shop) -> Answer {
    let probed: Result<(), Problem> = shop.act(|database| database.probe()).await;
    let jobs = recurring::health(&shop).await?;
    let rule_faults = shop.faults.read().unwrap_or_else(PoisonError::into_inner).len();
    let ready = probed.is_ok() && jobs.iter().all(|job| !job.overdue);
    let body = Readiness {
        ready,
        version: env!("CARGO_PKG_VERSION"),
        sqlite: Sqlite::version(),
        store: Check { ok: probed.is_ok(), why: probed.err().map(|problem| problem.detail) },
        rule_faults,
        writes_waiting: shop.writer.waiting(),
        mqtt: mqtt(&shop),
        jobs: jobs
            .into_iter()
            .map(|job| JobWire {
                name: job.name,
                last_run_at: job.last_ms.map(|ms| shop.rfc3339(ms)),
                overdue: job.overdue,
                error: job.error,
            })
            .collect(),
    };
    let mut answer = if ready { HttpResponse::Ok() } else { HttpResponse::ServiceUnavailable() };
    Ok(answer.insert_header((header::CACHE_CONTROL, "no-store")).json(body))
}

async fn metrics(shop: Shop) -> Answer {
    recurring::health(&shop).await?;
    {
        let bench = shop.bench();
        let open = bench.cures().iter().filter(|cure| cure.is_open()).count();
        metrics::gauge!("benchclock_cures_open").set(open as f64);
        metrics::gauge!("benchclock_writes_waiting").set(shop.writer.waiting() as f64);
    }
    Ok(HttpResponse::Ok().content_type("text/plain; version=0.0.4").body(shop.metrics.render()))
}
