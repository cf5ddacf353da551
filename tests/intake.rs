//! Readings on their way in: whichever way they come, each ends taken, known, held with a reason, or refused by row.

mod calibration;
mod csv;
mod door;
mod migration;
pub(crate) mod mqtt;
mod quarantine;
mod senml;
mod silence;

use bench::{Bench, ms};
use serde_json::{Value, json};

/// An instant so many minutes after the bench began.
fn at(minute: i64) -> String {
    let at_ms = ms(bench::BEGIN) + minute * 60_000;
    chrono::DateTime::from_timestamp_millis(at_ms).expect("an instant").to_rfc3339()
}

fn row(minute: i64, temp_c: f64, rh_pct: f64) -> Value {
    json!({"zone": "bench", "at": at(minute), "temp_c": temp_c, "rh_pct": rh_pct})
}

fn of_sensor(sensor: &str, minute: i64, temp_c: f64, rh_pct: f64) -> Value {
    let mut row = row(minute, temp_c, rh_pct);
    row["sensor"] = sensor.into();
    row
}

/// What is held of the bench zone.
async fn held(bench: &Bench) -> Vec<Value> {
    bench.items("/api/v1/zones/bench/quarantine").await
}

async fn n_readings(bench: &Bench) -> u64 {
    bench.get("/api/v1/zones/bench").await.good()["readings"].as_u64().expect("a number")
}
