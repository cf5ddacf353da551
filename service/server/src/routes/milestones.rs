//! What comes next over all open glue-ups and coats, in order of time.

use actix_web::{HttpResponse, web};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Shop};
use crate::{alerts::words, openapi::Api, wire::List};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/milestones").route(web::get().to(list)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/milestones", "Milestones ahead, soonest first").query::<Ahead>(json!({})).lists::<Coming>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Ahead {
    /// How far to look, hours; 48 if not said.
    within_h: Option<f64>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct Coming {
    cure: String,
    place: String,
    stage: String,
    #[schema(value_type = crate::twins::Meets)]
    meets: facts::Meets,
    /// When it is told: the safe end of what opens, the early end of what closes.
    at: String,
}

async fn list(shop: Shop, ahead: web::Query<Ahead>) -> Answer {
    let within_h = ahead.within_h.unwrap_or(48.0);
    let mend = "for example within_h=24";
    let within_h = facts::within("within_h", within_h, 0.0, 24.0 * 366.0, "h", mend)?;
    let (bench, now_ms) = (shop.bench(), shop.now().ms());
    let until_ms = now_ms + (within_h * 3_600_000.0) as i64;
    let mut coming = Vec::new();
    for cure in bench.cures().iter().filter(|cure| cure.is_open()) {
        for (m, milestone) in bench.milestones(cure, now_ms).into_iter().enumerate() {
            let at_ms = match milestone.target.meets {
                facts::Meets::Opens => milestone.safe_ms,
                facts::Meets::Closes => milestone.earliest_ms,
            };
            if let Some(at_ms) = at_ms.filter(|at_ms| *at_ms <= until_ms && cure.told(m).is_none()) {
                coming.push((at_ms, cure, milestone.target));
            }
        }
    }
    coming.sort_by_key(|(at_ms, cure, _)| (*at_ms, cure.recorded_ms));
    let wire = |(at_ms, cure, target): (i64, &clock::Cure, &facts::TargetAge)| Coming {
        cure: cure.begun.id.to_string(),
        place: words::place(&bench, cure),
        stage: target.stage.clone(),
        meets: target.meets,
        at: shop.rfc3339(at_ms),
    };
    Ok(HttpResponse::Ok().json(List::whole(coming.into_iter().map(wire))))
}
