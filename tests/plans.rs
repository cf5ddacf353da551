//! Planned air over HTTP: "booth at 28 °C from 18:00 to 22:00", and what the glue-up in it says then.

use bench::{Bench, ms};
use serde_json::{Value, json};

/// The bench zone after two days of 18 °C, with a glue-up just begun.
async fn glued() -> Bench {
    let bench = Bench::small().await;
    bench.furnish().await;
    let now_ms = bench.now.ms();
    let at = |hours: i64| chrono::DateTime::from_timestamp_millis(now_ms - hours * 3_600_000).expect("an instant");
    let rows: Vec<Value> =
        (0..=48).map(|h| json!({"zone": "bench", "at": at(h).to_rfc3339(), "temp_c": 18.0, "rh_pct": 45.0})).collect();
    bench.post("/api/v1/readings", json!({"readings": rows})).await.good();
    bench.glue_up("g1").await;
    bench
}

async fn safe_ms(bench: &Bench, stage: &str) -> i64 {
    ms(bench.milestone("g1", stage).await["safe_at"].as_str().expect("a time"))
}

/// What is expected an hour and a half into the plan: temperature and humidity.
async fn foreseen(bench: &Bench) -> (f64, f64) {
    let series = bench.get("/api/v1/zones/bench/readings").await.good();
    let expected = series["expected"].as_array().expect("a list");
    let at = |hours: f64| &expected[(hours * 4.0) as usize];
    (at(1.5)["temp_c"].as_f64().expect("°C"), at(1.5)["rh_pct"].as_f64().expect("%"))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_warm_booth_planned_brings_the_milestone_forward_and_a_cancelled_one_does_not() {
    let bench = glued().await;
    let last = "full_strength";
    let (cold, cold_air) = (safe_ms(&bench, last).await, foreseen(&bench).await);
    let plan = json!({"id": "evening", "until": "2026-03-02T16:00:00Z", "temp_c": 28});
    let made = bench.post("/api/v1/zones/bench/plans", plan).await;
    assert_eq!(made.status, 201);
    assert_eq!(made.json["state"], "under_way");
    assert!(safe_ms(&bench, last).await < cold - 3_600_000, "ten kelvin more and not an hour won");
    let (temp_c, rh_pct) = foreseen(&bench).await;
    assert!(temp_c > 27.0 && temp_c < 28.0, "{temp_c} °C");
    assert!(rh_pct < 0.65 * cold_air.1, "warmer air is dryer: {rh_pct} %");
    // Kept over a restart.
    let bench = bench.restart(false).await;
    assert_eq!(foreseen(&bench).await, (temp_c, rh_pct));
    let cancelled = bench.post("/api/v1/zones/bench/plans/evening/cancel", json!({})).await.good();
    assert_eq!(cancelled["state"], "cancelled");
    assert!((safe_ms(&bench, last).await - cold).abs() < 60_000, "called off, it is as it was");
    assert_eq!(bench.items("/api/v1/zones/bench/plans").await, [cancelled]);
}

#[tokio::test(flavor = "multi_thread")]
async fn a_plan_for_tonight_is_listed_passes_and_is_over() {
    let bench = glued().await;
    let plan = json!({"from": "2026-03-02T18:00:00Z", "until": "2026-03-02T22:00:00Z", "temp_c": 28, "rh_pct": 40});
    let made = bench.post_once("tonight", "/api/v1/zones/bench/plans", plan.clone()).await.good();
    assert_eq!(bench.post_once("tonight", "/api/v1/zones/bench/plans", plan).await.good(), made);
    let path = format!("/api/v1/zones/bench/plans/{}", made["id"].as_str().expect("an id"));
    for (minutes, state) in [(0, "planned"), (600, "under_way"), (240, "over")] {
        bench.wait_minutes(minutes);
        assert_eq!(bench.get(&path).await.good()["state"], state);
    }
    bench.post(&format!("{path}/cancel"), json!({})).await.problem(409, "conflict");
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_planned_is_a_problem_that_says_why() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let plans = "/api/v1/zones/bench/plans";
    let until = "2026-03-02T20:00:00Z";
    bench.post(plans, json!({"id": "one", "until": until, "temp_c": 28})).await.good();
    for (body, status, slug, field) in [
        (json!({"until": until, "temp_c": 82}), 422, "invalid", json!("temp_c")),
        (json!({"until": until, "temp_c": 28, "rh_pct": 0.4}), 422, "invalid", json!("rh_pct")),
        (json!({"until": "2026-03-01T20:00:00Z", "temp_c": 28}), 422, "invalid", json!("until")),
        (json!({"temp_c": 28}), 422, "invalid", json!("until")),
        (json!({"until": until, "temp_c": 28, "power": 9}), 422, "invalid", json!("power")),
        (json!({"until": until, "temp_c": 28}), 409, "conflict", Value::Null),
        (json!({"id": "one", "until": until, "temp_c": 28}), 409, "conflict", json!("id")),
    ] {
        let problem = bench.post(plans, body).await.problem(status, slug);
        assert_eq!(problem["field"], field, "{problem}");
    }
    bench.post("/api/v1/zones/attic/plans", json!({"until": until, "temp_c": 28})).await.problem(404, "not-found");
    bench.get("/api/v1/zones/attic/plans").await.problem(404, "not-found");
    bench.get(&format!("{plans}/two")).await.problem(404, "not-found");
    bench.post(&format!("{plans}/two/cancel"), json!({})).await.problem(404, "not-found");
}
