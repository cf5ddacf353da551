//! Browsers that ask for push messages: the key they need, the subscriptions they bring, and the scripts that do it.

use actix_web::{HttpResponse, web};
use reqwest::Url;
use serde::{Deserialize, Serialize};
use serde_json::json;
use sha2::{Digest, Sha256};
use store::{Saying, Subscription};

use super::{Answer, Shop};
use crate::{
    alerts::{channel::Browser, reach},
    body::{Body, Nothing},
    openapi::Api,
    problem::{Kind, Problem},
    state::State,
    wire::List,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/push-key").route(web::get().to(key)))
        .service(web::resource("/push-subscriptions").route(web::get().to(list)).route(web::post().to(subscribe)))
        .service(web::resource("/push-subscriptions/{id}/drop").route(web::post().to(forget)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/push-key", "The public key for a browser's subscription").gives::<KeyWire>();
    api.get("/push-subscriptions", "Browsers that are told").lists::<SubscriptionWire>();
    api.post("/push-subscriptions", "Adds a browser")
        .takes::<Subscribe>(
            json!({"person": "mia", "subscription": {"endpoint": "https://push.example.org/1", "keys": {
"auth": "BTBZMqHH6r4Tts7J_aSIgg",
"p256dh": "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4"}}}),
        )
        .makes::<SubscriptionWire>();
    api.post("/push-subscriptions/{id}/drop", "Drops a browser").takes::<Nothing>(json!({})).empties();
}

pub(super) fn configure_scripts(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/push.js").route(web::get().to(page_script)))
        .service(web::resource("/service-worker.js").route(web::get().to(worker_script)));
}

const SCRIPT: &str = "text/javascript; charset=utf-8";

async fn page_script() -> HttpResponse {
    HttpResponse::Ok().content_type(SCRIPT).body(include_str!("../../static/push.js"))
}

async fn worker_script() -> HttpResponse {
    HttpResponse::Ok().content_type(SCRIPT).body(include_str!("../../static/service-worker.js"))
}

#[derive(Serialize, utoipa::ToSchema)]
struct KeyWire {
    /// An uncompressed point on P-256, base64url: the `applicationServerKey` of the W3C Push API.
    key: String,
    /// Who may subscribe.
    people: Vec<String>,
}

async fn key(shop: Shop) -> Answer {
    let people = shop.settings.people.iter().map(|person| person.name.clone()).collect();
    Ok(HttpResponse::Ok().json(KeyWire { key: shop.keys.push_public(), people }))
}

/// A browser of somebody's, as the W3C Push API gives its subscription.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Subscribe {
    person: String,
    subscription: Given,
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(rename_all = "camelCase", deny_unknown_fields)]
struct Given {
    endpoint: String,
    /// Of no use here: a subscription that has ended is found out when it is sent to.
    #[expect(dead_code, reason = "browsers send it")]
    expiration_time: Option<f64>,
    keys: Keys,
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Keys {
    p256dh: String,
    auth: String,
}

/// What is shown of a subscription: not where it is sent to and not its keys, which are secrets of the browser.
#[derive(Serialize, utoipa::ToSchema)]
struct SubscriptionWire {
    id: String,
    person: String,
    /// Host of its push service.
    service: String,
    added_at: String,
}

/// The host of a push service; what else stands in the address is a secret of the browser.
pub(crate) fn host_of(endpoint: &str) -> String {
    let url = Url::parse(endpoint).ok();
    url.and_then(|url| url.host_str().map(str::to_string)).unwrap_or_default()
}

fn wire(state: &State, s: &Subscription) -> SubscriptionWire {
    let service = host_of(&s.endpoint);
    SubscriptionWire { id: s.id.clone(), person: s.person.clone(), service, added_at: state.rfc3339(s.added_ms) }
}

async fn list(shop: Shop) -> Answer {
    let all = shop.read(|database| database.subscriptions(None)).await?;
    Ok(HttpResponse::Ok().json(List::whole(all.iter().map(|s| wire(&shop, s)))))
}

async fn subscribe(shop: Shop, body: Body<Subscribe>) -> Answer {
    let new = read(&shop, &body.value)?;
    let answer = body.answer(&new.id);
    // It is no fact, but its request is answered once all the same.
    let recorded_ms = shop.now().ms();
    shop.say_once(Saying { answer, recorded_ms, ..Saying::default() }).await?;
    let shown = wire(&shop, &new);
    shop.act(move |database| database.put_subscription(&new)).await?;
    Ok(HttpResponse::Created().json(shown))
}

fn read(state: &State, asked: &Subscribe) -> Result<Subscription, Problem> {
    let Subscribe { person, subscription } = asked;
    if !state.settings.people.iter().any(|other| other.name == *person) {
        let detail = format!("there is nobody called \"{person}\"");
        return Err(
            Problem::new(Kind::UnknownReference, detail, "add them as [[people]] to the settings").about("person")
        );
    }
    let bad = |what: &str| {
        let detail = format!("the endpoint {what}");
        Problem::new(Kind::Invalid, detail, "send the subscription as the browser gave it").about("endpoint")
    };
    let url = reach::target(&subscription.endpoint, &state.settings.alerts.allow_private)
        .map_err(|what| bad(&format!("is not taken: {what}")))?;
    // A browser's push service has a name and a certificate; without TLS only an address that the settings allow.
    if url.scheme() != "https" && url.domain().is_some() {
        return Err(bad("is not https"));
    }
    if url.as_str().len() > 2048 {
        return Err(bad("is longer than 2048 characters"));
    }
    Browser::read(&subscription.keys.p256dh, &subscription.keys.auth).map_err(|(field, what)| {
        let mend = "send the subscription as the browser gave it";
        Problem::new(Kind::Invalid, format!("{field} {what}"), mend).about(field)
    })?;
    let hash = Sha256::digest(url.as_str());
    Ok(Subscription {
        id: hash.iter().take(8).map(|byte| format!("{byte:02x}")).collect(),
        person: person.clone(),
        endpoint: url.into(),
        p256dh: subscription.keys.p256dh.clone(),
        auth: subscription.keys.auth.clone(),
        added_ms: state.now().ms(),
    })
}

async fn forget(shop: Shop, id: web::Path<String>, body: Body<Nothing>) -> Answer {
    let Nothing {} = body.value;
    let recorded_ms = shop.now().ms();
    let said = shop.say_once(Saying { answer: body.answer(&id), recorded_ms, ..Saying::default() }).await?;
    let asked = id.clone();
    let gone = shop.act(move |database| database.forget_subscription(&asked)).await?;
    if !gone && !matches!(said, store::Said::Before(_)) {
        return Err(Problem::not_found("push subscription", &id));
    }
    Ok(HttpResponse::NoContent().finish())
}
