//! The tasks themselves, with their real timers: the few tests in which nothing is stepped.

use std::time::Duration;

use bench::{BEGIN, Bench, Shop, ms, until};
use benchclock::Now;
use serde_json::json;

use super::events::Listener;

/// A shop with its tasks running, whose digest does not come in between.
async fn running() -> Bench {
    let mut shop = Shop::small();
    shop.settings.scripts.watch = true;
    shop.settings.shop.digest_at = "23:59".into();
    Bench::open(shop, Now::standing_at(ms(BEGIN)), true).await
}

#[tokio::test]
async fn the_alarm_task_follows_the_wall_clock_when_it_is_set_ahead() {
    let bench = running().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    assert!(bench.items("/api/v1/alerts").await.is_empty());
    // As after a suspend: the timers stood still, the wall clock did not.
    bench.wait_minutes(120);
    let told = async || {
        let alerts = bench.items("/api/v1/alerts").await;
        (alerts.len() == 2).then_some(alerts)
    };
    let alerts = until("both milestones are told", told).await;
    assert_eq!(alerts[0]["stage"], "clamp_off");
    assert_eq!(alerts[0]["late"], true);
    bench.stop().await;
}

#[tokio::test]
async fn a_fact_rings_the_alarm_task_at_once() {
    let bench = running().await;
    bench.furnish().await;
    let mut listener = Listener::come(&bench, None).await;
    let body = json!({"id": "g-1", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
                      "minutes_ago": 120});
    bench.post("/api/v1/glue-ups", body).await.good();
    assert_eq!(listener.fact().await.data["fact"]["kind"], "cure_begun");
    assert_eq!(listener.fact().await.name, "alert");
    drop(listener);
    bench.stop().await;
}

#[tokio::test]
async fn a_service_that_is_stopped_ends_its_tasks_and_streams_and_lets_go_of_the_journal() {
    let bench = running().await;
    bench.furnish().await;
    let mut listener = Listener::come(&bench, None).await;
    let stopped = tokio::time::timeout(Duration::from_secs(60), bench.stop());
    let (shop, _) = stopped.await.expect("it stops");
    assert_eq!(listener.event().await, None);
    let journal = rusqlite::Connection::open(&shop.settings.store.path).unwrap();
    // What the server's own threads still had in hand goes with them, a moment after it has ended.
    let free = "PRAGMA locking_mode = EXCLUSIVE; BEGIN EXCLUSIVE; COMMIT";
    bench::until("nobody holds the journal", async || journal.execute_batch(free).ok()).await;
}
