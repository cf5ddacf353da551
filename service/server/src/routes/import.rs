//! A file of readings for a zone: CSV in whatever form the logger writes it.

use actix_web::{HttpRequest, HttpResponse, http::header, web};
use serde_json::json;

use super::{Answer, Shop};
use crate::{
    intake::csv::Imported,
    intake::{columns::Options, csv},
    openapi::Api,
    problem::{Kind, Problem},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/zones/{id}/readings/csv").route(web::post().to(import)));
}

pub(super) fn describe(api: &mut Api) {
    api.post("/zones/{id}/readings/csv", "Readings from a file of rows")
        .query::<Options>(json!({}))
        .takes_media("text/csv", "time,temp_c,rh_pct\n2026-01-05T10:00:00Z,20.1,48\n")
        .gives::<Imported>()
        .makes::<Imported>();
}

async fn import(
    shop: Shop,
    id: web::Path<String>,
    options: web::Query<Options>,
    request: HttpRequest,
    body: web::Payload,
) -> Answer {
    let zone = shop.bench().zone(&id).map(|set| set.id.clone()).ok_or_else(|| Problem::not_found("zone", &id))?;
    let media = request.headers().get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
    let essence = media.split(';').next().unwrap_or_default().trim();
    if !essence.eq_ignore_ascii_case("text/csv") {
        let mend = "send the file with the header Content-Type: text/csv";
        return Err(Problem::new(Kind::Media, format!("the content type is \"{media}\""), mend));
    }
    let imported = csv::import(&shop, zone, options.into_inner(), body).await?;
    if imported.dry_run {
        return Ok(HttpResponse::Ok().json(imported));
    }
    let named = |line: usize, field: Option<&str>| format!("line {line}: {}", field.unwrap_or_default());
    match imported.tally.useless(named) {
        Some(problem) => Err(problem),
        None => Ok(HttpResponse::Created().json(imported)),
    }
}
