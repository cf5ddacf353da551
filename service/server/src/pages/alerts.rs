//! What was told, newest first, and what became of it.

use actix_web::{HttpResponse, web};
use askama::Template;
use clock::{Alert, AlertState};
use facts::{AlertKind, Fact};
use serde::Deserialize;

use super::{
    board::bare,
    form::Fields,
    frame::{Frame, see_other, show},
};
use crate::{
    alerts::words::ESTIMATE,
    now::instant,
    problem::Problem,
    routes::{Answer, Shop},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/alerts").route(web::get().to(alerts)))
        .service(web::resource("/alerts/{id}/later").route(web::post().to(later)));
}

struct AlertRow {
    id: String,
    title: String,
    body: String,
    when: String,
    kind: &'static str,
    state: String,
    open: bool,
    late: bool,
    cure: Option<String>,
}

#[derive(Template)]
#[template(path = "alerts.html")]
struct AlertsPage {
    frame: Frame,
    alerts: Vec<AlertRow>,
    open: usize,
    older: Option<i64>,
    estimate: &'static str,
}

/// Alerts on one page.
const PART: usize = 50;
/// How long "later" is, minutes.
const LATER_MIN: i64 = 30;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Which {
    /// Only those told before this place in the journal.
    before: Option<i64>,
}

async fn alerts(shop: Shop, which: web::Query<Which>) -> Answer {
    let (bench, now_ms) = (shop.bench(), shop.now().ms());
    let mut told: Vec<&Alert> = bench.alerts().values().collect();
    let open = told.iter().filter(|alert| alert.state == AlertState::Open).count();
    told.retain(|alert| which.before.is_none_or(|before| alert.seq < before));
    told.sort_by_key(|alert| std::cmp::Reverse(alert.seq));
    let older = told.get(PART).and_then(|_| told.get(PART - 1)).map(|last| last.seq);
    let page = AlertsPage {
        frame: shop.frame("/alerts"),
        alerts: told.into_iter().take(PART).map(|alert| shop.alert_row(alert, now_ms)).collect(),
        open,
        older,
        estimate: ESTIMATE,
    };
    show(&page, HttpResponse::Ok())
}

impl State {
    fn alert_row(&self, alert: &Alert, now_ms: i64) -> AlertRow {
        let raised = &alert.raised;
        AlertRow {
            id: raised.id.to_string(),
            title: raised.title.clone(),
            body: bare(&raised.body),
            when: self.clock_text(raised.due_at.timestamp_millis(), now_ms),
            kind: match raised.alert_kind {
                AlertKind::Milestone => "milestone",
                AlertKind::StringUp => "string-up",
                AlertKind::HookSetAside => "shop script",
                AlertKind::Mix => "mix",
                AlertKind::Digest => "the day ahead",
                AlertKind::Climate => "air",
                AlertKind::SensorSilent => "sensor",
                AlertKind::CalibrationDue => "calibration",
            },
            state: match alert.state {
                AlertState::Open => "not seen yet".into(),
                AlertState::Acknowledged => "seen".into(),
                AlertState::Snoozed(until_ms) => format!("again at {}", self.clock_text(until_ms, now_ms)),
                AlertState::Retracted => "taken back: later readings made it untrue".into(),
            },
            open: alert.state == AlertState::Open,
            late: raised.late,
            cure: raised.cure.as_ref().map(ToString::to_string),
        }
    }
}

async fn later(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let alert = {
        let bench = shop.bench();
        bench.alerts().get_key_value(id.as_str()).map(|(id, _)| id.clone())
    };
    let alert = alert.ok_or_else(|| Problem::not_found("alert", &id))?;
    let now_ms = shop.now().ms();
    let until = instant(now_ms + LATER_MIN * 60_000);
    shop.say_fact(Fact::AlertSnoozed { alert, until }, now_ms, "bench", None).await?;
    see_other(if fields.get("from") == Some("board") { "/" } else { "/alerts" })
}
