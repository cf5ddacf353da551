//! Alerts: what was told, to whom it went, and answering it.

use actix_web::{HttpResponse, web};
use facts::{AlertId, Fact};
use serde::{Deserialize, Serialize};

use super::{
    Answer, Shop,
    deliveries::{DeliveryWire, wire},
};
use crate::{
    body::Body,
    now::instant,
    problem::{Kind, Problem},
    wire::{AlertWire, List},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/alerts").route(web::get().to(list)))
        .service(web::resource("/alerts/{id}").route(web::get().to(one)))
        .service(web::resource("/alerts/{id}/acknowledge").route(web::post().to(acknowledge)))
        .service(web::resource("/alerts/{id}/snooze").route(web::post().to(snooze)));
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Which {
    /// Only those in this state: open, acknowledged, snoozed, retracted.
    state: Option<String>,
    /// Only those told before this place in the journal: `next` of the part before.
    before: Option<i64>,
}

const PART: usize = 100;

async fn list(shop: Shop, which: web::Query<Which>) -> Answer {
    if let Some(state) = &which.state
        && !["open", "acknowledged", "snoozed", "retracted"].contains(&state.as_str())
    {
        let detail = format!("there is no state \"{state}\"");
        let mend = "open, acknowledged, snoozed or retracted";
        return Err(Problem::new(Kind::Invalid, detail, mend).about("state"));
    }
    let bench = shop.bench();
    let of_state = |alert: &&clock::Alert| {
        let wanted = which.state.as_deref();
        wanted.is_none_or(|wanted| wanted == state_word(alert.state))
            && which.before.is_none_or(|before| alert.seq < before)
    };
    let mut alerts: Vec<_> = bench.alerts().values().filter(of_state).collect();
    alerts.sort_by_key(|alert| std::cmp::Reverse(alert.seq));
    let next = alerts.get(PART).and_then(|_| alerts.get(PART - 1)).map(|last| last.seq.to_string());
    let items = alerts.into_iter().take(PART).map(|alert| shop.alert_wire(alert)).collect();
    Ok(HttpResponse::Ok().json(List { items, next }))
}

fn state_word(state: clock::AlertState) -> &'static str {
    match state {
        clock::AlertState::Open => "open",
        clock::AlertState::Acknowledged => "acknowledged",
        clock::AlertState::Snoozed(_) => "snoozed",
        clock::AlertState::Retracted => "retracted",
    }
}

#[derive(Serialize)]
struct WithDeliveries {
    #[serde(flatten)]
    alert: AlertWire,
    deliveries: Vec<DeliveryWire>,
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    answer(&shop, &id).await
}

async fn answer(shop: &Shop, id: &str) -> Answer {
    let known = {
        let bench = shop.bench();
        bench.alerts().get(id).map(|alert| shop.alert_wire(alert))
    };
    let alert = known.ok_or_else(|| Problem::not_found("alert", id))?;
    let asked = id.to_string();
    let deliveries = shop.read(move |database| database.deliveries_of(&asked)).await?;
    let deliveries = deliveries.into_iter().map(|d| wire(shop, d)).collect();
    Ok(HttpResponse::Ok().json(WithDeliveries { alert, deliveries }))
}

/// A command without arguments.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Nothing {}

async fn acknowledge(shop: Shop, id: web::Path<String>, body: Body<Nothing>) -> Answer {
    let Nothing {} = body.value;
    let alert = known(&shop, &id)?;
    shop.say_fact(Fact::AlertAcknowledged { alert }, shop.now().ms(), "bench", body.answer(&id)).await?;
    answer(&shop, &id).await
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Snooze {
    /// For how long, 1 to 43200.
    minutes: f64,
}

async fn snooze(shop: Shop, id: web::Path<String>, body: Body<Snooze>) -> Answer {
    let mend = "for example {\"minutes\": 30}";
    let minutes = facts::within("minutes", body.value.minutes, 1.0, 43_200.0, "min", mend)?;
    let alert = known(&shop, &id)?;
    let now_ms = shop.now().ms();
    let until = instant(now_ms + (minutes * 60_000.0) as i64);
    shop.say_fact(Fact::AlertSnoozed { alert, until }, now_ms, "bench", body.answer(&id)).await?;
    answer(&shop, &id).await
}

fn known(shop: &Shop, id: &str) -> Result<AlertId, Problem> {
    let bench = shop.bench();
    bench.alerts().get_key_value(id).map(|(id, _)| id.clone()).ok_or_else(|| Problem::not_found("alert", id))
}
