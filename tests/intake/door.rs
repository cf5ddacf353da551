//! The door: batches row by row, duplicates, corrections, order.

use bench::Bench;
use serde_json::{Value, json};

use super::{at, held, n_readings, of_sensor, row};

#[tokio::test(flavor = "multi_thread")]
async fn of_ten_thousand_rows_with_a_bad_one_the_good_are_kept_and_the_bad_one_is_reported_by_row() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.wait_minutes(20_000);
    let mut rows: Vec<Value> = (0..10_000).map(|i| row(i, 20.0 + f64::from(i as i32 % 7) * 0.1, 50.0)).collect();
    rows[4321]["temp_c"] = json!(680.0);
    let tally = bench.post("/api/v1/readings", json!({"readings": rows})).await.good();
    assert_eq!((&tally["taken"], &tally["known"]), (&json!(9999), &json!(0)));
    let refused = tally["refused"].as_array().expect("a list");
    assert_eq!(refused.len(), 1);
    assert_eq!((&refused[0]["row"], &refused[0]["field"]), (&json!(4321), &json!("temp_c")));
    assert!(refused[0]["detail"].as_str().is_some_and(|detail| detail.contains("680 °C")), "{}", refused[0]);
    assert_eq!(refused[0]["quarantined"], "impossible");
    assert_eq!(n_readings(&bench).await, 9999);
    assert_eq!(held(&bench).await.len(), 1);
    // Sent again, the good are known, and the bad one is held once.
    let again = bench.post("/api/v1/readings", json!({"readings": rows})).await.good();
    assert_eq!((&again["taken"], &again["known"]), (&json!(0), &json!(9999)));
    assert_eq!(held(&bench).await.len(), 1);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn rows_that_are_no_readings_are_refused_each_with_its_reason() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.wait_minutes(10);
    let rows = json!([
        row(0, 20.0, 50.0),
        {"zone": "attic", "at": at(0), "temp_c": 20, "rh_pct": 50},
        {"at": at(0), "temp_c": 20, "rh_pct": 50},
        {"zone": "bench", "at": at(0), "temp_c": 20},
        {"zone": "bench", "at": "yesterday", "temp_c": 20, "rh_pct": 50},
        {"zone": "bench", "at": "1970-01-01T00:00:10Z", "temp_c": 20, "rh_pct": 50},
        {"zone": "bench", "at": at(0), "temp": 20, "rh_pct": 50},
        7,
    ]);
    let tally = bench.post("/api/v1/readings", json!({"readings": rows})).await.good();
    assert_eq!(tally["taken"], 1);
    let refused = tally["refused"].as_array().expect("a list");
    let told: Vec<(u64, &str)> =
        refused.iter().map(|r| (r["row"].as_u64().expect("a row"), r["field"].as_str().unwrap_or_default())).collect();
    assert_eq!(told, [(1, "zone"), (2, "zone"), (3, "rh_pct"), (4, ""), (5, "at"), (6, "temp"), (7, "")]);
    for refused in refused {
        assert!(refused["detail"].as_str().is_some_and(|d| !d.is_empty()), "{refused}");
        assert!(refused["mend"].as_str().is_some_and(|d| !d.is_empty()), "{refused}");
    }
    assert_eq!(held(&bench).await.len(), 0, "nobody could release what has no zone or time");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_batch_without_one_good_row_is_a_problem_that_lists_every_row() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.wait_minutes(10);
    let rows = json!([row(0, 68.0, 50.0), row(1, 20.0, 0.45)]);
    let problem = bench.post("/api/v1/readings", json!({"readings": rows})).await.problem(422, "invalid");
    assert_eq!(problem["field"], "readings[0].temp_c");
    assert_eq!(problem["refused"].as_array().map(Vec::len), Some(2));
    let reasons: Vec<_> = held(&bench).await.iter().map(|held| held["reason"].clone()).collect();
    assert_eq!(reasons, ["unit", "unit"]);
    bench.post("/api/v1/readings", json!({"readings": []})).await.good();
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn one_bad_reading_is_the_problem_it_always_was_and_is_held_besides() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let path = "/api/v1/zones/bench/readings";
    let problem = bench.post(path, json!({"temp_c": 68, "rh_pct": 45})).await.problem(422, "invalid");
    assert_eq!(problem["field"], "temp_c");
    assert!(problem["mend"].as_str().is_some_and(|mend| mend.contains("if this is °F, send 20.0")), "{problem}");
    assert_eq!(problem["refused"], Value::Null);
    assert_eq!(held(&bench).await[0]["temp_c"], 68.0);
    let future = json!({"at": at(90), "temp_c": 20, "rh_pct": 45});
    assert_eq!(bench.post(path, future).await.problem(422, "invalid")["field"], "at");
    assert_eq!(held(&bench).await[1]["reason"], "clock_ahead");
    assert_eq!(bench.post(path, json!({"temp_c": 20, "rh_pct": 45})).await.good(), json!({"taken": 1, "known": 0}));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn late_readings_and_corrections_are_taken_and_counted() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.wait_minutes(60);
    let rows = json!([row(0, 20.0, 50.0), row(20, 20.2, 50.0), row(10, 20.1, 50.0), row(10, 20.3, 50.0)]);
    let tally = bench.post("/api/v1/readings", json!({"readings": rows})).await.good();
    assert_eq!(tally, json!({"taken": 4, "known": 0, "late": 2, "corrected": 1}));
    assert_eq!(n_readings(&bench).await, 3);
    let sensors = bench.items("/api/v1/zones/bench/sensors").await;
    assert_eq!((&sensors[0]["late"], &sensors[0]["corrected"]), (&json!(2), &json!(1)));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn two_sensors_make_one_series_that_a_restart_finds_again() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.wait_minutes(60);
    let rows = json!([
        of_sensor("north", 0, 20.0, 50.0),
        of_sensor("south", 1, 21.0, 54.0),
        of_sensor("south", 1, 21.0, 54.0),
        of_sensor("north", 1, 20.0, 50.0),
    ]);
    let tally = bench.post("/api/v1/readings", json!({"readings": rows})).await.good();
    assert_eq!((&tally["taken"], &tally["known"]), (&json!(3), &json!(1)));
    let series = async |bench: &Bench| bench.get("/api/v1/zones/bench/readings").await.good()["recorded"].clone();
    let was = series(&bench).await;
    assert_eq!(was[1]["temp_c"], 20.5);
    let bench = bench.restart(false).await;
    assert_eq!(series(&bench).await, was);
    let sensors = bench.items("/api/v1/zones/bench/sensors").await;
    let readings: Vec<_> = sensors.iter().map(|s| (s["sensor"].clone(), s["readings"].clone())).collect();
    assert_eq!(readings, [(json!("north"), json!(2)), (json!("south"), json!(1))]);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_sensor_whose_clock_is_an_hour_behind_is_noted() {
    let bench = Bench::small().await;
    bench.furnish().await;
    for minute in 0..6 {
        let reading = json!({"readings": [of_sensor("north", minute * 5 - 60, 20.0, 50.0)]});
        bench.post("/api/v1/readings", reading).await.good();
        bench.wait_minutes(5);
    }
    let sensors = bench.items("/api/v1/zones/bench/sensors").await;
    assert!(sensors[0]["note"].as_str().is_some_and(|note| note.contains("60 min behind")), "{sensors:?}");
    bench.stop().await;
}
