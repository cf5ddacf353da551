//! What turns out not to be so is said to whoever was told, by the way it came: in the same thread, in the same place, under
//! the alert's own id; and to nobody else.

use bench::Bench;
use serde_json::{Value, json};

use super::{email, hook, outbox, peer::Peer, person, push::subscription, shop, told};
use crate::http::webhooks::Receiver;

/// The sensor lay on the radiator: it was 10.5 °C all the time, and the glue is not as far as was told.
async fn correct(bench: &Bench, since_min: i64) {
    let row = |n: i64| json!({"zone": "bench", "minutes_ago": since_min + n * 5, "temp_c": 10.5, "rh_pct": 50});
    let rows: Vec<Value> = (0..=7).map(row).collect();
    bench.post("/api/v1/readings", json!({"readings": rows})).await.good();
    assert_eq!(bench.alarms().await, 1);
    assert_eq!(bench.alert("g-1:scrape_flush").await["state"], "retracted");
}

fn types(receiver: &Receiver) -> Vec<String> {
    receiver.got().iter().map(|got| got.body["type"].as_str().unwrap().into()).collect()
}

#[tokio::test]
async fn a_webhook_that_was_told_is_told_that_it_is_not_so_after_a_restart_too() {
    let ((wall, wall_url), (desk, desk_url)) = (Receiver::start(&[]), Receiver::start(&[500]));
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &wall_url), hook("desk", &desk_url)];
    let bench = told(shop).await;
    bench.deliveries().await;
    correct(&bench, 0).await;
    // The desk was not told yet: it hears neither.
    let bench = bench.restart(false).await;
    bench.wait_seconds(5);
    assert_eq!(bench.deliveries().await, 2);
    assert_eq!(outbox(&bench).await, ["wall delivered", "desk given_up", "wall delivered"]);
    assert_eq!((types(&wall), desk.got().len()), (vec!["milestone.reached".into(), "alert.retracted".to_string()], 1));
    let got = wall.got();
    assert_eq!(got[0].body["data"]["id"], got[1].body["data"]["id"]);
    let title = got[0].body["data"]["title"].as_str().unwrap();
    assert_eq!(got[1].body["data"]["title"], format!("Taken back: {title}"));
    let body = got[1].body["data"]["body"].as_str().unwrap();
    assert!(body.contains("readings were corrected") && body.contains("not a guarantee"), "{body}");
    let shown = bench.alert("g-1:scrape_flush").await["deliveries"].clone();
    let takes_back: Vec<&Value> = shown.as_array().unwrap().iter().map(|d| &d["takes_back"]).collect();
    assert_eq!(takes_back, [&json!(false), &json!(false), &json!(true)]);
    bench.stop().await;
}

#[tokio::test]
async fn what_was_told_of_a_glue_up_that_is_withdrawn_is_taken_back_with_the_reason() {
    let (wall, url) = Receiver::start(&[]);
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &url)];
    shop.settings.people = vec![person("mia", &["wall"])];
    let bench = told(shop).await;
    bench.deliveries().await;
    let reason = json!({"reason": "registered twice"});
    bench.post_once("w-1", "/api/v1/glue-ups/g-1/withdraw", reason.clone()).await.good();
    bench.post_once("w-1", "/api/v1/glue-ups/g-1/withdraw", reason).await.good();
    assert_eq!((bench.deliveries().await, bench.deliveries().await), (1, 0));
    assert_eq!(types(&wall), ["milestone.reached", "alert.retracted"]);
    assert!(wall.got()[1].body["data"]["body"].as_str().unwrap().contains("registered twice"));
    bench.stop().await;
}

#[tokio::test]
async fn one_of_several_told_together_is_taken_back_alone() {
    let (wall, url) = Receiver::start(&[]);
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &url)];
    shop.settings.people = vec![person("mia", &["wall"])];
    let bench = told(shop).await;
    let other = json!({"id": "g-2", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
    bench.post("/api/v1/glue-ups", other).await.good();
    assert_eq!(bench.live_minutes("bench", 70, 20.0, 50.0).await, 3);
    while bench.deliveries().await > 0 {}
    let before = wall.got().len();
    bench.post("/api/v1/glue-ups/g-2/withdraw", json!({"reason": "never done"})).await.good();
    while bench.deliveries().await > 0 {}
    let back: Vec<Value> = wall.got()[before..].iter().map(|got| got.body.clone()).collect();
    let mut ids: Vec<&str> = back.iter().map(|body| body["data"]["id"].as_str().unwrap()).collect();
    ids.sort_unstable();
    assert_eq!(ids, ["g-2:clamp_off", "g-2:scrape_flush"]);
    assert!(back.iter().all(|body| body["type"] == "alert.retracted"), "{back:?}");
    bench.stop().await;
}

#[tokio::test]
async fn by_mail_it_stands_below_the_message_that_told_it() {
    let (sink, shop) = email::served("starttls", &[], &["email"]);
    let bench = told(shop).await;
    bench.deliveries().await;
    correct(&bench, 0).await;
    assert_eq!(bench.deliveries().await, 1);
    let (told, back) = (sink.next(), sink.next());
    let id = told["headers"]["Message-ID"].as_str().unwrap();
    assert_eq!(back["headers"]["In-Reply-To"], id);
    // RFC 5322 section 3.6.4: the references of the message answered, and its id.
    let root = told["headers"]["References"].as_str().unwrap();
    assert_eq!(back["headers"]["References"].as_str().unwrap().split_whitespace().collect::<Vec<_>>(), [root, id]);
    assert_ne!(back["headers"]["Message-ID"], id);
    assert_eq!(back["subject"], format!("Taken back: {}", told["subject"].as_str().unwrap()));
    bench.stop().await;
}

#[tokio::test]
async fn on_a_phone_it_takes_the_place_of_what_was_told_before_and_after_it_was_seen() {
    let endpoint = Peer::start("push_endpoint.py", &[]);
    let mut shop = shop("");
    shop.settings.people = vec![person("mia", &["push"])];
    let bench = told(shop).await;
    bench.post("/api/v1/push-subscriptions", subscription(&endpoint, "/ok")).await.good();
    bench.deliveries().await;
    correct(&bench, 0).await;
    assert_eq!(bench.deliveries().await, 1);
    let (told, back) = (endpoint.next(), endpoint.next());
    let plain = |got: &Value| serde_json::from_str::<Value>(got["plain"].as_str().unwrap()).unwrap();
    // A message of the same topic replaces one the browser has not fetched (RFC 8030 section 5.4), one of the same alert
    // replaces the notification it shows.
    assert_eq!(told["headers"]["topic"], back["headers"]["topic"]);
    assert_eq!(plain(&told)["alert"], plain(&back)["alert"]);
    assert!(plain(&back)["title"].as_str().unwrap().starts_with("Taken back: "));
    bench.stop().await;
}

#[tokio::test]
async fn where_the_channel_that_told_it_fails_the_next_one_says_so() {
    let ((wall, wall_url), (desk, desk_url)) = (Receiver::start(&[204, 410]), Receiver::start(&[]));
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &wall_url), hook("desk", &desk_url)];
    shop.settings.people = vec![person("mia", &["wall", "desk"])];
    let bench = told(shop).await;
    bench.deliveries().await;
    correct(&bench, 0).await;
    assert_eq!((bench.deliveries().await, bench.deliveries().await), (1, 1));
    assert_eq!((wall.got().len(), types(&desk)), (2, vec!["alert.retracted".to_string()]));
    assert_eq!(outbox(&bench).await, ["mia:wall delivered", "mia:wall given_up", "mia:desk delivered"]);
    bench.stop().await;
}

#[tokio::test]
async fn it_waits_for_quiet_hours_to_end_and_is_not_told_again_and_again() {
    let (wall, url) = Receiver::start(&[]);
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &url)];
    let mut mia = person("mia", &["wall"]);
    mia.quiet = "08:36-12:00".into();
    shop.settings.people = vec![mia];
    shop.settings.alerts.insist = vec!["milestone".into()];
    let bench = told(shop).await;
    bench.deliveries().await;
    bench.wait_minutes(2);
    correct(&bench, 2).await;
    assert_eq!(bench.deliveries().await, 0);
    bench.now.set(bench::ms("2026-03-02T12:00:00Z"));
    while bench.deliveries().await > 0 {}
    assert_eq!(types(&wall), ["milestone.reached", "alert.retracted"]);
    bench.stop().await;
}
