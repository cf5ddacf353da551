//! Web Push, to an endpoint that opens what it gets with libraries of its own (`tests/peers/push_endpoint.py`: http_ece for
//! RFC 8291, py_vapid for RFC 8292).

use std::{fs::Permissions, os::unix::fs::PermissionsExt};

use bench::{BEGIN, Bench, Shop, ms};
use benchclock::Now;
use serde_json::{Value, json};
use store::Database;

use super::{hook, last_to, outbox, peer::Peer, person, shop, told};
use crate::http::webhooks::Receiver;

pub(super) fn subscription(endpoint: &Peer, path: &str) -> Value {
    let url = format!("{}{path}", endpoint.hello["url"].as_str().unwrap());
    json!({"person": "mia", "subscription": {"endpoint": url, "expirationTime": null,
           "keys": {"p256dh": endpoint.hello["p256dh"], "auth": endpoint.hello["auth"]}}})
}

/// A bench whose Mia is told by push, then by a webhook; a first alert is told.
async fn bench(url: &str) -> Bench {
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", url)];
    shop.settings.people = vec![person("mia", &["push", "wall"])];
    shop.settings.push.contact = "mailto:shop@example.org".into();
    told(shop).await
}

#[tokio::test]
async fn a_browser_gets_what_only_it_can_read_from_a_sender_it_knows() {
    let endpoint = Peer::start("push_endpoint.py", &[]);
    let bench = bench("http://127.0.0.1:9/").await;
    let subscribed = bench.post("/api/v1/push-subscriptions", subscription(&endpoint, "/ok/1")).await.good();
    assert_eq!((&subscribed["person"], &subscribed["service"]), (&json!("mia"), &json!("127.0.0.1")));
    // The key it was given when it subscribed is the one messages are signed with, after a restart too.
    let bench = bench.restart(false).await;
    let key = bench.get("/api/v1/push-key").await.good();
    assert_eq!(bench.deliveries().await, 1);
    assert_eq!(outbox(&bench).await, ["mia:push delivered"], "{}", last_to(&bench, "mia:push").await);
    let got = endpoint.next();
    assert_eq!((&got["verified"], &got["key"]), (&json!(true), &key["key"]));
    assert_eq!(got["claims"]["aud"], endpoint.hello["url"]);
    assert_eq!(got["claims"]["sub"], "mailto:shop@example.org");
    let exp = got["claims"]["exp"].as_i64().unwrap() - bench.now.ms() / 1000;
    assert!((1..=86_400).contains(&exp), "{exp}");
    let plain: Value = serde_json::from_str(got["plain"].as_str().unwrap()).unwrap();
    let alert = bench.alert("g-1:scrape_flush").await;
    assert_eq!((&plain["title"], &plain["body"]), (&alert["title"], &alert["body"]));
    assert_eq!((&plain["page"], &plain["alert"]), (&json!("/cures/g-1"), &json!("g-1:scrape_flush")));
    let headers = &got["headers"];
    assert_eq!((&headers["content-encoding"], &headers["urgency"]), (&json!("aes128gcm"), &json!("normal")));
    // Of use for a day after it was told, and it was told five minutes ago.
    assert_eq!(headers["ttl"], "86100");
    let topic = headers["topic"].as_str().unwrap();
    assert!(topic.len() <= 32 && topic.chars().all(|c| c.is_ascii_alphanumeric() || "-_".contains(c)), "{topic}");
    bench.stop().await;
}

#[tokio::test]
async fn a_window_that_closes_is_urgent_and_kept_no_longer_than_it_is_of_use() {
    let endpoint = Peer::start("push_endpoint.py", &[]);
    let mut shop = shop("slow-epoxy");
    shop.settings.people = vec![person("mia", &["push"])];
    shop.settings.push.contact = "mailto:shop@example.org".into();
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    bench.post("/api/v1/push-subscriptions", subscription(&endpoint, "/ok")).await.good();
    let epoxy = json!({"id": "g-1", "joint": "bridge", "material": "slow-epoxy", "zone": "bench"});
    bench.post("/api/v1/glue-ups", epoxy).await.good();
    while bench.live_minutes("bench", 5, 20.0, 50.0).await == 0 {}
    bench.deliveries().await;
    let got = endpoint.next();
    assert_eq!(got["headers"]["urgency"], "high");
    let closes = bench.milestone("g-1", "assembly_closes").await;
    let left_s = (ms(closes["safe_at"].as_str().unwrap()) - bench.now.ms()) / 1000;
    let ttl: i64 = got["headers"]["ttl"].as_str().unwrap().parse().unwrap();
    assert!((ttl - left_s).abs() <= 1 && ttl < 3600, "{ttl} {left_s}");
    bench.stop().await;
}

#[tokio::test]
async fn a_browser_that_is_gone_is_forgotten_and_the_next_channel_takes_over() {
    let endpoint = Peer::start("push_endpoint.py", &[]);
    let (wall, url) = Receiver::start(&[]);
    let bench = bench(&url).await;
    for path in ["/gone", "/missing"] {
        bench.post("/api/v1/push-subscriptions", subscription(&endpoint, path)).await.good();
    }
    assert_eq!(bench.items("/api/v1/push-subscriptions").await.len(), 2);
    assert_eq!((bench.deliveries().await, bench.deliveries().await), (1, 1));
    assert_eq!(outbox(&bench).await, ["mia:push given_up", "mia:wall delivered"]);
    assert!(bench.items("/api/v1/push-subscriptions").await.is_empty());
    assert_eq!(wall.got().len(), 1);
    // The next alert finds no browser.
    assert_eq!(bench.live_minutes("bench", 30, 20.0, 50.0).await, 1);
    bench.deliveries().await;
    let error = last_to(&bench, "mia:push").await["error"].as_str().unwrap().to_string();
    assert!(error.contains("no browser of mia"), "{error}");
    bench.stop().await;
}

#[tokio::test]
async fn a_push_service_that_asks_to_be_left_alone_is_left_alone_that_long() {
    let endpoint = Peer::start("push_endpoint.py", &[]);
    // There is nobody else to take over.
    let mut shop = shop("");
    shop.settings.people = vec![person("mia", &["push"])];
    shop.settings.push.contact = "mailto:shop@example.org".into();
    let bench = told(shop).await;
    bench.post("/api/v1/push-subscriptions", subscription(&endpoint, "/later")).await.good();
    bench.deliveries().await;
    let waits = last_to(&bench, "mia:push").await;
    assert_eq!(crate::http::at_ms(&waits["next_at"]) / 1000, bench.now.ms() / 1000 + 90);
    bench.wait_seconds(89);
    assert_eq!(bench.deliveries().await, 0);
    bench.stop().await;
}

#[tokio::test]
async fn a_subscription_is_one_however_often_it_is_sent_and_its_secrets_are_not_shown() {
    let endpoint = Peer::start("push_endpoint.py", &[]);
    let bench = bench("http://127.0.0.1:9/").await;
    let body = subscription(&endpoint, "/ok");
    let first = bench.post_once("s-1", "/api/v1/push-subscriptions", body.clone()).await.good();
    assert_eq!(bench.post_once("s-1", "/api/v1/push-subscriptions", body.clone()).await.good(), first);
    bench.post("/api/v1/push-subscriptions", body.clone()).await.good();
    let other = subscription(&endpoint, "/ok/2");
    bench.post_once("s-1", "/api/v1/push-subscriptions", other).await.problem(422, "key-reused");
    let listed = bench.get("/api/v1/push-subscriptions").await;
    assert_eq!(listed.json["items"], json!([first]));
    let secret = endpoint.hello["auth"].as_str().unwrap();
    assert!(!listed.text.contains(secret) && !listed.text.contains("/ok"), "{}", listed.text);
    let journal = rusqlite::Connection::open(&bench.shop.settings.store.path).unwrap();
    let facts: i64 = journal
        .query_row("SELECT count(*) FROM journal WHERE body LIKE '%' || ?1 || '%'", [secret], |row| row.get(0))
        .unwrap();
    assert_eq!(facts, 0, "the journal is never edited: a secret must not stand in it");
    let path = format!("/api/v1/push-subscriptions/{}/drop", first["id"].as_str().unwrap());
    assert_eq!(bench.post(&path, json!({})).await.status, 204);
    bench.post(&path, json!({})).await.problem(404, "not-found");
    bench.stop().await;
}

#[tokio::test]
async fn a_subscription_that_cannot_be_is_refused_by_field() {
    let endpoint = Peer::start("push_endpoint.py", &[]);
    let bench = bench("http://127.0.0.1:9/").await;
    let good = subscription(&endpoint, "/ok");
    for (pointer, value, slug, field) in [
        ("/person", json!("nobody"), "unknown-reference", "person"),
        ("/subscription/endpoint", json!("http://push.example/x"), "invalid", "endpoint"),
        ("/subscription/endpoint", json!("push"), "invalid", "endpoint"),
        ("/subscription/keys/p256dh", json!("AAAA"), "invalid", "keys.p256dh"),
        ("/subscription/keys/auth", json!("AAAA"), "invalid", "keys.auth"),
    ] {
        let mut body = good.clone();
        *body.pointer_mut(pointer).unwrap() = value;
        let problem = bench.post("/api/v1/push-subscriptions", body).await.problem(422, slug);
        assert_eq!(problem["field"], field);
    }
    bench.stop().await;
}

#[tokio::test]
async fn the_keys_are_for_nobody_elses_eyes_and_those_of_an_earlier_version_stay() {
    let shop = Shop::small();
    let folder = shop.folder().to_path_buf();
    // As a version laid them beside the database, and that database with the rights the system gives a file.
    let calendar = "AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8";
    std::fs::write(folder.join("calendar-key"), calendar).unwrap();
    std::fs::write(&shop.settings.store.path, "").unwrap();
    std::fs::set_permissions(&shop.settings.store.path, Permissions::from_mode(0o644)).unwrap();
    let photo = "5".repeat(64);
    std::fs::create_dir(folder.join("photos")).unwrap();
    std::fs::write(folder.join(format!("photos/{photo}.jpg")), "a picture").unwrap();
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    let paths = bench.items("/api/v1/calendars").await;
    // HMAC-SHA-256 of "calendar of the shop" under the bytes 0 to 31, its first 20 bytes, by Python's hmac.
    assert_eq!(paths[0]["path"], "/calendar/2992d911f142a83723323384bebba9094bf7d491.ics");
    bench.recurring("backup").await;
    for file in ["journal.db", "journal.db-wal", "backups/benchclock-2026-03-02.db"] {
        let mode = std::fs::metadata(folder.join(file)).unwrap().permissions().mode();
        assert_eq!(mode & 0o007, 0, "{file} is there for others: {mode:o}");
    }
    let mut copy = store::Sqlite::open(&folder.join("backups/benchclock-2026-03-02.db"), "shop").unwrap();
    assert_eq!(copy.file("calendar-key").unwrap(), Some((0..32).collect()));
    assert_eq!(copy.file(&format!("photos/{photo}.jpg")).unwrap(), Some(b"a picture".to_vec()));
    assert!(!folder.join("calendar-key").exists() && !folder.join("photos").exists());
    assert!(folder.join("photos-taken-in").join(format!("{photo}.jpg")).exists());
    let bench = bench.restart(false).await;
    assert_eq!(bench.items("/api/v1/calendars").await, paths);
    bench.stop().await;
}
