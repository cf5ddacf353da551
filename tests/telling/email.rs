//! E-mail, to a real mail server that wants TLS and a login (`tests/peers/smtp_sink.py`, aiosmtpd).

use bench::{Bench, Shop};
use serde_json::{Value, json};

use super::{hook, last_to, outbox, peer::Peer, person, shop, told};
use crate::{http::webhooks::Receiver, intake::mqtt::free_port};

/// A mail server that gives these answers first, and a shop that knows it.
pub(super) fn served(mode: &str, answers: &[&str], channels: &[&str]) -> (Peer, Shop) {
    let mut shop = shop("");
    let (port, folder) = (free_port().to_string(), shop.folder().display().to_string());
    let sink = Peer::start("smtp_sink.py", &[&[port.as_str(), folder.as_str(), mode], answers].concat());
    let scheme = if mode == "smtps" { "smtps" } else { "smtp" };
    let email = &mut shop.settings.email;
    email.url = format!("{scheme}://127.0.0.1:{port}");
    email.from = "The bench <bench@example.org>".into();
    (email.username, email.password) = ("bench".into(), "a password of the tests".into());
    email.ca_file = sink.hello["ca"].as_str().unwrap().into();
    shop.settings.people = vec![person("mia", channels)];
    (sink, shop)
}

async fn alert(bench: &Bench) -> Value {
    bench.alert("g-1:scrape_flush").await
}

async fn arrives(mode: &str) {
    let (sink, shop) = served(mode, &[], &["email"]);
    let bench = told(shop).await;
    assert_eq!(bench.deliveries().await, 1);
    assert_eq!(outbox(&bench).await, ["mia:email delivered"], "{}", last_to(&bench, "mia:email").await);
    let mail = sink.next();
    assert_eq!((&mail["tls"], &mail["user"]), (&json!(true), &json!("bench")));
    assert_eq!((&mail["from"], &mail["to"]), (&json!("bench@example.org"), &json!(["mia@example.org"])));
    let alert = alert(&bench).await;
    assert_eq!(mail["subject"], alert["title"]);
    let words = |text: &Value| text.as_str().unwrap().split_whitespace().map(str::to_string).collect::<Vec<_>>();
    assert_eq!(words(&mail["body"]), words(&alert["body"]));
    let headers = &mail["headers"];
    assert!(headers["Content-Type"].as_str().unwrap().starts_with("text/plain"), "{headers}");
    assert_eq!(headers["Auto-Submitted"], "auto-generated");
    assert_eq!(headers["References"], "<g-1.scrape_flush@example.org>");
    assert!(headers["Date"].as_str().unwrap().starts_with("Mon, 02 Mar 2026 08:35:00"), "{headers}");
    bench.stop().await;
}

#[tokio::test]
async fn an_alert_arrives_as_plain_text_over_starttls() {
    arrives("starttls").await;
}

#[tokio::test]
async fn an_alert_arrives_as_plain_text_over_tls_from_the_start() {
    arrives("smtps").await;
}

#[tokio::test]
async fn what_the_server_puts_off_comes_again_under_the_same_message_id() {
    let (sink, shop) = served("starttls", &["451 later"], &["email"]);
    let bench = told(shop).await;
    bench.deliveries().await;
    let waits = last_to(&bench, "mia:email").await;
    assert_eq!(waits["state"], "waiting");
    assert!(waits["error"].as_str().unwrap().contains("later"), "{waits}");
    bench.wait_seconds(5);
    bench.deliveries().await;
    let (first, second) = (sink.next(), sink.next());
    assert_eq!((&first["answer"], &second["answer"]), (&json!("451 later"), &json!("250 taken")));
    assert_eq!(first["headers"]["Message-ID"], second["headers"]["Message-ID"]);
    assert_eq!(last_to(&bench, "mia:email").await["state"], "delivered");
    bench.stop().await;
}

#[tokio::test]
async fn what_the_server_refuses_for_good_goes_by_the_next_channel_at_once() {
    let (sink, mut shop) = served("starttls", &["550 no such person"], &["email", "wall"]);
    let (wall, url) = Receiver::start(&[]);
    shop.settings.webhooks = vec![hook("wall", &url)];
    let bench = told(shop).await;
    bench.deliveries().await;
    bench.deliveries().await;
    assert_eq!(sink.next()["answer"], "550 no such person");
    assert_eq!(outbox(&bench).await, ["mia:email given_up", "mia:wall delivered"]);
    assert!(last_to(&bench, "mia:email").await["error"].as_str().unwrap().contains("no such person"));
    assert_eq!(wall.got().len(), 1);
    bench.stop().await;
}

#[tokio::test]
async fn a_server_whose_certificate_nobody_vouches_for_gets_neither_password_nor_alert() {
    let (sink, mut shop) = served("starttls", &[], &["email"]);
    shop.settings.email.ca_file = std::path::PathBuf::new();
    let bench = told(shop).await;
    bench.deliveries().await;
    let waits = last_to(&bench, "mia:email").await;
    assert_eq!(waits["state"], "waiting");
    assert!(waits["error"].as_str().unwrap().to_lowercase().contains("certificate"), "{waits}");
    assert!(sink.is_quiet());
    bench.stop().await;
}
