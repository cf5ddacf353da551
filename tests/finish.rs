//! Finish coats over HTTP: a stack dries through its stages, what is beneath holds up what is above, windows close, the
//! air at the gun is judged, pots gel. Three shop days stand as show-cases, each with its figures worked by hand beside it.

mod coats;
mod gun;
mod mixes;
mod schedules;
mod show;

use bench::{Bench, Shop, ms, root};
use benchclock::Now;
use serde_json::{Value, json};

/// A bench with the rules named, a zone "booth", a zone "bench" and the guitar.
async fn shop(rules: &[&str]) -> Bench {
    let mut shop = Shop::new();
    let scripts = shop.folder().join("scripts");
    for (folder, names) in
        [("materials", rules), ("schedules", &["lacquer-ten-coats", "oil-varnish-five-coats", "french-polish"][..])]
    {
        std::fs::create_dir_all(scripts.join(folder)).expect("a folder for the rules");
        for name in names {
            let file = format!("{folder}/{name}.{}", if folder == "materials" { "rhai" } else { "toml" });
            std::fs::copy(root().join("scripts").join(&file), scripts.join(&file)).expect("a shipped file");
        }
    }
    shop.settings.scripts.folder = scripts;
    let bench = Bench::open(shop, Now::standing_at(ms(bench::BEGIN)), false).await;
    bench.furnish().await;
    let booth = json!({"id": "booth", "name": "Booth", "set_temp_c": 20, "set_rh_pct": 50});
    bench.post("/api/v1/zones", booth).await.good();
    bench
}

/// Readings of the booth for so many hours up to now, one each half hour.
async fn was(bench: &Bench, hours: i64, air: impl Fn(i64) -> (f64, f64)) {
    let reading = |half_hours: i64| {
        let (temp_c, rh_pct) = air(bench.now.ms() - half_hours * 1_800_000);
        json!({"zone": "booth", "minutes_ago": half_hours * 30, "temp_c": temp_c, "rh_pct": rh_pct})
    };
    let readings: Vec<Value> = (0..=hours * 2).rev().map(reading).collect();
    bench.post("/api/v1/readings", json!({"readings": readings})).await.good();
}

/// A coat on the guitar in the booth, with more said of it.
fn coat(id: &str, surface: &str, material: &str, more: Value) -> Value {
    let mut coat = json!({"id": id, "instrument": "guitar", "surface": surface, "material": material, "zone": "booth"});
    coat.as_object_mut().expect("an object").extend(more.as_object().expect("an object").clone());
    coat
}

/// Likely reference hours of a stage.
#[track_caller]
fn likely_h(cure: &Value, stage: &str) -> f64 {
    let milestones = cure["milestones"].as_array().expect("milestones");
    let milestone = milestones.iter().find(|m| m["stage"] == stage).unwrap_or_else(|| panic!("{stage} in {cure}"));
    milestone["target_ages_h"][1].as_f64().expect("hours")
}

/// Whether a finding of a level says something.
#[track_caller]
fn finds(cure: &Value, level: &str, says: &str) -> bool {
    let findings = cure["findings"].as_array().expect("findings");
    findings.iter().any(|f| f["level"] == level && f["what"].as_str().is_some_and(|what| what.contains(says)))
}
