//! A sensor that falls silent is told once, with what rests on it.

use bench::Bench;
use serde_json::json;

async fn speak(bench: &Bench, minutes: i64) {
    for _ in 0..minutes / 5 {
        bench.wait_minutes(5);
        let reading = json!({"zone": "bench", "sensor": "north", "temp_c": 20.0, "rh_pct": 50.0});
        bench.post("/api/v1/readings", json!({"readings": [reading]})).await.good();
    }
}

async fn told(bench: &Bench) -> Vec<serde_json::Value> {
    bench.recurring("silence").await;
    let alerts = bench.items("/api/v1/alerts").await;
    alerts.into_iter().filter(|alert| alert["kind"] == "sensor_silent").collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn silence_is_told_once_and_says_what_rests_on_the_sensor() {
    let bench = Bench::small().await;
    bench.furnish().await;
    speak(&bench, 120).await;
    bench.glue_up("g-1").await;
    assert_eq!(told(&bench).await.len(), 0);
    bench.wait_minutes(89);
    assert_eq!(told(&bench).await.len(), 0);
    bench.wait_minutes(1);
    let alerts = told(&bench).await;
    assert_eq!(alerts.len(), 1);
    let (title, body) =
        (alerts[0]["title"].as_str().unwrap_or_default(), alerts[0]["body"].as_str().unwrap_or_default());
    assert!(title.contains("Silent since Mon 10:00") && title.contains("north") && title.contains("Bench"), "{title}");
    assert!(body.contains("bridge of the guitar (g-1)") && body.contains("assumed"), "{body}");
    assert!(body.contains("POST /api/v1/zones/bench/readings"), "{body}");
    assert_eq!(told(&bench).await.len(), 1, "once");
    // The times say so, as soon as the gap is longer than is bridged.
    bench.wait_minutes(60);
    let cure = bench.get("/api/v1/glue-ups/g-1").await.good();
    assert_eq!(cure["climate"]["state"], "assumed");
    // One word is no recovery; after a restart it is the same silence.
    speak(&bench, 5).await;
    bench.wait_minutes(120);
    let bench = bench.restart(false).await;
    bench.wait_minutes(120);
    assert_eq!(told(&bench).await.len(), 1);
    // A steady stretch is, and the next silence is another.
    speak(&bench, 120).await;
    bench.wait_minutes(100);
    assert_eq!(told(&bench).await.len(), 2);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_service_that_was_down_does_not_blame_the_sensors() {
    let bench = Bench::small().await;
    bench.furnish().await;
    speak(&bench, 120).await;
    let (shop, now) = bench.stop().await;
    now.set(now.ms() + 24 * 3_600_000);
    let bench = Bench::open(shop, now, false).await;
    assert_eq!(told(&bench).await.len(), 0);
    bench.wait_minutes(91);
    assert_eq!(told(&bench).await.len(), 1);
    bench.stop().await;
}
