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
        Self { id: id(rows), title, body, alerts, json, closing, now_ms, until_ms }
    }
}

/// Names exactly these rows: were one more to join them after a crash, a receiver that knows the first message must not take
/// the second for it.
fn id(rows: &[Delivery]) -> String {
    let (first, last) = (&rows[0], rows.iter().map(|row| row.id).max().unwrap_or_default());
    match rows {
        [only] => format!("{}.{}", only.alert, only.id),
        _ => format!("{}.{}-{last}", first.alert, first.id),
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
        assert_eq!(id(&[7, 9]), id(&[7, 9]));
        assert_ne!(id(&[7, 9]), id(&[7, 9, 12]));
        assert_ne!(id(&[7]), id(&[7, 9]));
    }
}
