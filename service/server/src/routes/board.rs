//! The board as data: what is ready, what cures, what is next.

use actix_web::{HttpResponse, web};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Shop};
use crate::{
    alerts::words::{self, ESTIMATE},
    openapi::Api,
    problem::{Kind, Problem},
    state::State,
    wire::ClimateWire,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/board").route(web::get().to(board)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/board", "What cures, what to do next").query::<Size>(json!({})).gives::<BoardWire>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Size {
    /// How many glue-ups and coats at most, 1 to 1000, and how many zones.
    limit: Option<usize>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct BoardWire {
    at: String,
    cures: Vec<CureLineWire>,
    next_steps: Vec<NextWire>,
    /// The first zones, in the order they were set up; `GET /api/v1/zones` lists all.
    zones: Vec<ZoneWire>,
    clamps_free: Vec<String>,
    alerts_open: usize,
    estimate: &'static str,
}

#[derive(Serialize, utoipa::ToSchema)]
struct CureLineWire {
    id: String,
    place: String,
    material: String,
    zone: String,
    /// Clamps that can come off now.
    take_off: Vec<String>,
    next_stage: Option<String>,
    /// When that may be relied on.
    next_at: Option<String>,
    climate: ClimateWire,
    /// Whether the air broke a limit of its rule.
    spoiled: bool,
    /// Where another coat stands next: whether its window is open.
    #[serde(skip_serializing_if = "Option::is_none")]
    recoat: Option<super::RecoatWire>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct NextWire {
    job: String,
    title: String,
    instrument: String,
    step: String,
    step_title: String,
    waits_for: Option<String>,
}

#[derive(Serialize, utoipa::ToSchema)]
#[schema(as = ZoneLine)]
struct ZoneWire {
    id: String,
    name: String,
    temp_c: f64,
    rh_pct: f64,
    read_at: Option<String>,
}

async fn board(shop: Shop, size: web::Query<Size>) -> Answer {
    let limit = size.limit.unwrap_or(200);
    if !(1..=1000).contains(&limit) {
        let detail = format!("limit is {limit}; it must be 1 to 1000");
        return Err(Problem::new(Kind::Invalid, detail, "leave it out for 200").about("limit"));
    }
    Ok(HttpResponse::Ok().json(wire(&shop, limit)))
}

fn wire(state: &State, limit: usize) -> BoardWire {
    let (bench, now_ms) = (state.bench(), state.now().ms());
    let board = bench.board(now_ms, limit);
    let cure = |line: &clock::CureLine<'_>| CureLineWire {
        id: line.cure.begun.id.to_string(),
        place: words::place(&bench, line.cure),
        material: line.cure.begun.material.to_string(),
        zone: line.zone.to_string(),
        take_off: match line.release_clamps {
            true => line.cure.clamps_on.iter().map(ToString::to_string).collect(),
            false => vec![],
        },
        next_stage: line.next.map(|m| line.cure.begun.milestones[m].stage.clone()),
        next_at: line.next_ms.map(|ms| state.rfc3339(ms)),
        climate: state.climate_wire(line.climate),
        spoiled: !line.broken.is_empty(),
        recoat: line.cure.begun.coat.as_ref().map(|_| state.recoat_wire(&bench, line.cure, now_ms)),
    };
    let next = |next: &clock::NextStep<'_>| NextWire {
        job: next.job.to_string(),
        title: next.title.into(),
        instrument: next.instrument.to_string(),
        step: next.step.id.to_string(),
        step_title: next.step.title.clone(),
        waits_for: next.waits_for.as_ref().map(ToString::to_string),
    };
    let zone = |line: &clock::ZoneLine<'_>| ZoneWire {
        id: line.zone.to_string(),
        name: line.name.into(),
        temp_c: (line.air.temp_c * 10.0).round() / 10.0,
        rh_pct: (line.air.rh_pct * 10.0).round() / 10.0,
        read_at: line.read_ms.map(|ms| state.rfc3339(ms)),
    };
    BoardWire {
        at: state.rfc3339(now_ms),
        cures: board.cures.iter().map(cure).collect(),
        next_steps: board.next.iter().map(next).collect(),
        zones: board.zones.iter().map(zone).collect(),
        clamps_free: board.clamps.iter().filter(|c| c.is_free()).map(|c| c.clamp.to_string()).collect(),
        alerts_open: board.alerts_open,
        estimate: ESTIMATE,
    }
}
