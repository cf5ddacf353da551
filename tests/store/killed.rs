//! An instance is killed between the two halves of taking an alert back. The other was told nothing of it, and whoever
//! was told the alert hears from it that it is not so.
//!
//! What a moment of the program waits for is held in the database: a lock past the service stops it there.

use std::{
    io::{Read, Write},
    net::{SocketAddr, TcpListener},
    sync::mpsc::{Receiver, Sender, channel},
};

use bench::{
    postgres::{self, Held},
    program::{Home, Program},
    until,
};
use serde_json::json;

use super::instances::settings;

/// A receiver that keeps whoever speaks to it first waiting until it is let go, and answers everybody else at once.
struct Slow {
    address: SocketAddr,
    /// What came, as it was sent.
    came: Receiver<String>,
    go: Sender<()>,
}

impl Slow {
    fn start() -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let address = listener.local_addr().unwrap();
        let ((send, came), (go, wait)) = (channel(), channel::<()>());
        std::thread::spawn(move || {
            for n in 0.. {
                let (mut stream, _) = listener.accept().unwrap();
                let mut request = Vec::new();
                let mut part = [0; 16 * 1024];
                // The body is JSON and ends with a brace.
                while !request.ends_with(b"}") {
                    let read = stream.read(&mut part).unwrap();
                    request.extend_from_slice(&part[..read]);
                }
                if send.send(String::from_utf8(request).unwrap()).is_err() {
                    return;
                }
                if n == 0 {
                    wait.recv().unwrap();
                }
                // Whoever was killed takes no answer.
                drop(stream.write_all(b"HTTP/1.1 204 No Content\r\nConnection: close\r\n\r\n"));
            }
        });
        Self { address, came, go }
    }

    /// The next that comes.
    async fn next(&self) -> String {
        until("a message comes", async || self.came.try_recv().ok()).await
    }
}

/// Two instances, of which the first has the duty and has just sent the alert of a glue-up, which is not answered yet.
struct Shop {
    server: postgres::Database,
    receiver: Slow,
    teller: Program,
    other: Program,
    _homes: [Home; 2],
}

impl Shop {
    async fn telling() -> Self {
        let (server, receiver) = (postgres::Database::new(), Slow::start());
        let homes = [Home::new(), Home::new()];
        let hook = format!("http://{}/hook", receiver.address);
        homes.iter().for_each(|home| home.write(&settings(home, &server, &hook)));
        let teller = Program::serve(&homes[0]).await;
        let other = Program::serve(&homes[1]).await;
        teller.furnish().await;
        // After 40 minutes the squeeze-out may be scraped; the clamps stay on.
        let body = json!({"id": "g-1", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
                          "minutes_ago": 40});
        teller.post("/api/v1/glue-ups", body).await;
        until("the other has heard of it", async || {
            (other.get("/api/v1/alerts/g-1:scrape_flush").await.status == 200).then_some(())
        })
        .await;
        assert!(receiver.next().await.contains("milestone.reached"));
        Self { server, receiver, teller, other, _homes: homes }
    }

    async fn hold(&self, sql: &str) -> Held {
        let held = self.server.hold(sql);
        until("it is held", async || held.is_granted().then_some(())).await;
        held
    }

    /// Waits until somebody of the service waits for a lock with a statement like this.
    async fn until_stopped(&self, statement: &str) {
        let waiting = format!(
            "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database() AND wait_event_type = 'Lock' \
             AND query LIKE '{statement}'"
        );
        until(statement, async || (self.server.ask(&waiting) != "0").then_some(())).await;
    }

    async fn until_so(&self, sql: &str) {
        until(sql, async || (self.server.ask(sql) == "1").then_some(())).await;
    }
}

const TOLD: &str = "SELECT count(*) FROM delivery WHERE state = 'delivered'";
const WITHDRAWN: &str = "SELECT count(*) FROM journal WHERE kind = 'cure_withdrawn'";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_told_it_is_killed_before_it_heard_that_it_is_not_so() {
    let shop = Shop::telling().await;
    // It has looked whether the alert is still so, and is to write down that it was told.
    let row = shop.hold("SELECT FROM delivery FOR UPDATE").await;
    shop.receiver.go.send(()).unwrap();
    shop.until_stopped("UPDATE delivery%").await;
    shop.other.post("/api/v1/glue-ups/g-1/withdraw", json!({"reason": "wrong joint"})).await;
    // Then it would hear what the other said.
    let pen = shop.hold("LOCK TABLE shop IN ACCESS EXCLUSIVE MODE").await;
    row.let_go();
    shop.until_so(TOLD).await;
    shop.teller.kill();
    pen.let_go();
    let next = shop.receiver.next().await;
    assert!(next.contains("alert.retracted") && next.contains("g-1:scrape_flush"), "{next}");
    shop.other.terminate().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_took_it_back_is_killed_before_it_saw_that_it_was_told() {
    let shop = Shop::telling().await;
    // The other has looked who was told, nobody yet, and is to say that it is not so.
    let pen = shop.hold("SELECT FROM shop FOR UPDATE").await;
    let url = shop.other.url("/api/v1/glue-ups/g-1/withdraw");
    let asked = shop.other.http().post(url).json(&json!({"reason": "wrong joint"}));
    let asked = tokio_util::task::TaskTracker::new().spawn(asked.send());
    shop.until_stopped("%FROM shop FOR UPDATE").await;
    shop.receiver.go.send(()).unwrap();
    shop.until_so(TOLD).await;
    // The teller looks whether it is still so, which it is, and has done that when it has answered a few times.
    for _ in 0..5 {
        assert_eq!(shop.teller.get("/api/v1/alerts/g-1:scrape_flush").await.json["state"], "open");
    }
    let gate = shop.server.hold("LOCK TABLE shop IN ACCESS EXCLUSIVE MODE");
    shop.until_stopped("%LOCK TABLE shop%").await;
    pen.let_go();
    shop.until_so(WITHDRAWN).await;
    shop.other.kill();
    gate.let_go();
    assert!(asked.await.unwrap().is_err(), "it answered: it was killed too late");
    let next = shop.receiver.next().await;
    assert!(next.contains("alert.retracted") && next.contains("g-1:scrape_flush"), "{next}");
    shop.teller.terminate().await;
}
