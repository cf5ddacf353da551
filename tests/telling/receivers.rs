//! Webhook receivers that misbehave, each over a bare socket: one that hangs, one that answers nonsense, one that never
//! ends its answer; and one that wants no more until it is asked again.

use std::{
    io::{Read, Write},
    net::{TcpListener, TcpStream},
};

use serde_json::json;

use super::{hook, last_to, outbox, person, shop, told};
use crate::http::webhooks::Receiver;

/// Listens and treats every connection as told, on threads of its own.
fn receiver(treat: fn(TcpStream)) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}/hook", listener.local_addr().unwrap());
    std::thread::spawn(move || {
        for connection in listener.incoming().map_while(Result::ok) {
            std::thread::spawn(move || treat(connection));
        }
    });
    url
}

fn hears(connection: &mut TcpStream) {
    let mut heard = [0; 4096];
    drop(connection.read(&mut heard));
}

/// Takes the request and says nothing until the other side gives up.
fn hangs(mut connection: TcpStream) {
    let mut heard = Vec::new();
    drop(connection.read_to_end(&mut heard));
}

fn garbage(mut connection: TcpStream) {
    hears(&mut connection);
    drop(connection.write_all(b"\x00\xff\xfe this is not HTTP at all\r\n\r\n"));
}

/// Asks to be left alone for longer than anything lasts.
fn puts_off(mut connection: TcpStream) {
    hears(&mut connection);
    let answer = format!("HTTP/1.1 503 Later\r\nRetry-After: {}\r\nContent-Length: 0\r\n\r\n", i64::MAX);
    drop(connection.write_all(answer.as_bytes()));
}

/// Says 200 and then sends for as long as anybody listens, at most a gigabyte.
fn endless(mut connection: TcpStream) {
    hears(&mut connection);
    let part = [b'x'; 65_536];
    let mut sent = connection.write_all(b"HTTP/1.1 200 OK\r\nContent-Length: 1073741824\r\n\r\n");
    for _ in 0..16_384 {
        sent = sent.and_then(|()| connection.write_all(&part));
    }
}

/// What the first attempt at a receiver leaves in the outbox.
async fn first_attempt(url: &str) -> (String, String) {
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", url)];
    let bench = told(shop).await;
    assert_eq!(bench.deliveries().await, 1);
    let row = last_to(&bench, "wall").await;
    bench.stop().await;
    (row["state"].as_str().unwrap().into(), row["error"].as_str().unwrap_or_default().into())
}

#[tokio::test]
async fn one_that_hangs_is_given_ten_seconds_and_then_tried_again() {
    let (state, error) = first_attempt(&receiver(hangs)).await;
    assert_eq!((state.as_str(), error.as_str()), ("waiting", "no answer within 10 s"));
}

#[tokio::test(flavor = "multi_thread")]
async fn one_that_hangs_holds_up_nobody_else() {
    let (desk, desk_url) = Receiver::start(&[]);
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &receiver(hangs)), hook("desk", &desk_url)];
    let bench = told(shop).await.restart(true).await;
    bench::until("the desk has the first", async || (desk.got().len() == 1).then_some(())).await;
    // The wall was handed the first at the same time and says nothing. Another alert:
    for _ in 0..6 {
        bench.wait_minutes(5);
        bench.read_air("bench", 20.0, 50.0).await;
    }
    bench::until("the desk has the second", async || (desk.got().len() == 2).then_some(())).await;
    // The desk was not kept waiting: the first attempt at the wall has not even ended.
    let wall = bench.items("/api/v1/deliveries?channel=wall").await;
    assert!(wall.iter().all(|row| row["attempts"] == 0 && row["state"] == "waiting"), "{wall:?}");
    // Nor does a stop wait for it: it was cut off, and is tried again at the next start.
    let (shop, _) = bench.stop().await;
    let mut outbox = store::Sqlite::open(&shop.settings.store.path, &shop.settings.shop.id).unwrap();
    let first = store::Database::due_deliveries(&mut outbox, i64::MAX, 1).unwrap();
    assert_eq!((first[0].channel.as_str(), first[0].attempts), ("wall", 0));
}

/// A receiver that was away for long has much to catch up on, and the others are told all the same.
#[tokio::test]
async fn what_piles_up_for_one_stands_in_nobodys_way() {
    let (desk, desk_url) = Receiver::start(&[]);
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("desk", &desk_url)];
    let bench = told(shop).await;
    let row = |n: i64| store::NewDelivery {
        alert: facts::AlertId::new(format!("old-{n}")).unwrap(),
        channel: "gone".into(),
        body: "{}".into(),
        since_ms: n,
        due_ms: n,
    };
    let mut outbox = store::Sqlite::open(&bench.shop.settings.store.path, &bench.shop.settings.shop.id).unwrap();
    let piled: Vec<_> = (0..500).map(row).collect();
    store::Database::record_deliveries(&mut outbox, &[], &piled).unwrap();
    bench.deliveries().await;
    assert_eq!(desk.got().len(), 1);
    bench.stop().await;
}

#[tokio::test]
async fn one_that_answers_nonsense_is_tried_again() {
    let (state, error) = first_attempt(&receiver(garbage)).await;
    assert_eq!(state, "waiting");
    assert!(!error.is_empty());
}

#[tokio::test]
async fn one_that_asks_to_be_left_alone_for_ever_is_tried_again_within_the_hour() {
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &receiver(puts_off))];
    let bench = told(shop).await;
    assert_eq!(bench.deliveries().await, 1);
    let row = last_to(&bench, "wall").await;
    assert_eq!((&row["state"], &row["attempts"]), (&json!("waiting"), &json!(1)), "{row}");
    assert_eq!(crate::http::at_ms(&row["next_at"]), bench.now.ms() + 3_600_000, "{row}");
    bench.stop().await;
}

/// An hour is no use to somebody who waits to be told.
#[tokio::test]
async fn one_that_asks_to_be_left_alone_for_long_hands_over_at_once() {
    let (desk, desk_url) = Receiver::start(&[]);
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &receiver(puts_off)), hook("desk", &desk_url)];
    shop.settings.people = vec![person("mia", &["wall", "desk"])];
    let bench = told(shop).await;
    assert_eq!((bench.deliveries().await, bench.deliveries().await), (1, 1));
    assert_eq!(outbox(&bench).await, ["mia:wall given_up", "mia:desk delivered"]);
    assert_eq!(desk.got().len(), 1);
    bench.stop().await;
}

#[tokio::test]
async fn one_that_never_ends_its_answer_has_taken_it_and_is_not_listened_to() {
    assert_eq!(first_attempt(&receiver(endless)).await, ("delivered".into(), String::new()));
}

#[tokio::test]
async fn one_that_wants_no_more_is_off_until_a_test_message_gets_through() {
    let ((wall, wall_url), (desk, desk_url)) = (Receiver::start(&[410]), Receiver::start(&[]));
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &wall_url), hook("desk", &desk_url)];
    shop.settings.people = vec![person("mia", &["wall", "desk"])];
    let bench = told(shop).await;
    // The next channel takes over at once.
    assert_eq!((bench.deliveries().await, bench.deliveries().await), (1, 1));
    assert_eq!(outbox(&bench).await, ["mia:wall given_up", "mia:desk delivered"]);
    let bench = bench.restart(false).await;
    let channel = async || bench.items("/api/v1/channels").await[0].clone();
    let shown = channel().await;
    assert_eq!((&shown["id"], &shown["person"], &shown["state"]), (&json!("mia:wall"), &json!("mia"), &json!("off")));
    assert!(shown["why"].as_str().unwrap().contains("410"), "{shown}");
    // Off: the next alert does not go there at all.
    assert_eq!(bench.live_minutes("bench", 30, 20.0, 50.0).await, 1);
    bench.deliveries().await;
    bench.deliveries().await;
    assert_eq!((wall.got().len(), desk.got().len()), (1, 2));
    assert!(last_to(&bench, "mia:wall").await["error"].as_str().unwrap().starts_with("off since"));
    let tested = bench.post("/api/v1/channels/mia:wall/test", json!({})).await.good();
    assert_eq!((&tested["taken"], &tested["error"]), (&json!(true), &json!(null)));
    assert_eq!(channel().await["state"], "on");
    assert_eq!(wall.got().len(), 2);
    bench.post("/api/v1/channels/nobody:wall/test", json!({})).await.problem(404, "not-found");
    bench.stop().await;
}
