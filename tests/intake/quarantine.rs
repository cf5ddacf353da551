//! What cannot be believed waits for the next reading or for a person.

use bench::Bench;
use serde_json::{Value, json};

use super::{at, held, n_readings, of_sensor, row};

async fn one(bench: &Bench, row: Value) -> Value {
    bench.post("/api/v1/readings", json!({"readings": [row]})).await.good()
}

async fn in_state(bench: &Bench, state: &str) -> usize {
    bench.items(&format!("/api/v1/zones/bench/quarantine?state={state}")).await.len()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_spike_is_held_and_the_reading_after_it_is_taken() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.wait_minutes(60);
    one(&bench, row(0, 20.0, 50.0)).await;
    let spike = one(&bench, row(5, 35.5, 50.0)).await;
    assert_eq!((&spike["taken"], &spike["waiting"]), (&json!(0), &json!(1)));
    assert_eq!(spike["refused"][0]["quarantined"], "jump");
    one(&bench, row(10, 20.1, 50.0)).await;
    assert_eq!((n_readings(&bench).await, held(&bench).await.len()), (2, 1));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_jump_that_the_next_reading_confirms_is_taken_by_itself() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.wait_minutes(60);
    one(&bench, row(0, 20.0, 50.0)).await;
    one(&bench, row(5, 35.5, 50.0)).await;
    let confirmed = one(&bench, row(10, 35.0, 49.0)).await;
    assert_eq!(confirmed, json!({"taken": 2, "known": 0}));
    assert_eq!((n_readings(&bench).await, held(&bench).await.len()), (3, 0));
    assert_eq!(in_state(&bench, "released").await, 1);
    // Within one batch it never gets that far.
    let rows = json!([row(15, 35.0, 49.0), row(16, 5.0, 49.0), row(17, 5.1, 49.0)]);
    let tally = bench.post("/api/v1/readings", json!({"readings": rows})).await.good();
    assert_eq!(tally, json!({"taken": 3, "known": 0}));
    assert_eq!(in_state(&bench, "released").await, 1);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_person_releases_with_the_right_value_or_discards() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.wait_minutes(60);
    let rows = json!([row(0, 20.0, 50.0), row(5, 69.8, 50.0), row(6, 20.0, 130.0)]);
    bench.post("/api/v1/readings", json!({"readings": rows})).await.good();
    let ids: Vec<_> = held(&bench).await.iter().map(|held| held["id"].clone()).collect();
    let release = format!("/api/v1/zones/bench/quarantine/{}/release", ids[0]);
    bench.post(&release, json!({})).await.problem(422, "invalid");
    let released = bench.post(&release, json!({"temp_c": 21.0})).await.good();
    assert_eq!((&released["state"], &released["temp_c"]), (&json!("released"), &json!(69.8)), "what was said stays");
    assert_eq!(n_readings(&bench).await, 2);
    bench.post(&release, json!({"temp_c": 21.0})).await.problem(409, "conflict");
    bench.post(&format!("/api/v1/zones/bench/quarantine/{}/discard", ids[1]), json!({})).await.good();
    assert_eq!((held(&bench).await.len(), in_state(&bench, "discarded").await), (0, 1));
    bench.post("/api/v1/zones/bench/quarantine/77/discard", json!({})).await.problem(404, "not-found");
    bench.get("/api/v1/zones/bench/quarantine?state=lost").await.problem(422, "invalid");
    // All of it outlives a restart.
    let bench = bench.restart(false).await;
    assert_eq!((n_readings(&bench).await, in_state(&bench, "released").await), (2, 1));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stuck_sensor_is_held_while_another_sees_the_room_move() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.wait_minutes(24 * 60);
    let north = (0..100).map(|i| of_sensor("north", i * 5, 20.0, 50.0));
    let south = (0..100).map(|i| of_sensor("south", i * 5, 19.0 + 0.01 * f64::from(i as i32), 50.0));
    let south: Vec<_> = south.collect();
    bench.post("/api/v1/readings", json!({"readings": south})).await.good();
    let tally = bench.post("/api/v1/readings", json!({"readings": north.collect::<Vec<_>>()})).await.good();
    assert_eq!(tally["taken"], 72);
    assert_eq!(tally["refused"][0]["quarantined"], "stuck");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn readings_in_fahrenheit_are_held_with_their_celsius() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.wait_minutes(60);
    one(&bench, row(0, 13.0, 50.0)).await;
    let refused = json!({"readings": [{"zone": "bench", "at": at(5), "temp_c": 55.4, "rh_pct": 50}]});
    let problem = bench.post("/api/v1/readings", refused).await.problem(422, "invalid");
    assert!(problem["mend"].as_str().is_some_and(|mend| mend.contains("send 13.0")), "{problem}");
    assert_eq!(held(&bench).await[0]["reason"], "unit");
    bench.stop().await;
}
