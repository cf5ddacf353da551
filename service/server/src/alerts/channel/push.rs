//! Web Push (RFC 8030): a message for each browser of a person, sealed so that its push service cannot read it.

use std::sync::Arc;

use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use futures_util::future::join_all;
use reqwest::{StatusCode, Url};
use serde_json::json;
use sha2::{Digest, Sha256};
use store::Subscription;

use super::{
    Failure, asked_wait_s, of_http,
    seal::{self, Browser},
};
use crate::{
    alerts::{message::Message, reach::Outward},
    keys,
    settings::Person,
    state::State,
};

/// How long a token is good for, seconds: RFC 8292 allows 24 hours, clocks differ.
const TOKEN_S: i64 = 12 * 3600;

/// Taken when one browser's push service takes it; a browser that is gone is forgotten.
pub(super) async fn send(
    state: &Arc<State>,
    client: &Outward,
    person: &Person,
    message: &Message,
) -> Result<(), Failure> {
    let name = person.name.clone();
    let all = state.read(move |database| database.subscriptions(Some(&name))).await;
    let all = all.map_err(|problem| Failure::once(problem.to_string()))?;
    let mut failure = Failure::forever(format!("no browser of {} asks for push messages", person.name));
    let mut taken = false;
    let tries = all.iter().map(|subscription| post(state, client, subscription, message));
    for (subscription, tried) in all.iter().zip(join_all(tries).await) {
        match tried {
            Ok(()) => taken = true,
            Err(met) => {
                if met.forever {
                    forget(state, subscription.id.clone()).await;
                }
                // One that may come back counts more than one that is gone.
                if failure.forever || !met.forever {
                    failure = met;
                }
            }
        }
    }
    if taken { Ok(()) } else { Err(failure) }
}

async fn forget(state: &Arc<State>, id: String) {
    // If it cannot be forgotten now its push service says so again the next time.
    if let Err(problem) = state.act(move |database| database.forget_subscription(&id)).await {
        tracing::error!(%problem, "a push subscription that is gone was not forgotten");
    }
}

async fn post(state: &State, client: &Outward, to: &Subscription, message: &Message) -> Result<(), Failure> {
    let wrong = |(field, what): (&str, &str)| Failure::forever(format!("the subscription's {field} {what}"));
    let browser = Browser::read(&to.p256dh, &to.auth).map_err(wrong)?;
    let url = Url::parse(&to.endpoint).map_err(|e| Failure::forever(format!("the subscription's endpoint: {e}")))?;
    let request = client.post(&to.endpoint).map_err(Failure::once)?;
    let (now_s, contact) = (message.now_ms / 1000, &state.settings.push.contact);
    let origin = url.origin().ascii_serialization();
    let token = seal::authorization(&state.keys.push, &state.keys.push_public(), &origin, contact, now_s + TOKEN_S);
    let body = browser.seal(&plain(message), &keys::secret_key(), &keys::random());
    let answer = request
        .header("authorization", token)
        .header("content-encoding", "aes128gcm")
        .header("content-type", "application/octet-stream")
        .header("ttl", ((message.until_ms - message.now_ms) / 1000).clamp(0, 86_400).to_string())
        .header("urgency", if message.closing { "high" } else { "normal" })
        .header("topic", topic(message))
        .body(body)
        .send()
        .await
        .map_err(of_http)?;
    match answer.status() {
        status if status.is_success() => Ok(()),
        // RFC 8030 section 7.3: the subscription is there no more.
        status @ (StatusCode::NOT_FOUND | StatusCode::GONE) => {
            Err(Failure::forever(format!("the push service answered {status}: the browser is gone")))
        }
        status => {
            let what = format!("the push service answered {status}");
            Err(Failure { wait_s: asked_wait_s(&answer), ..Failure::once(what) })
        }
    }
}

/// What the browser shows. Cut at a character's end where it would be too long for a push service.
fn plain(message: &Message) -> Vec<u8> {
    let cure = message.alerts.first().and_then(|alert| alert.cure.as_ref());
    let page = cure.map_or_else(|| "/".into(), |cure| format!("/cures/{cure}"));
    let mut body = message.body.clone();
    loop {
        let plain = json!({"title": message.title, "body": body, "page": page, "alert": message.place()})
            .to_string()
            .into_bytes();
        if plain.len() <= seal::LONGEST || body.is_empty() {
            return plain;
        }
        body = body.chars().take(body.chars().count() * 3 / 4).collect();
    }
}

/// A push service keeps only the last message of a topic for a browser that is away: at most 32 characters of base64url
/// (RFC 8030 section 5.4), the same whenever the same alert is told.
fn topic(message: &Message) -> String {
    URL_SAFE_NO_PAD.encode(Sha256::digest(message.place())).chars().take(32).collect()
}
