//! Every address of the service. One resource, one file: request, handler, answer.

mod alerts;
mod bench_plan;
mod board;
pub(crate) mod calendars;
mod clamps;
mod cures;
mod days;
pub(crate) mod deliveries;
mod events;
mod export;
mod finish;
pub(crate) mod fits;
mod health;
mod hooks;
mod import;
mod instruments;
mod jobs;
mod joints;
pub(crate) mod loads;
mod lots;
mod made;
mod materials;
mod milestones;
pub(crate) mod mixes;
pub(crate) mod moisture;
mod observations;
mod plans;
pub(crate) mod plates;
pub(crate) mod push;
pub(crate) mod quarantine;
mod readings;
pub(crate) mod rules;
pub(crate) mod schedules;
mod senml;
pub(crate) mod sensors;
mod series;
pub(crate) mod setups;
pub(crate) mod spray;
mod stock;
mod string_up;
pub(crate) mod strings;
mod tension;
pub(crate) mod tokens;
mod zones;

use std::sync::{Arc, LazyLock};

use actix_web::{
    Error, HttpRequest, HttpResponse, ResponseError,
    body::{self, BodySize, BoxBody, MessageBody, SizedStream},
    dev::{ServiceRequest, ServiceResponse},
    error::{PathError, QueryPayloadError},
    http::{Method, header, header::HeaderValue},
    middleware::Next,
    web,
};
use serde::Deserialize;
use utoipa::openapi::OpenApi;

use crate::{
    openapi::Api,
    pages,
    problem::{Kind, Problem},
    state::State,
    wire::List,
};

pub(crate) use finish::{ABRADE, RecoatWire};
pub(crate) use health::{OfOne, alive, readiness, ready_of_all, stuck};
pub(crate) use string_up::answered as string_up_of;

/// The state as handlers take it.
pub(crate) type Shop = web::Data<Arc<State>>;
/// The document, made once.
pub(crate) static DOCUMENT: LazyLock<OpenApi> = LazyLock::new(described);
/// What a handler answers.
pub(crate) type Answer = Result<HttpResponse, Problem>;

/// Every address and its methods, for `GET /api/v1`.
const ADDRESSES: &[&str] = &[
    "GET /api/v1",
    "GET /api/v1/openapi.json",
    "GET POST /api/v1/zones",
    "GET PUT /api/v1/zones/{id}",
    "GET POST /api/v1/zones/{id}/readings",
    "GET /api/v1/zones/{id}/series",
    "GET /api/v1/zones/{id}/chart.svg",
    "POST /api/v1/zones/{id}/readings/csv",
    "POST /api/v1/readings",
    "POST /api/v1/readings/senml",
    "GET /api/v1/zones/{id}/quarantine",
    "POST /api/v1/zones/{id}/quarantine/{held}/release",
    "POST /api/v1/zones/{id}/quarantine/{held}/discard",
    "GET /api/v1/zones/{id}/sensors",
    "GET POST /api/v1/sensors/{id}/calibrations",
    "GET POST /api/v1/zones/{id}/plans",
    "GET /api/v1/zones/{id}/plans/{plan}",
    "POST /api/v1/zones/{id}/plans/{plan}/cancel",
    "GET POST /api/v1/instruments",
    "GET /api/v1/instruments/{id}",
    "POST /api/v1/instruments/{id}/move",
    "GET POST /api/v1/instruments/{id}/plates",
    "GET /api/v1/instruments/{id}/moisture",
    "GET /api/v1/instruments/{id}/cracks",
    "GET POST /api/v1/instruments/{id}/strings",
    "GET /api/v1/instruments/{id}/string-up",
    "GET /api/v1/instruments/{id}/string-up/chart.svg",
    "GET POST /api/v1/instruments/{id}/string-stages",
    "GET POST /api/v1/instruments/{id}/setups",
    "GET /api/v1/instruments/{id}/setups/chart.svg",
    "GET POST /api/v1/jobs",
    "GET POST /api/v1/plan",
    "GET /api/v1/jobs/{id}",
    "POST /api/v1/jobs/{id}/close",
    "POST /api/v1/jobs/{id}/reopen",
    "POST /api/v1/jobs/{id}/notes",
    "POST /api/v1/jobs/{id}/schedules",
    "POST /api/v1/jobs/{id}/steps/{step}/done",
    "GET POST /api/v1/joints",
    "GET /api/v1/joints/{id}",
    "GET POST /api/v1/joints/{id}/load",
    "GET /api/v1/string-tension",
    "GET /api/v1/string-families",
    "GET POST /api/v1/clamps",
    "GET /api/v1/clamps/{id}",
    "POST /api/v1/clamps/{id}/put-away",
    "POST /api/v1/clamps/{id}/bring-back",
    "GET /api/v1/days",
    "PUT /api/v1/days/{date}",
    "GET POST /api/v1/observations",
    "GET /api/v1/observations/{id}",
    "POST /api/v1/observations/{id}/withdraw",
    "POST /api/v1/rules/{material}/fit",
    "GET /api/v1/materials",
    "GET /api/v1/materials/{id}",
    "GET /api/v1/rule-changes",
    "GET /api/v1/rules/functions",
    "POST /api/v1/rules/from-sheet",
    "POST /api/v1/rules/check",
    "POST /api/v1/rules/try",
    "GET PUT /api/v1/rules/{id}",
    "GET /api/v1/rules/{id}/versions",
    "GET /api/v1/rules/{id}/versions/{version}",
    "GET /api/v1/rules/{id}/diff",
    "POST /api/v1/rules/{id}/what-would-change",
    "GET POST /api/v1/lots",
    "GET /api/v1/lots/{id}",
    "POST /api/v1/lots/{id}/open",
    "POST /api/v1/lots/{id}/use",
    "POST /api/v1/lots/{id}/close",
    "GET /api/v1/stock",
    "GET POST /api/v1/mixes",
    "GET /api/v1/mixes/{id}",
    "GET /api/v1/mix-amounts",
    "GET /api/v1/spray-window",
    "GET /api/v1/schedules",
    "GET /api/v1/schedules/{id}",
    "POST /api/v1/schedules/{id}/jobs",
    "GET /api/v1/instruments/{id}/finish",
    "GET POST /api/v1/glue-ups",
    "GET /api/v1/glue-ups/{id}",
    "GET /api/v1/glue-ups/{id}/milestones",
    "POST /api/v1/glue-ups/{id}/clamps-off",
    "POST /api/v1/glue-ups/{id}/move",
    "POST /api/v1/glue-ups/{id}/rule",
    "POST /api/v1/glue-ups/{id}/withdraw",
    "GET POST /api/v1/coats",
    "GET /api/v1/coats/{id}",
    "GET /api/v1/coats/{id}/milestones",
    "POST /api/v1/coats/{id}/exposures",
    "POST /api/v1/coats/{id}/move",
    "POST /api/v1/coats/{id}/rule",
    "POST /api/v1/coats/{id}/withdraw",
    "GET /api/v1/milestones",
    "GET /api/v1/hooks",
    "GET /api/v1/instruments/{id}/held-back",
    "GET /api/v1/alerts",
    "GET /api/v1/alerts/{id}",
    "POST /api/v1/alerts/{id}/acknowledge",
    "POST /api/v1/alerts/{id}/snooze",
    "GET /api/v1/deliveries",
    "GET /api/v1/channels",
    "POST /api/v1/channels/{id}/test",
    "GET /api/v1/calendars",
    "GET /api/v1/push-key",
    "GET POST /api/v1/push-subscriptions",
    "POST /api/v1/push-subscriptions/{id}/drop",
    "GET /api/v1/board",
    "GET /api/v1/events",
    "GET /api/v1/export",
    "GET POST /api/v1/tokens",
    "GET /api/v1/tokens/{id}",
    "POST /api/v1/tokens/{id}/revoke",
    "GET /api/v1/export/{table}.csv",
    "GET /health/live",
    "GET /health/ready",
    "GET /metrics",
];

pub(crate) fn configure(config: &mut web::ServiceConfig) {
    let path = web::PathConfig::default().error_handler(|e: PathError, _| {
        Problem::new(Kind::Malformed, format!("the address: {e}"), "ids are lower case letters, digits and hyphens")
            .into()
    });
    let query = web::QueryConfig::default().error_handler(|e: QueryPayloadError, _| {
        Problem::new(Kind::Malformed, format!("the query: {e}"), "the page /api lists the queries an address takes")
            .into()
    });
    config
        .app_data(path)
        .app_data(query)
        .service(
            web::scope("/api/v1")
                .service(web::resource("").route(web::get().to(index)))
                .service(web::resource("/openapi.json").route(web::get().to(document)))
                // Addresses are tried in order: those asked most come first.
                .configure(cures::configure)
                .configure(zones::configure)
                .configure(readings::configure)
                .configure(series::configure)
                .configure(import::configure)
                .configure(quarantine::configure)
                .configure(senml::configure)
                .configure(sensors::configure)
                .configure(plans::configure)
                .configure(instruments::configure)
                .configure(plates::configure)
                .configure(moisture::configure)
                .configure(strings::configure)
                .configure(string_up::configure)
                .configure(setups::configure)
                .configure(tension::configure)
                .configure(jobs::configure)
                .configure(bench_plan::configure)
                .configure(joints::configure)
                .configure(loads::configure)
                .configure(clamps::configure)
                .configure(days::configure)
                .configure(observations::configure)
                .configure(fits::configure)
                .configure(hooks::configure)
                .configure(materials::configure)
                .configure(rules::configure)
                .configure(lots::configure)
                .configure(stock::configure)
                .configure(mixes::configure)
                .configure(spray::configure)
                .configure(schedules::configure)
                .configure(finish::configure)
                .configure(milestones::configure)
                .configure(alerts::configure)
                .configure(deliveries::configure)
                .configure(calendars::configure)
                .configure(push::configure)
                .configure(board::configure)
                .configure(events::configure)
                .configure(export::configure)
                .configure(tokens::configure)
                .default_service(web::to(nowhere)),
        )
        .configure(calendars::configure_feed)
        .configure(push::configure_scripts)
        .configure(health::configure)
        // Last: they answer to every address that is left.
        .configure(pages::configure)
        .default_service(web::to(nowhere));
}

/// What the API is, for `GET /api/v1/openapi.json` and the page that shows it.
fn described() -> OpenApi {
    let mut api = Api::default();
    api.get("", "Every address and its methods").lists::<String>();
    api.get("/openapi.json", "This document").gives_media("application/json");
    for describe in [
        zones::describe,
        readings::describe,
        series::describe,
        import::describe,
        quarantine::describe,
        senml::describe,
        sensors::describe,
        plans::describe,
        instruments::describe,
        plates::describe,
        moisture::describe,
        strings::describe,
        string_up::describe,
        setups::describe,
        tension::describe,
        joints::describe,
        loads::describe,
        clamps::describe,
        days::describe,
        lots::describe,
        stock::describe,
        materials::describe,
        rules::describe,
        mixes::describe,
        spray::describe,
        schedules::describe,
        cures::describe,
        observations::describe,
        bench_plan::describe,
        fits::describe,
        finish::describe,
        jobs::describe,
        milestones::describe,
        hooks::describe,
        alerts::describe,
        deliveries::describe,
        calendars::describe,
        push::describe,
        board::describe,
        events::describe,
        export::describe,
        tokens::describe,
        health::describe,
    ] {
        describe(&mut api);
    }
    api.document()
}

async fn index() -> HttpResponse {
    HttpResponse::Ok().json(List::whole(ADDRESSES))
}

async fn document() -> HttpResponse {
    HttpResponse::Ok().json(&*DOCUMENT)
}

pub(crate) async fn nowhere(request: HttpRequest) -> Answer {
    Err(Problem::no_such_address(&request))
}

/// A body that is not sent, of the length it would have: the answer to HEAD (RFC 9110, 9.3.2).
fn unsent(body: &impl MessageBody) -> BoxBody {
    match body.size() {
        BodySize::Sized(length) => {
            SizedStream::new(length, futures_util::stream::empty::<Result<web::Bytes, Error>>()).boxed()
        }
        _ => BoxBody::new(body::None::new()),
    }
}

/// The methods of an address, for the header Allow (RFC 9110, 15.5.6).
fn allowed(path: &str) -> Option<HeaderValue> {
    let fits = |pattern: &str| {
        let (ours, theirs) = (pattern.split('/'), path.split('/'));
        ours.clone().count() == theirs.clone().count()
            && ours.zip(theirs).all(|(ours, theirs)| ours == theirs || ours.starts_with('{'))
    };
    let split = ADDRESSES.iter().filter_map(|line| line.rsplit_once(' '));
    let (methods, _) = split.into_iter().find(|(_, pattern)| fits(pattern))?;
    HeaderValue::from_str(&methods.replace("GET", "GET HEAD").replace(' ', ", ")).ok()
}

/// Turns answers the framework makes itself (405 and the like) into problem documents, and answers HEAD as GET.
pub(crate) async fn as_problem(
    mut request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let head = request.method() == Method::HEAD;
    if head {
        request.head_mut().method = Method::GET;
    }
    let answered = next.call(request).await?;
    if head {
        return Ok(answered.map_body(|_, body| unsent(&body)));
    }
    let status = answered.status();
    let bare = !answered.headers().contains_key(header::CONTENT_TYPE);
    if (status.is_client_error() || status.is_server_error()) && bare {
        let asked = answered.request();
        let what = format!("{} {} answers {status}", asked.method(), asked.path());
        let mut answer = Problem::of_framework(status, &what).error_response();
        if status == Kind::Method.row().2
            && let Some(methods) = allowed(asked.path())
        {
            answer.headers_mut().insert(header::ALLOW, methods);
        }
        return Ok(answered.into_response(answer).map_into_boxed_body());
    }
    Ok(answered.map_into_boxed_body())
}

/// Which part of a list is wanted.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Paging {
    /// The id after which to go on: `next` of the part before.
    after: Option<String>,
    /// How many, 1 to 1000.
    limit: Option<usize>,
}

impl Paging {
    /// One part of a list in order of id.
    pub(crate) fn part<K: AsRef<str>, V, T>(
        &self,
        all: impl Iterator<Item = (K, V)>,
        wire: impl Fn(V) -> T,
    ) -> Result<List<T>, Problem> {
        let limit = self.limit.unwrap_or(100);
        if !(1..=1000).contains(&limit) {
            let detail = format!("limit is {limit}; it must be 1 to 1000");
            return Err(Problem::new(Kind::Invalid, detail, "leave it out for 100").about("limit"));
        }
        let after = self.after.as_deref();
        let mut rest = all.filter(|(id, _)| after.is_none_or(|after| id.as_ref() > after)).peekable();
        let (mut items, mut last) = (Vec::new(), None);
        while items.len() < limit
            && let Some((id, value)) = rest.next()
        {
            last = Some(id.as_ref().to_string());
            items.push(wire(value));
        }
        Ok(List { items, next: rest.peek().and(last) })
    }
}

/// The id of the thing a request made: this time, or when the same request first came.
pub(crate) fn id_of(said: &store::Said, id: &str) -> String {
    match said {
        store::Said::Before(kept) => kept.body.clone(),
        _ => id.into(),
    }
}
