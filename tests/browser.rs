//! The pages in a real browser, driven over WebDriver, and without one: what a page says stands in its HTML; the scripts
//! only count down, follow, and keep what could not be sent.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

mod access;
mod alerts;
mod board;
mod climate;
mod coats;
mod cure;
mod driver;
mod follow;
mod forms;
mod glue_up;
mod instruments;
mod keyboard;
mod looks;
mod photos;
mod print;
mod rules;
mod screens;
mod shelf;
mod strings;
mod wall;
mod ways;
mod workshop;

use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::json;

/// A shop that serves with every task, by the real clock, since the script in the page has no other. Its hygrometer has
/// said 20 °C and 50 % for the last three hours.
async fn shop_now() -> Bench {
    let bench = Bench::open(Shop::small(), Now::system(), true).await;
    furnish(&bench).await;
    bench
}

async fn furnish(bench: &Bench) {
    bench.furnish().await;
    let reading = |ago: i32| json!({"zone": "bench", "minutes_ago": ago * 10, "temp_c": 20, "rh_pct": 50});
    let readings: Vec<_> = (0..=18).rev().map(reading).collect();
    bench.post("/api/v1/readings", json!({"readings": readings})).await.good();
}

/// A job on the guitar whose first step is to glue its bridge.
async fn planned(bench: &Bench) {
    let steps = json!([{"id": "glue", "kind": "glue_up", "title": "Glue the bridge", "joint": "bridge",
                        "material": "aliphatic-resin"},
                       {"id": "tap", "kind": "check", "title": "Tap for rattles"}]);
    let job = json!({"id": "loose", "instrument": "guitar", "title": "Loose bridge", "steps": steps});
    bench.post("/api/v1/jobs", job).await.good();
}
