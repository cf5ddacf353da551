//! Readings from a real broker: taken once, acknowledged when on disk, nothing lost while either side is away.

use std::{
    net::TcpListener,
    path::Path,
    process::{Child, Command, Stdio},
};

use bench::{Bench, Shop, until};
use benchclock::Now;
use rumqttc::{AsyncClient, Event, Incoming, MqttOptions, QoS};
use serde_json::{Value, json};

use super::held;

/// A broker on loopback that keeps its sessions in a folder; ended when dropped.
pub(crate) struct Broker(Child);

impl Broker {
    pub(crate) fn start(folder: &Path, port: u16) -> Self {
        let store = folder.join("mosquitto");
        std::fs::create_dir_all(&store).expect("a folder for the broker");
        let conf = folder.join("mosquitto.conf");
        // Run as root it would give its rights away and could not write into our folder.
        let user = Command::new("id").arg("-un").output().expect("id is there").stdout;
        let text = format!(
            "listener {port} 127.0.0.1\nallow_anonymous true\npersistence true\npersistence_location {}/\n\
             autosave_on_changes true\nautosave_interval 1\nuser {}\nlog_type none\n",
            store.display(),
            String::from_utf8_lossy(&user).trim()
        );
        std::fs::write(&conf, text).expect("its settings");
        let program = ["/usr/sbin/mosquitto", "/usr/local/sbin/mosquitto", "/usr/bin/mosquitto"]
            .into_iter()
            .find(|path| Path::new(path).exists())
            .expect("mosquitto is installed; tests/run does it");
        let child = Command::new(program).arg("-c").arg(&conf).stdout(Stdio::null()).stderr(Stdio::null()).spawn();
        Self(child.expect("the broker starts"))
    }

    fn stop(&mut self) {
        // It writes its sessions when it is asked to end.
        let asked = Command::new("kill").arg(self.0.id().to_string()).status();
        assert!(asked.is_ok_and(|status| status.success()));
        self.0.wait().expect("it ends");
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        // It may have ended already.
        drop(self.0.kill());
        drop(self.0.wait());
    }
}

pub(crate) fn free_port() -> u16 {
    let listener = TcpListener::bind("127.0.0.1:0").expect("a port");
    listener.local_addr().expect("its address").port()
}

fn shop(port: u16, version: &str) -> Shop {
    let mut shop = Shop::small();
    shop.settings.mqtt.url = format!("mqtt://127.0.0.1:{port}");
    shop.settings.mqtt.version = version.into();
    shop
}

/// Publishes at QoS 1 and waits until the broker has them all.
async fn publish(port: u16, messages: &[(&str, String)]) {
    let mut options = MqttOptions::new(format!("device-{}", uuid()), "127.0.0.1", port);
    options.set_inflight(50);
    let (client, mut events) = AsyncClient::new(options, messages.len() + 1);
    for (topic, payload) in messages {
        client.publish(*topic, QoS::AtLeastOnce, false, payload.clone()).await.expect("it waits");
    }
    let mut acknowledged = 0;
    while acknowledged < messages.len() {
        match events.poll().await {
            Ok(Event::Incoming(Incoming::PubAck(_))) => acknowledged += 1,
            Ok(_) => {}
            Err(_) => tokio::time::sleep(std::time::Duration::from_millis(50)).await,
        }
    }
}

fn uuid() -> u128 {
    std::time::UNIX_EPOCH.elapsed().expect("after 1970").as_nanos()
}

fn reading(now: &Now, minutes_ago: i64, temp_c: f64) -> String {
    json!({"temp_c": temp_c, "rh_pct": 50, "at": now.ms() / 1000 - minutes_ago * 60}).to_string()
}

async fn mqtt(bench: &Bench) -> Value {
    bench.get("/health/ready").await.json["mqtt"].clone()
}

async fn connected(bench: &Bench) {
    until("the broker is connected", async || (mqtt(bench).await["state"] == "connected").then_some(())).await;
}

async fn taken(bench: &Bench, n: u64) {
    until("all are taken", async || {
        let sensors = bench.items("/api/v1/zones/bench/sensors").await;
        let readings: u64 = sensors.iter().filter_map(|sensor| sensor["readings"].as_u64()).sum();
        (readings >= n).then_some(())
    })
    .await;
}

async fn end_as_any_other(version: &str) {
    let (port, folder, now) = (free_port(), tempfile::tempdir().expect("a folder"), Now::system());
    let _broker = Broker::start(folder.path(), port);
    let bench = Bench::open(shop(port, version), now.clone(), true).await;
    bench.furnish().await;
    connected(&bench).await;
    let topic = "benchclock/bench/north";
    publish(
        port,
        &[
            (topic, reading(&now, 10, 20.0)),
            (topic, reading(&now, 10, 20.0)),
            (topic, reading(&now, 5, 20.1)),
            (topic, reading(&now, 0, 690.0)),
            (topic, "hello".into()),
            ("benchclock/attic/north", reading(&now, 5, 20.1)),
            ("benchclock/bench/north/else", reading(&now, 1, 20.1)),
        ],
    )
    .await;
    taken(&bench, 2).await;
    until("every message is counted", async || {
        let mqtt = mqtt(&bench).await;
        let counted = ["taken", "known", "held", "refused"].map(|ended| mqtt[ended].as_u64().unwrap_or_default());
        (counted == [2, 1, 1, 2]).then_some(())
    })
    .await;
    assert_eq!(held(&bench).await[0]["by"], "mqtt");
    assert!(mqtt(&bench).await["last_refusal"].as_str().is_some_and(|said| !said.is_empty()));
    assert_eq!(bench.items("/api/v1/zones/bench/sensors").await[0]["sensor"], "north");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn messages_of_version_3_1_1_end_as_any_other_reading() {
    end_as_any_other("3.1.1").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn messages_of_version_5_end_as_any_other_reading() {
    end_as_any_other("5").await;
}

async fn nothing_is_lost(version: &str) {
    let (port, folder, now) = (free_port(), tempfile::tempdir().expect("a folder"), Now::system());
    let _broker = Broker::start(folder.path(), port);
    let bench = Bench::open(shop(port, version), now.clone(), true).await;
    bench.furnish().await;
    connected(&bench).await;
    // The subscription stands once a message has come by it.
    publish(port, &[("benchclock/bench/north", reading(&now, 301, 20.0))]).await;
    taken(&bench, 1).await;
    let (shop, now) = bench.stop().await;
    let messages: Vec<_> = (0..300).map(|i| ("benchclock/bench/north", reading(&now, 300 - i, 20.0))).collect();
    publish(port, &messages[..90]).await;
    let bench = Bench::open(shop, now, true).await;
    taken(&bench, 91).await;
    // While messages come, the service is stopped and started again.
    publish(port, &messages[90..]).await;
    let bench = bench.restart(true).await;
    taken(&bench, 301).await;
    assert_eq!(bench.get("/api/v1/zones/bench").await.good()["readings"], 301);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_lost_while_the_service_is_away_by_version_3_1_1() {
    nothing_is_lost("3.1.1").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn nothing_is_lost_while_the_service_is_away_by_version_5() {
    nothing_is_lost("5").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broker_that_is_down_or_goes_away_is_said_and_found_again() {
    let (port, folder, now) = (free_port(), tempfile::tempdir().expect("a folder"), Now::system());
    let bench = Bench::open(shop(port, "3.1.1"), now.clone(), true).await;
    bench.furnish().await;
    until("it is said to be down", async || mqtt(&bench).await["why"].as_str().map(|_| ())).await;
    let ready = bench.get("/health/ready").await;
    assert_eq!((ready.status, &ready.json["mqtt"]["state"]), (200, &json!("down")));
    bench.read_air("bench", 20.0, 50.0).await;
    let mut broker = Broker::start(folder.path(), port);
    connected(&bench).await;
    publish(port, &[("benchclock/bench/north", reading(&now, 5, 20.0))]).await;
    taken(&bench, 2).await;
    broker.stop();
    until("it is said to be away", async || (mqtt(&bench).await["state"] == "down").then_some(())).await;
    let _broker = Broker::start(folder.path(), port);
    connected(&bench).await;
    publish(port, &[("benchclock/bench/north", reading(&now, 4, 20.0))]).await;
    taken(&bench, 3).await;
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_message_is_acknowledged_only_when_it_is_on_disk() {
    let (port, folder, now) = (free_port(), tempfile::tempdir().expect("a folder"), Now::system());
    let _broker = Broker::start(folder.path(), port);
    let bench = Bench::open(shop(port, "3.1.1"), now.clone(), true).await;
    bench.furnish().await;
    connected(&bench).await;
    publish(port, &[("benchclock/bench/north", reading(&now, 9, 20.0))]).await;
    taken(&bench, 1).await;
    // Another process holds the database: nothing can be written, so nothing is acknowledged.
    let lock = rusqlite::Connection::open(&bench.shop.settings.store.path).expect("the journal");
    lock.execute_batch("BEGIN IMMEDIATE").expect("it is free");
    publish(port, &[("benchclock/bench/north", reading(&now, 8, 20.0))]).await;
    tokio::time::sleep(std::time::Duration::from_millis(300)).await;
    let (shop, now) = bench.stop().await;
    lock.execute_batch("ROLLBACK").expect("it was held");
    drop(lock);
    let bench = Bench::open(shop, now, true).await;
    taken(&bench, 2).await;
    bench.stop().await;
}
