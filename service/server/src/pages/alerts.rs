//! What was told, newest first, what became of it and of each delivery, and who is told.

mod told;

use actix_web::{HttpRequest, HttpResponse, web};
use askama::Template;
use clock::{Alert, AlertState, Bench};
use facts::{AlertKind, Fact};
use serde::Deserialize;

use self::told::{Calendar, DeliveryRow, Known, PersonCard};
use super::{
    board::bare,
    form::{Fields, new_key},
    frame::{Frame, base_url, see_other, show},
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
        .service(web::resource("/alerts/{id}/later").route(web::post().to(later)))
        .configure(told::configure);
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
    deliveries: Vec<DeliveryRow>,
}

#[derive(Template)]
#[template(path = "alerts.html")]
struct AlertsPage {
    frame: Frame,
    key: String,
    /// How a test went; empty if none was sent.
    note: String,
    alerts: Vec<AlertRow>,
    open: usize,
    older: Option<i64>,
    /// Everybody who is told; empty on the older parts.
    people: Vec<PersonCard>,
    /// The shop's own calendar.
    calendar: Calendar,
    first: bool,
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

async fn alerts(shop: Shop, which: web::Query<Which>, request: HttpRequest) -> Answer {
    show(&page(&shop, &request, which.before, String::new()).await?, HttpResponse::Ok())
}

async fn page(shop: &Shop, request: &HttpRequest, before: Option<i64>, note: String) -> Result<AlertsPage, Problem> {
    let now_ms = shop.now().ms();
    let (mut alerts, ids, open, older) = {
        let bench = shop.bench();
        let (told, older) = part(&bench, before, PART);
        let open = bench.alerts().values().filter(|alert| alert.state == AlertState::Open).count();
        let rows: Vec<AlertRow> = told.iter().map(|alert| shop.alert_row(alert, now_ms)).collect();
        (rows, told.iter().map(|alert| alert.raised.id.clone()).collect(), open, older)
    };
    let known = Known::of(shop, ids).await?;
    for (n, row) in alerts.iter_mut().enumerate() {
        row.deliveries = known.deliveries_of(shop, n, now_ms);
    }
    let first = before.is_none();
    let base = base_url(request, &shop.settings);
    Ok(AlertsPage {
        frame: shop.frame("/alerts"),
        key: new_key(),
        note,
        alerts,
        open,
        older,
        people: if first { known.people(shop, &base, now_ms) } else { vec![] },
        calendar: Calendar::of(shop, &base, None),
        first,
        estimate: ESTIMATE,
    })
}

/// The alerts of one part of the list, newest first, and where the next part begins.
fn part(bench: &Bench, before: Option<i64>, at_most: usize) -> (Vec<&Alert>, Option<i64>) {
    let mut told: Vec<&Alert> = bench.alerts().values().collect();
    told.retain(|alert| before.is_none_or(|before| alert.seq < before));
    told.sort_by_key(|alert| std::cmp::Reverse(alert.seq));
    let more = told.len() > at_most;
    told.truncate(at_most);
    let older = told.last().filter(|_| more).map(|last| last.seq);
    (told, older)
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
                AlertKind::ClockLeapt => "clock",
            },
            state: match alert.state {
                AlertState::Open => "not seen yet".into(),
                AlertState::Acknowledged => "seen".into(),
                AlertState::Snoozed(until_ms) => format!("again at {}", self.clock_text(until_ms, now_ms)),
                AlertState::Retracted => "taken back: it does not hold any more".into(),
            },
            open: alert.state == AlertState::Open,
            late: raised.late,
            cure: raised.cure.as_ref().map(ToString::to_string),
            deliveries: vec![],
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
    let kept = fields.answer(&format!("/alerts/{id}/later"), &id);
    shop.say_fact(Fact::AlertSnoozed { alert, until }, fields.pressed_ms(now_ms)?, "bench", kept).await?;
    see_other(if fields.get("from") == Some("board") { "/" } else { "/alerts" })
}
