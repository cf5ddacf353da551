//! The delivery task: hands what waits in the outbox to its receiver, again and again until it is taken or of no use.
//!
//! Headers and signature follow the open Standard Webhooks specification: id, timestamp and HMAC-SHA256 of
//! `id.timestamp.body`. The network is never waited for inside a transaction.

use std::{sync::Arc, time::Duration};

use base64::{Engine, engine::general_purpose::STANDARD};
use hmac::{Hmac, KeyInit, Mac};
use sha2::Sha256;
use store::{Delivery, DeliveryState};
use tokio_util::sync::CancellationToken;

use crate::{problem::Problem, settings::Webhook, state::State};

/// Waits between attempts, seconds; the last is kept. The schedule begins at once.
const WAITS_S: [i64; 6] = [5, 30, 120, 600, 1800, 3600];
/// An alert a day old helps nobody.
const USEFUL_MS: i64 = 24 * 3_600_000;
/// Longest a receiver may take.
const PATIENCE: Duration = Duration::from_secs(10);
/// Deliveries under way at once.
const AT_ONCE: usize = 16;

/// The client all deliveries go through: no redirects, a receiver that moves must be set anew.
pub(crate) fn client() -> Result<reqwest::Client, reqwest::Error> {
    reqwest::Client::builder()
        .timeout(PATIENCE)
        .redirect(reqwest::redirect::Policy::none())
        .user_agent(concat!("benchclock/", env!("CARGO_PKG_VERSION")))
        .build()
}

/// Tries everything that is due. Returns how many were tried.
///
/// # Errors
/// When the outbox cannot be read or written; what was tried is tried again then.
pub(crate) async fn step(state: &Arc<State>, client: &reqwest::Client) -> Result<usize, Problem> {
    let now_ms = state.now().ms();
    let due = state.read(move |database| database.due_deliveries(now_ms, AT_ONCE)).await?;
    let tried = due.len();
    let mut under_way = tokio::task::JoinSet::new();
    for delivery in due {
        let (client, hook) = (client.clone(), hook_of(state, &delivery));
        let untrue = is_retracted(state, &delivery);
        under_way.spawn(async move {
            let outcome = match hook {
                _ if untrue => Err(Failure::forever("the alert was taken back before it was delivered")),
                Some(hook) => post(&client, &hook, &delivery, now_ms).await,
                None => Err(Failure::forever("this receiver is no longer in the settings")),
            };
            (delivery, outcome)
        });
    }
    while let Some(joined) = under_way.join_next().await {
        let Ok((delivery, outcome)) = joined else { continue };
        let delivery = after(delivery, outcome, state.now().ms());
        state.act(move |database| database.record_delivery(&delivery)).await?;
    }
    Ok(tried)
}

fn hook_of(state: &State, delivery: &Delivery) -> Option<Webhook> {
    state.settings.webhooks.iter().find(|hook| hook.name == delivery.channel).cloned()
}

/// Nobody is to be told now what is no longer so.
fn is_retracted(state: &State, delivery: &Delivery) -> bool {
    let bench = state.bench();
    bench.alerts().get(&delivery.alert).is_some_and(|alert| alert.state == clock::AlertState::Retracted)
}

struct Failure {
    what: String,
    forever: bool,
}

impl Failure {
    fn forever(what: impl Into<String>) -> Self {
        Self { what: what.into(), forever: true }
    }
}

async fn post(client: &reqwest::Client, hook: &Webhook, delivery: &Delivery, now_ms: i64) -> Result<(), Failure> {
    // The same on every attempt of this delivery, another when a snoozed alert is told again.
    let id = format!("{}.{}", delivery.alert, delivery.id);
    let timestamp = now_ms / 1000;
    let signature = signature(&hook.secret, &id, timestamp, &delivery.body);
    let sent = client
        .post(&hook.url)
        .header("content-type", "application/json")
        .header("webhook-id", id)
        .header("webhook-timestamp", timestamp.to_string())
        .header("webhook-signature", signature)
        .body(delivery.body.clone())
        .send()
        .await;
    match sent {
        Ok(answer) if answer.status().is_success() => Ok(()),
        Ok(answer) if answer.status() == reqwest::StatusCode::GONE => {
            Err(Failure::forever("the receiver answered 410: it wants no more"))
        }
        Ok(answer) => Err(Failure { what: format!("the receiver answered {}", answer.status()), forever: false }),
        Err(e) => Err(Failure { what: cause(e), forever: false }),
    }
}

/// What lies at the bottom of it: "connection refused" helps, "error sending request" does not. Without the address,
/// which may hold a secret.
fn cause(error: reqwest::Error) -> String {
    let error = error.without_url();
    let mut deepest: &dyn std::error::Error = &error;
    while let Some(source) = deepest.source() {
        deepest = source;
    }
    deepest.to_string()
}

/// `v1,` and the base64 of HMAC-SHA256 over `id.timestamp.body`.
pub(crate) fn signature(secret: &str, id: &str, timestamp_s: i64, body: &str) -> String {
    // Standard Webhooks writes secrets as whsec_<base64>; any other text is taken as it stands.
    let key = secret.strip_prefix("whsec_").and_then(|coded| STANDARD.decode(coded).ok());
    let key = key.unwrap_or_else(|| secret.as_bytes().to_vec());
    let mut mac = Hmac::<Sha256>::new_from_slice(&key).expect("HMAC takes a key of any length");
    mac.update(format!("{id}.{timestamp_s}.{body}").as_bytes());
    format!("v1,{}", STANDARD.encode(mac.finalize().into_bytes()))
}

fn after(mut delivery: Delivery, outcome: Result<(), Failure>, now_ms: i64) -> Delivery {
    delivery.attempts += 1;
    match outcome {
        Ok(()) => {
            metrics::counter!("benchclock_deliveries_total", "outcome" => "delivered").increment(1);
            delivery.state = DeliveryState::Delivered;
            delivery.error = None;
        }
        Err(failure) => {
            metrics::counter!("benchclock_deliveries_total", "outcome" => "failed").increment(1);
            tracing::warn!(alert = %delivery.alert, channel = delivery.channel, why = failure.what, "not delivered");
            let wait_s = WAITS_S[(delivery.attempts as usize - 1).min(WAITS_S.len() - 1)];
            let too_late = now_ms - delivery.since_ms > USEFUL_MS;
            delivery.error = Some(failure.what);
            if failure.forever || too_late {
                delivery.state = DeliveryState::GivenUp;
            } else {
                delivery.due_ms = now_ms + wait_s * 1000;
            }
        }
    }
    delivery
}

/// Runs steps until told to stop.
pub(crate) async fn run(state: Arc<State>, stop: CancellationToken) {
    let client = match client() {
        Ok(client) => client,
        Err(e) => return tracing::error!(error = %e, "no HTTP client; webhooks are not delivered"),
    };
    loop {
        let idle = match step(&state, &client).await {
            Ok(tried) if tried == AT_ONCE => continue,
            Ok(_) => {
                let next = state.read(|database| database.next_delivery_ms()).await.ok().flatten();
                let left_ms = next.map_or(i64::MAX, |ms| (ms - state.now().ms()).max(0));
                Duration::from_millis(left_ms as u64).min(Duration::from_secs(5))
            }
            Err(problem) => {
                tracing::error!(%problem, "the outbox could not be worked off; trying again");
                Duration::from_secs(1)
            }
        };
        tokio::select! {
            () = stop.cancelled() => return,
            () = state.shared.deliveries.notified() => {}
            () = tokio::time::sleep(idle) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The example of the Standard Webhooks specification (message, secret and signature as published there; from
    /// memory).
    #[test]
    fn a_signature_is_that_of_the_published_example() {
        let secret = "whsec_MfKQ9r8GKYqrTwjUPD8ILPZIo2LaLaSw";
        let body = r#"{"test": 2432232314}"#;
        let signed = signature(secret, "msg_p5jXN8AQM9LWM0D4loKWxJek", 1_614_265_330, body);
        assert_eq!(signed, "v1,g0hM9SsE+OTPJTGt/tmIKtSyZlE3uFJELVlNIOLJ1OE=");
    }
}
