//! Webhooks: headers and signature follow the open Standard Webhooks specification: id, timestamp and HMAC-SHA256 of
//! `id.timestamp.body`. Only 2xx is success; 410 switches the receiver off until its address is changed or a test message
//! gets through.

use std::sync::Arc;

use base64::{Engine, engine::general_purpose::STANDARD};
use hmac::{Hmac, KeyInit, Mac};
use reqwest::{RequestBuilder, StatusCode};
use sha2::Sha256;
use store::Off;

use super::{Failure, asked_wait_s, of_http};
use crate::{
    alerts::{message::Message, reach::Outward},
    settings::Webhook,
    state::State,
};

pub(super) async fn send(
    state: &Arc<State>,
    client: &Outward,
    hook: &Webhook,
    channel: &str,
    message: &Message,
) -> Result<(), Failure> {
    let off = state.read(|database| database.switched_off()).await.unwrap_or_default();
    if let Some(off) = off.iter().find(|off| off.channel == channel && off.address == hook.url) {
        return Err(Failure::forever(format!("off since {}: {}", state.rfc3339(off.since_ms), off.why)));
    }
    // An address that is refused here is no receiver that wants no more: it may be allowed tomorrow.
    let request = client.post(&hook.url).map_err(Failure::forever)?;
    let sent = post(request, hook, message).await;
    if sent.as_ref().is_err_and(|failure| failure.forever) {
        let (channel, address) = (channel.to_string(), hook.url.clone());
        let why = "the receiver answered 410: it wants no more".to_string();
        let off = Off { channel, address, since_ms: message.now_ms, why };
        // If it cannot be written down now it is found out again with the next alert.
        if let Err(problem) = state.act(move |database| database.switch_off(&off)).await {
            tracing::error!(%problem, "a webhook was not switched off");
        }
    }
    sent
}

async fn post(request: RequestBuilder, hook: &Webhook, message: &Message) -> Result<(), Failure> {
    let timestamp_s = message.now_ms / 1000;
    let answer = request
        .header("content-type", "application/json")
        .header("webhook-id", &message.id)
        .header("webhook-timestamp", timestamp_s.to_string())
        .header("webhook-signature", signatures(hook, &message.id, timestamp_s, &message.json))
        .body(message.json.clone())
        .send()
        .await
        .map_err(of_http)?;
    match answer.status() {
        status if status.is_success() => Ok(()),
        StatusCode::GONE => Err(Failure::forever("the receiver answered 410: it wants no more")),
        status => {
            Err(Failure { wait_s: asked_wait_s(&answer), ..Failure::once(format!("the receiver answered {status}")) })
        }
    }
}

/// The key a secret stands for. Standard Webhooks writes secrets as whsec_ and base64; any other text is taken as it stands.
/// None when what follows whsec_ is no base64.
pub(crate) fn signing_key(secret: &str) -> Option<Vec<u8>> {
    match secret.strip_prefix("whsec_") {
        Some(coded) => STANDARD.decode(coded).ok(),
        None => Some(secret.as_bytes().to_vec()),
    }
}

/// By the secret and, while there is one, by that before it; a receiver takes whichever it knows.
fn signatures(hook: &Webhook, id: &str, timestamp_s: i64, body: &str) -> String {
    let secrets = [&hook.secret, &hook.secret_before].into_iter().filter(|secret| !secret.is_empty());
    secrets.map(|secret| signature(secret, id, timestamp_s, body)).collect::<Vec<_>>().join(" ")
}

/// `v1,` and the base64 of HMAC-SHA256 over `id.timestamp.body`.
fn signature(secret: &str, id: &str, timestamp_s: i64, body: &str) -> String {
    let key = signing_key(secret).expect("the settings were checked");
    let mut mac = Hmac::<Sha256>::new_from_slice(&key).expect("HMAC takes a key of any length");
    mac.update(format!("{id}.{timestamp_s}.{body}").as_bytes());
    format!("v1,{}", STANDARD.encode(mac.finalize().into_bytes()))
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
