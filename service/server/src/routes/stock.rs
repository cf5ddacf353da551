//! The shelf: opening a bottle, taking from it, throwing it out, and what it all comes to.

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use clock::{LotLine, LotState, MaterialLine};
use facts::{Amount, CureId, Fact, LotClosed, LotId, LotUsed, MaterialId};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Shop};
use crate::{body::Body, compose::When, openapi::Api, problem::Problem, state::State};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/lots/{id}/open").route(web::post().to(open)))
        .service(web::resource("/lots/{id}/use").route(web::post().to(take_from)))
        .service(web::resource("/lots/{id}/close").route(web::post().to(close)))
        .service(web::resource("/stock").route(web::get().to(stock)));
}

pub(super) fn describe(api: &mut Api) {
    api.post("/lots/{id}/open", "It is opened").takes::<Open>(json!({})).makes::<LotWire>();
    api.post("/lots/{id}/use", "Some of it is used").takes::<Use>(json!({"used": {"ml": 5}})).makes::<LotWire>();
    api.post("/lots/{id}/close", "It is empty or thrown out")
        .takes::<Close>(json!({"reason": "empty"}))
        .makes::<LotWire>();
    api.get("/stock", "What is left, what to buy").gives::<StockWire>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Open {
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
}

async fn open(shop: Shop, id: web::Path<String>, body: Body<Open>) -> Answer {
    let lot = known(&shop, &id)?;
    let when = When { at: body.value.at, minutes_ago: body.value.minutes_ago };
    say(&shop, &body, when, &id, Fact::LotOpened { lot }).await
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Use {
    /// How much: {"ml": 5} or {"g": 5}.
    #[schema(value_type = crate::twins::Amount)]
    used: Amount,
    /// The glue-up or coat it was for.
    cure: Option<CureId>,
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
}

async fn take_from(shop: Shop, id: web::Path<String>, body: Body<Use>) -> Answer {
    let lot = known(&shop, &id)?;
    let when = When { at: body.value.at, minutes_ago: body.value.minutes_ago };
    let fact = Fact::LotUsed(LotUsed { lot, cure: body.value.cure.clone(), amount: body.value.used });
    say(&shop, &body, when, &id, fact).await
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Close {
    /// What is thrown out with it; what was never said to be used, if not said.
    #[schema(value_type = Option<crate::twins::Amount>)]
    left: Option<Amount>,
    #[serde(default)]
    reason: String,
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
}

async fn close(shop: Shop, id: web::Path<String>, body: Body<Close>) -> Answer {
    let lot = known(&shop, &id)?;
    let when = When { at: body.value.at, minutes_ago: body.value.minutes_ago };
    let fact = Fact::LotClosed(LotClosed { lot, left: body.value.left, reason: body.value.reason.clone() });
    say(&shop, &body, when, &id, fact).await
}

async fn say<T>(shop: &Shop, body: &Body<T>, when: When, id: &str, fact: Fact) -> Answer {
    let at_ms = when.ms(shop.now().ms())?;
    shop.say_fact(fact, at_ms, "bench", body.answer(id)).await?;
    let lots = wire(shop).lots;
    let lot = lots.into_iter().find(|lot| lot.id == id).ok_or_else(|| Problem::not_found("lot", id))?;
    Ok(HttpResponse::Created().json(lot))
}

fn known(shop: &State, id: &str) -> Result<LotId, Problem> {
    let bench = shop.bench();
    bench.lots().get(id).map(|lot| lot.id.clone()).ok_or_else(|| Problem::not_found("lot", id))
}

#[derive(Serialize, utoipa::ToSchema)]
struct StockWire {
    lots: Vec<LotWire>,
    materials: Vec<MaterialWire>,
    /// What the figures are worth.
    note: &'static str,
}

const NOTE: &str = "Storage times are those of the class, not of the product: its label and data sheet decide. Costs and \
     waste count what was said to be used and thrown out, and nothing else.";

#[derive(Serialize, utoipa::ToSchema)]
#[schema(as = LotStock)]
struct LotWire {
    id: String,
    material: String,
    label: String,
    state: &'static str,
    opened_at: Option<String>,
    keeps_until: Option<String>,
    #[schema(value_type = Option<crate::twins::Amount>)]
    content: Option<Amount>,
    #[schema(value_type = Option<crate::twins::Amount>)]
    left: Option<Amount>,
    cost: Option<f64>,
    used: f64,
    /// Glue-ups and coats that name it and do not say how much.
    uses_unstated: usize,
    cost_by_job: Vec<JobCostWire>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct JobCostWire {
    /// None for what was used for no job.
    job: Option<String>,
    cost: f64,
}

#[derive(Serialize, utoipa::ToSchema)]
#[schema(as = MaterialStock)]
struct MaterialWire {
    material: String,
    unit: &'static str,
    good: usize,
    left: f64,
    used_per_day: Option<f64>,
    buy_soon: Option<String>,
    waste: WasteWire,
}

#[derive(Serialize, utoipa::ToSchema)]
struct WasteWire {
    /// Bottles that left the shelf, with what was in them and what was thrown out.
    closed: usize,
    bought: f64,
    thrown_out: f64,
    wasted_pct: Option<f64>,
    /// Cost of each unit really used: a smaller container pays up to this price for the same unit.
    paid_per_used: Option<f64>,
}

async fn stock(shop: Shop) -> Answer {
    Ok(HttpResponse::Ok().json(wire(&shop)))
}

fn wire(state: &State) -> StockWire {
    let (bench, now_ms) = (state.bench(), state.now().ms());
    let storage_days = |material: &MaterialId| {
        let rule = state.rulebook.rule(bench.in_force().get(material)?).ok()?;
        rule.sheet.storage_days
    };
    let lines = bench.lot_lines(now_ms, storage_days);
    let materials = bench.material_lines(&lines, now_ms);
    StockWire {
        lots: lines.iter().map(|line| lot(state, line)).collect(),
        materials: materials.into_iter().map(|(id, line)| material(id, line)).collect(),
        note: NOTE,
    }
}

fn lot(state: &State, line: &LotLine<'_>) -> LotWire {
    let job = |(job, cost): (&Option<&facts::JobId>, &f64)| JobCostWire {
        job: job.map(ToString::to_string),
        cost: round(*cost),
    };
    LotWire {
        id: line.lot.id.to_string(),
        material: line.lot.material.to_string(),
        label: line.lot.label.clone(),
        state: match line.state {
            LotState::Good => "good",
            LotState::Stale => "stale",
            LotState::Closed => "closed",
        },
        opened_at: line.lot.opened_at.map(|at| state.rfc3339(at.timestamp_millis())),
        keeps_until: line.keeps_until_ms.map(|ms| state.rfc3339(ms)),
        content: line.lot.content,
        left: line.left.map(|left| left.of(round(left.get()))),
        cost: line.lot.cost,
        used: round(line.used),
        uses_unstated: line.unstated,
        cost_by_job: line.cost_by_job.iter().map(job).collect(),
    }
}

fn material(id: &MaterialId, line: MaterialLine) -> MaterialWire {
    let wasted_pct = line.wasted().map(|share| round(share * 100.0));
    MaterialWire {
        material: id.to_string(),
        unit: line.unit,
        good: line.good,
        left: round(line.left),
        used_per_day: line.used_per_day.map(round),
        buy_soon: line.buy_soon,
        waste: WasteWire {
            closed: line.closed,
            bought: round(line.bought),
            thrown_out: round(line.thrown_out),
            wasted_pct,
            paid_per_used: line.paid_per_used.map(round),
        },
    }
}

/// Four digits after the point: a drop of glue costs less than a cent.
fn round(number: f64) -> f64 {
    (number * 1e4).round() / 1e4
}
