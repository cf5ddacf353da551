//! What one channel is handed at once: one alert, or several that fell due together, in the words they were raised in.

use facts::AlertRaised;
use serde::Deserialize;
use store::Delivery;

use crate::alerts::words::{ESTIMATE, TAKEN_BACK};

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
    /// Whether it takes back what was told.
    pub(crate) takes_back: bool,
    /// Id of the message that told it, where the same channel did.
    pub(crate) answers: Option<String>,
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

#[derive(Deserialize)]
struct Typed {
    r#type: String,
}

/// Whether a row takes its alert back.
pub(crate) fn takes_back(delivery: &Delivery) -> bool {
    serde_json::from_str::<Typed>(&delivery.body).is_ok_and(|typed| typed.r#type == TAKEN_BACK)
}

/// The alert a row tells, as it was raised.
pub(crate) fn raised(delivery: &Delivery) -> Option<AlertRaised> {
    serde_json::from_str::<Payload>(&delivery.body).ok().map(|payload| payload.data)
}

impl Message {
    /// The message of rows that go out together; there is at least one.
    pub(crate) fn of(rows: &[Delivery], closing: bool, now_ms: i64, until_ms: i64) -> Self {
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
        let takes_back = rows.iter().all(takes_back);
        Self { id: id(rows), title, body, alerts, json, takes_back, answers: None, closing, now_ms, until_ms }
    }

    /// What it is shown under where a later message takes the place of an earlier one: an alert that is told again or
    /// taken back that of its first telling, several together a place of their own.
    pub(crate) fn place(&self) -> &str {
        match self.alerts.as_slice() {
            [only] => only.id.as_str(),
            _ => &self.id,
        }
    }
}

/// Names exactly these rows: were one more to join them after a crash, a receiver that knows the first message must not take
/// the second for it.
pub(crate) fn id(rows: &[Delivery]) -> String {
    let mut all: Vec<&Delivery> = rows.iter().collect();
    all.sort_by_key(|row| row.id);
    match all.as_slice() {
        [] => String::new(),
        [only] => format!("{}.{}", only.alert, only.id),
        [first, .., last] => format!("{}.{}-{}", first.alert, first.id, last.id),
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

#[cfg(test)]
mod tests {
    use facts::AlertId;
    use store::DeliveryState;

    use super::*;

    fn row(id: i64) -> Delivery {
        let alert = AlertId::new(format!("g-{id}:clamp_off")).expect("an id");
        let (channel, body) = ("mia:push".into(), String::new());
        Delivery {
            id,
            alert,
            channel,
            body,
            attempts: 0,
            since_ms: 0,
            due_ms: 0,
            state: DeliveryState::Waiting,
            error: None,
        }
    }

    #[test]
    fn the_same_rows_are_the_same_message_and_one_more_makes_another() {
        let id = |rows: &[i64]| id(&rows.iter().map(|id| row(*id)).collect::<Vec<_>>());
        assert_eq!(id(&[7]), "g-7:clamp_off.7");
        assert_eq!(id(&[7, 9]), id(&[9, 7]));
        assert_ne!(id(&[7, 9]), id(&[7, 9, 12]));
        assert_ne!(id(&[7]), id(&[7, 9]));
    }
}
