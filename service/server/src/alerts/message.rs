//! What one channel is handed at once: one alert, or several that fell due together, in the words they were raised in.

use facts::AlertRaised;
use serde::Deserialize;
use store::Delivery;

use crate::alerts::words::ESTIMATE;

/// One message for one channel.
pub(crate) struct Message {
    /// The same on every attempt, another when an alert is told again.
    pub(crate) id: String,
    /// One line.
    pub(crate) title: String,
    /// Everything else.
    pub(crate) body: String,
    /// The alerts it tells.
    pub(crate) alerts: Vec<AlertRaised>,
    /// JSON as a webhook gets it.
    pub(crate) json: String,
    /// Whether it says that a window is about to close.
    pub(crate) closing: bool,
    /// When it is sent, ms.
    pub(crate) now_ms: i64,
    /// When it is of no use any more, ms.
    pub(crate) until_ms: i64,
}

/// The part of an outbox row's JSON that is read again.
#[derive(Deserialize)]
struct Payload {
    data: AlertRaised,
}

/// The alert a row tells, as it was raised.
pub(crate) fn raised(delivery: &Delivery) -> Option<AlertRaised> {
    serde_json::from_str::<Payload>(&delivery.body).ok().map(|payload| payload.data)
}

impl Message {
    /// The message of rows that go out together; there is at least one.
    pub(crate) fn of(rows: &[Delivery], closing: bool, now_ms: i64, until_ms: i64) -> Self {
        let first = &rows[0];
        let alerts: Vec<AlertRaised> = rows.iter().filter_map(raised).collect();
        let json = match rows {
            [only] => only.body.clone(),
            rows => {
                let bodies: Vec<&str> = rows.iter().map(|row| row.body.as_str()).collect();
                format!("{{\"type\":\"alerts\",\"data\":[{}]}}", bodies.join(","))
            }
        };
        let (title, body) = match alerts.as_slice() {
            [] => ("An alert".into(), "Look at the board.".into()),
            [one] => (one.title.clone(), one.body.clone()),
            many => (format!("{} and {} more", many[0].title, many.len() - 1), listed(many)),
        };
        Self { id: format!("{}.{}", first.alert, first.id), title, body, alerts, json, closing, now_ms, until_ms }
    }
}

/// Several alerts one after the other; that they are estimates is said once.
fn listed(alerts: &[AlertRaised]) -> String {
    let mut lines: Vec<String> = Vec::new();
    for alert in alerts {
        lines.push(alert.title.clone());
        let rest = alert.body.replace(ESTIMATE, "");
        if !rest.trim().is_empty() {
            lines.push(format!("  {}", rest.trim().replace('\n', "\n  ")));
        }
    }
    lines.push(ESTIMATE.into());
    lines.join("\n")
}
