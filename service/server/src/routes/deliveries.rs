//! Deliveries: what was tried, delivered or failed, by which channel and why; and the channels themselves.

use std::{collections::HashMap, sync::Arc};

use actix_web::{HttpResponse, web};
use facts::{AlertId, AlertKind, AlertRaised};
use serde::{Deserialize, Serialize};
use serde_json::json;
use store::{Delivery, DeliveryState, Saying, WhichDeliveries};

use super::{Answer, Shop};
use crate::{
    alerts::{
        channel,
        message::{self, Message},
        tell, words,
    },
    body::{Body, Nothing},
    now::instant,
    openapi::Api,
    problem::{Kind, Problem},
    state::State,
    wire::List,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/deliveries").route(web::get().to(list)))
        .service(web::resource("/channels").route(web::get().to(channels)))
        .service(web::resource("/channels/{id}/test").route(web::post().to(test)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/deliveries", "Deliveries of alerts, newest first").query::<Which>(json!({})).lists::<DeliveryWire>();
    api.get("/channels", "Channels and how they stand").lists::<ChannelWire>();
    api.post("/channels/{id}/test", "Sends a test").takes::<Nothing>(json!({})).gives::<Tested>();
}

const PART: usize = 100;

/// A delivery as it is answered.
#[derive(Serialize, utoipa::ToSchema)]
pub(super) struct DeliveryWire {
    id: i64,
    alert: String,
    channel: String,
    /// Whether it takes back what was told.
    takes_back: bool,
    state: &'static str,
    attempts: u32,
    /// When it is tried next, while it waits.
    next_at: Option<String>,
    /// When it was delivered or given up.
    ended_at: Option<String>,
    error: Option<String>,
}

pub(super) fn wire(state: &State, d: Delivery) -> DeliveryWire {
    let (word, waits) = match d.state {
        DeliveryState::Waiting => ("waiting", true),
        DeliveryState::Delivered => ("delivered", false),
        DeliveryState::GivenUp => ("given_up", false),
    };
    let at = state.rfc3339(d.due_ms);
    DeliveryWire {
        id: d.id,
        takes_back: message::takes_back(&d),
        alert: d.alert.to_string(),
        channel: d.channel,
        state: word,
        attempts: d.attempts,
        next_at: waits.then(|| at.clone()),
        ended_at: (!waits).then_some(at),
        error: d.error,
    }
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Which {
    /// Only those in this state: waiting, delivered, given_up.
    state: Option<String>,
    /// Only those to this channel.
    channel: Option<String>,
    /// Only those before this one: `next` of the part before.
    before: Option<i64>,
}

async fn list(shop: Shop, which: web::Query<Which>) -> Answer {
    let Which { state, channel, before } = which.into_inner();
    let state = match state.as_deref() {
        None => None,
        Some("waiting") => Some(DeliveryState::Waiting),
        Some("delivered") => Some(DeliveryState::Delivered),
        Some("given_up") => Some(DeliveryState::GivenUp),
        Some(other) => {
            let detail = format!("there is no state \"{other}\"");
            return Err(Problem::new(Kind::Invalid, detail, "waiting, delivered or given_up").about("state"));
        }
    };
    let which = WhichDeliveries { state, channel, before };
    let mut found = shop.read(move |database| database.list_deliveries(&which, PART + 1)).await?;
    let more = found.len() > PART;
    found.truncate(PART);
    let next = found.last().filter(|_| more).map(|last| last.id.to_string());
    let items = found.into_iter().map(|d| wire(&shop, d)).collect();
    Ok(HttpResponse::Ok().json(List { items, next }))
}

#[derive(Serialize, utoipa::ToSchema)]
struct ChannelWire {
    id: String,
    /// Whose it is; none for a webhook that gets everything.
    person: Option<String>,
    /// "on", or "off" while its receiver wants no more.
    state: &'static str,
    since: Option<String>,
    why: Option<String>,
    /// The newest delivery that was tried.
    last: Option<DeliveryWire>,
}

async fn channels(shop: Shop) -> Answer {
    let (off, last) = shop.read(|database| Ok((database.switched_off()?, database.last_tried()?))).await?;
    let mut last: HashMap<String, Delivery> = last.into_iter().map(|d| (d.channel.clone(), d)).collect();
    let of_channel = |id: String| {
        let off =
            off.iter().find(|off| off.channel == id && channel::address(&shop, &id) == Some(off.address.as_str()));
        ChannelWire {
            person: tell::person_of(&shop.settings, &id).map(|(person, _)| person.name.clone()),
            state: if off.is_some() { "off" } else { "on" },
            since: off.map(|off| shop.rfc3339(off.since_ms)),
            why: off.map(|off| off.why.clone()),
            last: last.remove(&id).map(|d| wire(&shop, d)),
            id,
        }
    };
    Ok(HttpResponse::Ok().json(List::whole(tell::channels(&shop.settings).into_iter().map(of_channel))))
}

#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct Tested {
    channel: String,
    /// Whether the channel took it; not known when the same request was answered before.
    taken: Option<bool>,
    pub(crate) error: Option<String>,
}

/// Sends a message that says it is a test, and switches a channel on again when it is taken.
async fn test(shop: Shop, id: web::Path<String>, body: Body<Nothing>) -> Answer {
    let Nothing {} = body.value;
    if !tell::channels(&shop.settings).contains(&id) {
        return Err(Problem::not_found("channel", &id));
    }
    let recorded_ms = shop.now().ms();
    let said = shop.say_once(Saying { answer: body.answer(&id), recorded_ms, ..Saying::default() }).await?;
    let tested = match said {
        // It is not sent twice, and how it went was in the first answer.
        store::Said::Before(_) => Tested { channel: id.clone(), taken: None, error: None },
        _ => send_test(shop.get_ref(), &id).await?,
    };
    Ok(HttpResponse::Ok().json(tested))
}

/// A message that says it is a test, and how it went.
///
/// # Errors
/// When the store cannot be written or no client can be made; a channel that does not take it is no error.
pub(crate) async fn send_test(state: &Arc<State>, id: &str) -> Result<Tested, Problem> {
    let now_ms = state.now().ms();
    let raised = AlertRaised {
        id: AlertId::new(format!("test:{now_ms}")).expect("a word and a number make an alert id"),
        alert_kind: AlertKind::Digest,
        cure: None,
        instrument: None,
        stage: String::new(),
        due_at: instant(now_ms),
        late: false,
        title: format!("A test from {}", state.settings.shop.name),
        body: format!("If you read this, {id} works. Nothing is to be done."),
    };
    let row = Delivery {
        id: 0,
        alert: raised.id.clone(),
        channel: id.into(),
        body: words::payload(state, &raised),
        attempts: 0,
        since_ms: now_ms,
        due_ms: now_ms,
        state: DeliveryState::Waiting,
        error: None,
    };
    let message = Message::of(&[row], false, now_ms, now_ms + 3_600_000);
    let client =
        channel::client(state).map_err(|e| Problem::new(Kind::Internal, e.to_string(), "the log says more"))?;
    let channel = id.to_string();
    // It is tried although it is off: that is how it comes on again.
    state.act(move |database| database.switch_on(&channel)).await?;
    let sent = channel::send(state, &client, id, &message).await;
    Ok(Tested { channel: id.into(), taken: Some(sent.is_ok()), error: sent.err().map(|failure| failure.what) })
}
