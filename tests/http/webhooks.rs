//! Webhooks: an alert reaches its receiver signed and at least once, and whatever the receiver does is written down.

use std::{
    collections::VecDeque,
    sync::{Arc, Mutex},
};

use actix_web::{App, HttpRequest, HttpResponse, HttpServer, http::StatusCode, web};
use base64::{Engine, engine::general_purpose::STANDARD};
use bench::{BEGIN, Bench, Shop, ms};
use benchclock::{Now, Webhook};
use hmac::{Hmac, KeyInit, Mac};
use serde_json::{Value, json};
use sha2::Sha256;
use tokio_util::task::TaskTracker;

pub(crate) const SECRET: &str = "a secret of the bench tests";

/// One request the receiver got, its signature already proved.
#[derive(Debug, Clone)]
pub(crate) struct Got {
    path: String,
    id: String,
    timestamp_s: i64,
    pub(crate) body: Value,
}

/// A receiver on a port of its own that checks each signature by itself.
#[derive(Clone, Default)]
pub(crate) struct Receiver {
    got: Arc<Mutex<Vec<Got>>>,
    /// What to answer next; 204 when empty.
    answers: Arc<Mutex<VecDeque<u16>>>,
}

async fn take(receiver: web::Data<Receiver>, request: HttpRequest, body: String) -> HttpResponse {
    let header = |name: &str| request.headers().get(name).and_then(|v| v.to_str().ok()).unwrap_or_default().to_string();
    let (id, timestamp) = (header("webhook-id"), header("webhook-timestamp"));
    let mut mac = Hmac::<Sha256>::new_from_slice(SECRET.as_bytes()).unwrap();
    mac.update(format!("{id}.{timestamp}.{body}").as_bytes());
    let expected = format!("v1,{}", STANDARD.encode(mac.finalize().into_bytes()));
    if header("webhook-signature") != expected {
        return HttpResponse::Unauthorized().finish();
    }
    receiver.got.lock().unwrap().push(Got {
        path: request.path().into(),
        id,
        timestamp_s: timestamp.parse().unwrap(),
        body: serde_json::from_str(&body).unwrap(),
    });
    let status = receiver.answers.lock().unwrap().pop_front().unwrap_or(204);
    HttpResponse::build(StatusCode::from_u16(status).unwrap()).insert_header(("location", "/elsewhere")).finish()
}

impl Receiver {
    /// Starts one that gives these answers first; gives its address.
    pub(crate) fn start(answers: &[u16]) -> (Self, String) {
        let receiver = Self { answers: Arc::new(Mutex::new(answers.iter().copied().collect())), ..Self::default() };
        let data = web::Data::new(receiver.clone());
        let app = move || App::new().app_data(data.clone()).default_service(web::to(take));
        let server = HttpServer::new(app).workers(1).disable_signals().bind("127.0.0.1:0").unwrap();
        let url = format!("http://{}/hook", server.addrs()[0]);
        drop(TaskTracker::new().spawn(server.run()));
        (receiver, url)
    }

    pub(crate) fn got(&self) -> Vec<Got> {
        self.got.lock().unwrap().clone()
    }
}

/// A bench with one receiver and the first alert of a glue-up in the outbox.
async fn told(url: &str) -> Bench {
    let mut shop = Shop::small();
    let hook = Webhook { name: "phone".into(), url: url.into(), secret: SECRET.into(), ..Webhook::default() };
    shop.settings.webhooks.push(hook);
    shop.settings.shop.digest_at = "23:59".into();
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    assert_eq!(bench.live_minutes("bench", 35, 20.0, 50.0).await, 1);
    bench
}

async fn delivery(bench: &Bench) -> Value {
    let deliveries = bench.alert("g-1:scrape_flush").await["deliveries"].clone();
    assert_eq!(deliveries.as_array().map(Vec::len), Some(1), "{deliveries}");
    deliveries[0].clone()
}

#[tokio::test]
async fn an_alert_reaches_its_receiver_once_signed_and_with_a_stable_id() {
    let (receiver, url) = Receiver::start(&[]);
    let bench = told(&url).await;
    assert_eq!(bench.deliveries().await, 1);
    assert_eq!(bench.deliveries().await, 0);
    let got = receiver.got();
    assert_eq!(got.len(), 1);
    assert!(got[0].id.starts_with("g-1:scrape_flush."), "{}", got[0].id);
    assert_eq!(got[0].timestamp_s, bench.now.ms() / 1000);
    assert_eq!(got[0].body["type"], "milestone.reached");
    let alert = bench.alert("g-1:scrape_flush").await;
    for field in ["id", "title", "body"] {
        assert_eq!(got[0].body["data"][field], alert[field]);
    }
    assert_eq!(got[0].body["timestamp"], alert["due_at"]);
    assert_eq!(delivery(&bench).await["state"], "delivered");
    let bench = bench.restart(false).await;
    assert_eq!((bench.alarms().await, bench.deliveries().await), (0, 0));
    bench.stop().await;
}

#[tokio::test]
async fn what_a_receiver_fails_to_take_is_tried_again_after_each_wait_with_the_same_id() {
    let (receiver, url) = Receiver::start(&[500, 503]);
    let mut bench = told(&url).await;
    assert_eq!(bench.deliveries().await, 1);
    for (n, wait) in [(1, 5), (2, 30)] {
        let waits = delivery(&bench).await;
        assert_eq!((&waits["state"], &waits["attempts"]), (&json!("waiting"), &json!(n)));
        assert_eq!(super::at_ms(&waits["next_at"]) / 1000, bench.now.ms() / 1000 + wait);
        assert!(waits["error"].as_str().is_some_and(|error| error.contains("50")), "{waits}");
        bench.wait_seconds(wait - 1);
        assert_eq!(bench.deliveries().await, 0);
        // It waits on disk, not in memory.
        bench = bench.restart(false).await;
        bench.wait_seconds(1);
        assert_eq!(bench.deliveries().await, 1);
    }
    assert_eq!(delivery(&bench).await["state"], "delivered");
    let got = receiver.got();
    assert_eq!(got.len(), 3);
    assert!(got.iter().all(|g| g.id == got[0].id && g.body == got[0].body), "{got:?}");
    assert!(got.is_sorted_by(|a, b| a.timestamp_s < b.timestamp_s), "{got:?}");
    bench.stop().await;
}

#[tokio::test]
async fn a_receiver_that_is_gone_for_good_is_not_tried_again() {
    let (receiver, url) = Receiver::start(&[410]);
    let bench = told(&url).await;
    assert_eq!(bench.deliveries().await, 1);
    let given_up = delivery(&bench).await;
    assert_eq!((&given_up["state"], &given_up["next_at"]), (&json!("given_up"), &json!(null)));
    assert!(given_up["error"].as_str().unwrap().contains("410"), "{given_up}");
    bench.wait_seconds(86_400);
    assert_eq!(bench.deliveries().await, 0);
    assert_eq!(receiver.got().len(), 1);
    bench.stop().await;
}

#[tokio::test]
async fn a_redirect_is_not_followed() {
    let (receiver, url) = Receiver::start(&[307, 302]);
    let bench = told(&url).await;
    bench.deliveries().await;
    bench.wait_seconds(5);
    bench.deliveries().await;
    let waits = delivery(&bench).await;
    assert_eq!((&waits["state"], &waits["attempts"]), (&json!("waiting"), &json!(2)));
    let got = receiver.got();
    assert_eq!(got.iter().map(|g| g.path.as_str()).collect::<Vec<_>>(), ["/hook", "/hook"]);
    bench.stop().await;
}

#[tokio::test]
async fn an_unreachable_receiver_leaves_the_alert_waiting_with_the_reason() {
    let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}/hook?token=hidden", listener.local_addr().unwrap());
    drop(listener);
    let bench = told(&url).await;
    assert_eq!(bench.deliveries().await, 1);
    let waits = delivery(&bench).await;
    assert_eq!((&waits["state"], &waits["attempts"]), (&json!("waiting"), &json!(1)));
    let error = waits["error"].as_str().unwrap();
    assert!(error.contains("refused"), "it does not say why: {error}");
    assert!(!error.contains("hidden"), "it tells the address: {error}");
    // An alert a day old helps nobody.
    bench.wait_seconds(86_401);
    assert_eq!(bench.deliveries().await, 1);
    assert_eq!(delivery(&bench).await["state"], "given_up");
    bench.stop().await;
}

#[tokio::test]
async fn an_alert_taken_back_before_it_was_delivered_does_not_go_out() {
    let (receiver, url) = Receiver::start(&[500]);
    let bench = told(&url).await;
    assert_eq!(bench.deliveries().await, 1);
    bench.post("/api/v1/glue-ups/g-1/withdraw", json!({"reason": "taken apart"})).await.good();
    bench.wait_seconds(60);
    assert_eq!(bench.deliveries().await, 1);
    let given_up = delivery(&bench).await;
    assert_eq!(given_up["state"], "given_up");
    assert!(given_up["error"].as_str().unwrap().contains("taken back"), "{given_up}");
    assert_eq!(receiver.got().len(), 1, "only the first attempt went out");
    bench.stop().await;
}

#[tokio::test]
async fn a_snoozed_alert_is_delivered_again_under_an_id_of_its_own() {
    let (receiver, url) = Receiver::start(&[]);
    let bench = told(&url).await;
    bench.deliveries().await;
    bench.post("/api/v1/alerts/g-1:scrape_flush/snooze", json!({"minutes": 5})).await.good();
    bench.wait_minutes(5);
    assert_eq!((bench.alarms().await, bench.deliveries().await), (1, 1));
    let got = receiver.got();
    assert_eq!(got.len(), 2);
    assert_ne!(got[0].id, got[1].id);
    assert_eq!(got[0].body["data"]["id"], got[1].body["data"]["id"]);
    bench.stop().await;
}

#[tokio::test]
async fn the_delivery_task_hands_an_alert_over_by_itself() {
    let (receiver, url) = Receiver::start(&[]);
    let bench = told(&url).await.restart(true).await;
    bench::until("the receiver has it", async || (!receiver.got().is_empty()).then_some(())).await;
    bench::until("it is written down", async || (delivery(&bench).await["state"] == "delivered").then_some(())).await;
    assert_eq!(receiver.got().len(), 1);
    bench.stop().await;
}
