//! The channels a message can go by, and what their failures have in common.

mod email;
mod mqtt;
mod page;
mod push;
mod seal;
mod webhook;

use std::{error::Error, sync::Arc};

pub(crate) use seal::Browser;
pub(crate) use webhook::signing_key;

use crate::{
    alerts::{
        message::Message,
        reach::{Outward, PATIENCE},
        tell,
    },
    settings::Webhook,
    state::State,
};

/// Why a message was not taken.
pub(crate) struct Failure {
    /// What happened, in a sentence.
    pub(crate) what: String,
    /// Whether trying again is of no use.
    pub(crate) forever: bool,
    /// How long the receiver asked to be left alone, seconds.
    pub(crate) wait_s: Option<i64>,
}

impl Failure {
    pub(crate) fn once(what: impl Into<String>) -> Self {
        Self { what: what.into(), forever: false, wait_s: None }
    }

    pub(crate) fn forever(what: impl Into<String>) -> Self {
        Self { what: what.into(), forever: true, wait_s: None }
    }
}

/// The client all HTTP goes through, with the networks inside that the settings allow.
pub(crate) fn client(state: &State) -> Result<Outward, reqwest::Error> {
    Outward::new(&state.settings.alerts.allow_private)
}

/// Hands a message to a channel as the outbox names it.
pub(crate) async fn send(
    state: &Arc<State>,
    client: &Outward,
    channel: &str,
    message: &Message,
) -> Result<(), Failure> {
    let gone = || Failure::forever("this receiver is no longer in the settings");
    if let Some(hook) = hook(state, channel) {
        return webhook::send(state, client, hook, channel, message).await;
    }
    let (person, way) = tell::person_of(&state.settings, channel).ok_or_else(gone)?;
    match way {
        "page" => page::send(state),
        "push" => push::send(state, client, person, message).await,
        "email" => email::send(state, person, message).await,
        "mqtt" => mqtt::send(state, person, message).await,
        name => match hook(state, name) {
            Some(hook) => webhook::send(state, client, hook, channel, message).await,
            None => Err(gone()),
        },
    }
}

/// Where the webhook behind a channel is, if it is one.
pub(crate) fn address<'a>(state: &'a State, channel: &str) -> Option<&'a str> {
    let own = tell::person_of(&state.settings, channel).map_or(channel, |(_, way)| way);
    hook(state, own).map(|hook| hook.url.as_str())
}

fn hook<'a>(state: &'a State, name: &str) -> Option<&'a Webhook> {
    state.settings.webhooks.iter().find(|hook| hook.name == name)
}

/// What lies at the bottom of it: "connection refused" helps, "error sending request" does not.
pub(crate) fn deepest(error: &dyn Error) -> String {
    let mut deepest = error;
    while let Some(source) = deepest.source() {
        deepest = source;
    }
    deepest.to_string()
}

/// What an HTTP client met; without the address, which may hold a secret.
fn of_http(error: reqwest::Error) -> Failure {
    let late = error.is_timeout();
    let what = deepest(&error.without_url());
    Failure::once(if late { format!("no answer within {} s", PATIENCE.as_secs()) } else { what })
}

/// Longest a receiver is left alone because it asks to be, s: no longer than one that is silent.
const LONGEST_WAIT_S: i64 = 3600;

/// Seconds a receiver asks for in its answer (RFC 9110 section 10.2.3); a date is not looked at.
fn asked_wait_s(answer: &reqwest::Response) -> Option<i64> {
    let said: u64 = answer.headers().get("retry-after")?.to_str().ok()?.trim().parse().ok()?;
    Some(said.min(LONGEST_WAIT_S as u64) as i64)
}
