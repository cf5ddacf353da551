//! What is told: once, to whoever asks, again when put off, late when the service was down, never twice.

use bench::Bench;
use serde_json::json;

use super::{at_ms, each};

/// A bench whose bridge can be unclamped: told "scrape flush" and "clamp off".
async fn told() -> Bench {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    assert_eq!(bench.live_minutes("bench", 65, 20.0, 50.0).await, 2);
    bench
}

#[tokio::test]
async fn alerts_are_listed_newest_first_and_by_state() {
    let bench = told().await;
    bench.post("/api/v1/alerts/g-1:scrape_flush/acknowledge", json!({})).await.good();
    let listed = async |query: &str| {
        let items = bench.items(&format!("/api/v1/alerts{query}")).await;
        each(&items, "stage").join(" ")
    };
    assert_eq!(listed("").await, "clamp_off scrape_flush");
    assert_eq!(listed("?state=open").await, "clamp_off");
    assert_eq!(listed("?state=acknowledged").await, "scrape_flush");
    assert_eq!(listed("?state=snoozed").await, "");
    bench.post("/api/v1/alerts/g-1:clamp_off/snooze", json!({"minutes": 15})).await.good();
    assert_eq!(listed("?state=snoozed").await, "clamp_off");
    assert_eq!(bench.board().await["alerts_open"], 0);
    bench.stop().await;
}

#[tokio::test]
async fn a_snoozed_alert_is_told_again_after_its_time_and_not_before() {
    let bench = told().await;
    let snoozed = bench.post("/api/v1/alerts/g-1:clamp_off/snooze", json!({"minutes": 15})).await.good();
    assert_eq!(snoozed["state"], "snoozed");
    assert_eq!(at_ms(&snoozed["until"]), bench.now.ms() + 15 * 60_000);
    bench.wait_minutes(14);
    assert_eq!(bench.alarms().await, 0);
    // The promise is kept over a restart.
    let bench = bench.restart(false).await;
    assert_eq!(bench.alarms().await, 0);
    bench.wait_minutes(1);
    assert_eq!(bench.alarms().await, 1);
    assert_eq!(bench.alert("g-1:clamp_off").await["state"], "open");
    assert_eq!(bench.alarms().await, 0);
    bench.post("/api/v1/alerts/g-1:clamp_off/acknowledge", json!({})).await.good();
    bench.wait_minutes(60);
    assert_eq!(bench.alarms().await, 0);
    bench.stop().await;
}

#[tokio::test]
async fn a_withdrawn_glue_up_takes_its_alerts_back_and_rings_no_more() {
    let bench = told().await;
    bench.post("/api/v1/alerts/g-1:clamp_off/snooze", json!({"minutes": 15})).await.good();
    bench.post("/api/v1/glue-ups/g-1/withdraw", json!({"reason": "taken apart"})).await.good();
    let bench = bench.restart(false).await;
    bench.wait_minutes(20);
    assert_eq!(bench.alarms().await, 0);
    assert_eq!(bench.alert("g-1:clamp_off").await["state"], "retracted");
    assert_eq!(bench.alert("g-1:scrape_flush").await["state"], "retracted");
    assert_eq!(bench.board().await["alerts_open"], 0);
    bench.stop().await;
}

#[tokio::test]
async fn what_came_true_while_the_service_was_down_is_told_once_and_marked_late() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    bench.live_minutes("bench", 35, 20.0, 50.0).await;
    let (shop, now) = bench.stop().await;
    now.set(now.ms() + 90 * 60_000);
    let bench = Bench::open(shop, now, false).await;
    assert_eq!(bench.alarms().await, 1);
    assert_eq!(bench.alarms().await, 0);
    let told = bench.alert("g-1:clamp_off").await;
    assert_eq!(told["late"], true);
    assert!(at_ms(&told["due_at"]) < bench.now.ms() - 30 * 60_000, "{told}");
    assert_eq!(bench.alert("g-1:scrape_flush").await["late"], false);
    bench.stop().await;
}

#[tokio::test]
async fn nothing_told_is_told_again_over_a_restart() {
    let mut bench = told().await;
    let before = bench.get("/api/v1/alerts").await.good();
    for _ in 0..2 {
        bench = bench.restart(false).await;
        assert_eq!(bench.alarms().await, 0);
        assert_eq!(bench.get("/api/v1/alerts").await.good(), before);
    }
    bench.stop().await;
}

/// A glue-up that was ready before anybody registered it is news, not a failure of the service.
#[tokio::test]
async fn a_milestone_that_had_passed_before_the_glue_up_was_registered_is_not_late() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let body = json!({"id": "g-1", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
                      "minutes_ago": 600});
    bench.post("/api/v1/glue-ups", body).await.good();
    assert_eq!(bench.alarms().await, 2);
    assert_eq!(bench.alert("g-1:clamp_off").await["late"], false);
    bench.stop().await;
}

/// A film-forming temperature that was broken while it mattered is said in the alert and on the board.
#[tokio::test]
async fn air_that_spoils_a_joint_is_told_with_it() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.read_air("bench", 20.0, 50.0).await;
    bench.glue_up("g-1").await;
    bench.live_minutes("bench", 20, 20.0, 50.0).await;
    bench.live_minutes("bench", 20, 7.0, 50.0).await;
    let cold = bench.milestone("g-1", "clamp_off").await;
    bench.live_minutes("bench", 90, 20.0, 50.0).await;
    let told = bench.alert("g-1:clamp_off").await;
    assert!(at_ms(&told["due_at"]) > bench::ms(bench::BEGIN) + 75 * 60_000, "the cold counted: {told} {cold}");
    assert!(told["body"].as_str().unwrap().contains("Look out: film-forming temperature: 7.0 °C"), "{told}");
    assert_eq!(bench.board().await["cures"][0]["spoiled"], true);
    let findings = bench.get("/api/v1/glue-ups/g-1").await.good()["findings"].clone();
    assert_eq!(findings[0]["level"], "defect", "{findings}");
    bench.stop().await;
}
