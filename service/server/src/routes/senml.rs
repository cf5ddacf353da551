//! SenML packs over HTTP (RFC 8428).

use actix_web::web;
use facts::{SensorId, ZoneId};
use serde::Deserialize;
use serde_json::json;

use super::{Answer, Shop, readings::take};
use crate::{
    body::SenmlBody,
    intake::{Tally, senml},
    openapi::Api,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/readings/senml").route(web::post().to(pack)));
}

pub(super) fn describe(api: &mut Api) {
    api.post("/readings/senml", "Readings as SenML (RFC 8428)")
.query::<From>(json!({}))
.takes_media(
"application/senml+json",
json!([{"bn": "bench/s-1/", "n": "temperature", "u": "Cel", "v": 20.2}, {"n": "humidity", "u": "%RH", "v": 48}]),
)
.makes::<Tally>();
}

/// Where all of a pack is from, for devices whose names say nothing.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct From {
    zone: Option<ZoneId>,
    sensor: Option<SensorId>,
}

async fn pack(shop: Shop, from: web::Query<From>, body: SenmlBody) -> Answer {
    let From { zone, sensor } = from.into_inner();
    let (resolved, mut refused) = senml::resolve(&body.0.value, shop.now().ms())?;
    let said = zone.map(|zone| (zone, sensor));
    let (offers, unmade) = senml::readings(resolved, said.as_ref(), &shop.settings.senml.names);
    refused.extend(unmade);
    let name = |row: usize, field: Option<&str>| format!("[{row}].{}", field.unwrap_or_default());
    take(&shop, "senml", offers, refused, &body.0, name).await
}
