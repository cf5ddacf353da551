//! The pages: the board, one glue-up or coat, and registering a glue-up. They work without a script; with one they
//! count down and follow the event stream.

use actix_web::{HttpResponse, ResponseError, error::UrlencodedError, http::header, web};
use askama::Template;
use facts::{ClampId, Fact, Id, Kind as IdKind};

use super::{Answer, Shop};
use crate::{
    compose::GlueUpRequest,
    problem::{Kind, Problem},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    let fields = web::FormConfig::default().error_handler(|e: UrlencodedError, _| {
        let kind = Kind::of_status(e.status_code());
        Problem::new(kind, format!("the form: {e}"), "send it as the form on /glue-up does").into()
    });
    config
        .app_data(fields)
        .service(web::resource("/").route(web::get().to(board)))
        .service(web::resource("/cures/{id}").route(web::get().to(cure)))
        .service(web::resource("/cures/{id}/clamps-off").route(web::post().to(clamps_off)))
        .service(web::resource("/alerts/{id}/seen").route(web::post().to(seen)))
        .service(web::resource("/glue-up").route(web::get().to(form)).route(web::post().to(register)))
        .service(web::resource("/hooks").route(web::get().to(hooks)))
        .service(web::resource("/board.css").route(web::get().to(style)))
        .service(web::resource("/board.js").route(web::get().to(script)));
}

/// Nothing from elsewhere, no script in the page itself.
const POLICY: &str =
    "default-src 'self'; style-src 'self'; script-src 'self'; frame-ancestors 'none'; form-action 'self'";

pub(super) fn show(page: &impl Template, mut builder: actix_web::HttpResponseBuilder) -> Answer {
    let html = page.render().map_err(|e| Problem::new(Kind::Internal, e.to_string(), "the log says more"))?;
    Ok(builder
        .content_type("text/html; charset=utf-8")
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .insert_header((header::CONTENT_SECURITY_POLICY, POLICY))
        .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .body(html))
}

pub(super) fn see_other(to: &str) -> Answer {
    Ok(HttpResponse::SeeOther().insert_header((header::LOCATION, to)).finish())
}

async fn style() -> HttpResponse {
    HttpResponse::Ok().content_type("text/css; charset=utf-8").body(include_str!("../../static/board.css"))
}

async fn script() -> HttpResponse {
    HttpResponse::Ok().content_type("text/javascript; charset=utf-8").body(include_str!("../../static/board.js"))
}

async fn board(shop: Shop) -> Answer {
    show(&shop.board_page(), HttpResponse::Ok())
}

async fn cure(shop: Shop, id: web::Path<String>) -> Answer {
    let bench = shop.bench();
    let cure = bench.cure(&id).ok_or_else(|| Problem::not_found("glue-up or coat", &id))?;
    show(&shop.cure_page(&bench, cure), HttpResponse::Ok())
}

async fn hooks(shop: Shop) -> Answer {
    show(&shop.hooks_page(), HttpResponse::Ok())
}

async fn clamps_off(shop: Shop, id: web::Path<String>) -> Answer {
    let fact = {
        let bench = shop.bench();
        let cure = bench.cure(&id).ok_or_else(|| Problem::not_found("glue-up or coat", &id))?;
        Fact::ClampsOff { cure: cure.begun.id.clone(), clamps: cure.clamps_on.clone() }
    };
    shop.say_fact(fact, shop.now().ms(), "bench", None).await?;
    see_other("/")
}

async fn seen(shop: Shop, id: web::Path<String>) -> Answer {
    let alert = {
        let bench = shop.bench();
        bench.alerts().get_key_value(id.as_str()).map(|(id, _)| id.clone())
    };
    let alert = alert.ok_or_else(|| Problem::not_found("alert", &id))?;
    shop.say_fact(Fact::AlertAcknowledged { alert }, shop.now().ms(), "bench", None).await?;
    see_other("/")
}

async fn form(shop: Shop) -> Answer {
    show(&shop.glue_up_page(String::new()), HttpResponse::Ok())
}

/// Fields as the form sends them; clamps come once for each that is ticked.
async fn register(shop: Shop, fields: web::Form<Vec<(String, String)>>) -> Answer {
    match registered(&shop, &fields).await {
        Ok(id) => see_other(&format!("/cures/{id}")),
        Err(problem) => show(&shop.glue_up_page(problem.to_string()), HttpResponse::UnprocessableEntity()),
    }
}

async fn registered(shop: &Shop, fields: &[(String, String)]) -> Result<String, Problem> {
    let field = |name: &str| fields.iter().find(|(n, v)| n == name && !v.is_empty()).map(|(_, v)| v.as_str());
    let (job, step) = match field("step").and_then(|both| both.split_once(' ')) {
        Some((job, step)) => (Some(id(job)?), Some(id(step)?)),
        None => (None, None),
    };
    let minutes_ago = field("minutes_ago").map(str::parse::<f64>).transpose().map_err(|_| {
        Problem::new(Kind::Invalid, "the minutes are no number", "write how many minutes ago it was closed")
    })?;
    let clamps = fields.iter().filter(|(name, _)| name == "clamp").map(|(_, value)| id(value));
    let begun = shop.glue_up(GlueUpRequest {
        id: None,
        joint: field("joint").map(id).transpose()?,
        job,
        step,
        material: field("material").map(id).transpose()?,
        lot: None,
        mix: None,
        zone: id(field("zone").unwrap_or_default())?,
        clamps: clamps.collect::<Result<Vec<ClampId>, _>>()?,
        started_at: None,
        minutes_ago,
        gap_um: None,
        porosity: None,
        surface_temp_c: None,
    })?;
    let (cure, at_ms) = (begun.id.to_string(), begun.started_at.timestamp_millis());
    shop.say_fact(Fact::CureBegun(begun.into()), at_ms, "bench", None).await?;
    Ok(cure)
}

fn id<K: IdKind>(text: &str) -> Result<Id<K>, Problem> {
    Ok(Id::new(text.to_string())?)
}
