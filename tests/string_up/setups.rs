//! Set-up over the years, and what a day at pitch changed.

use bench::Bench;
use serde_json::{Value, json};

use super::http::strung_guitar;

const SETUPS: &str = "/api/v1/instruments/guitar/setups";

async fn measured(bench: &Bench, at: &str, action_mm: f64, saddle_mm: f64) -> Value {
    bench.post(SETUPS, json!({"action_mm": action_mm, "saddle_mm": saddle_mm, "at": at})).await.good()
}

/// By hand: saddle above 2.5 mm less twice the action above 2.5 mm is 3.5, 2.5 and 1.5 mm at five-year steps: 0.2 mm a year,
/// and none left after seven and a half more. The action stands for twice as much of the saddle, so one figure is off by
/// √5 · 0.1 mm; the slope's error is 0.2236/√50 a year = 0.0316, times 3.078 (Student's t, one degree of freedom) = 0.0973.
#[tokio::test]
async fn three_set_ups_foretell_the_neck_angle_with_a_band() {
    let bench = Bench::small().await;
    strung_guitar(&bench).await;
    measured(&bench, "2016-03-01T12:00:00Z", 2.5, 6.0).await;
    let two = measured(&bench, "2021-03-01T12:00:00Z", 2.8, 5.6).await;
    assert_eq!(two.get("neck_angle"), None);
    assert!(two["basis"].as_str().unwrap().contains("at least three days; there are 2"), "{two}");
    assert!(two["basis"].as_str().unwrap().contains("15 to 30 years: common practice, no source"), "{two}");
    let three = measured(&bench, "2026-03-01T12:00:00Z", 2.7, 4.4).await;
    let neck = &three["neck_angle"];
    assert!((neck["mm_a_year"].as_f64().unwrap() + 0.2).abs() < 1e-3, "{neck}");
    assert!((neck["mm_a_year_band"].as_f64().unwrap() - 0.0973).abs() < 2e-4, "{neck}");
    assert_eq!(neck["spare_mm"], 1.5);
    let year =
        |edge: &str| neck[edge].as_str().unwrap_or_else(|| panic!("{edge}: {neck}"))[..4].parse::<i32>().unwrap();
    assert_eq!(year("likely_at"), 2033);
    assert!((2026..2033).contains(&year("earliest_at")) && year("latest_at") > 2033, "{neck}");
    bench.stop().await;
}

#[tokio::test]
async fn a_saddle_that_does_not_go_has_no_date_and_what_is_measured_must_be_something() {
    let bench = Bench::small().await;
    strung_guitar(&bench).await;
    for at in ["2016-03-01T12:00:00Z", "2021-03-01T12:00:00Z", "2026-03-01T12:00:00Z"] {
        measured(&bench, at, 2.5, 6.0).await;
    }
    let neck = bench.get(SETUPS).await.good()["neck_angle"].clone();
    assert_eq!(neck["likely_at"], Value::Null);
    for (body, field) in [
        (json!({}), "relief_mm"),
        (json!({"action_mm": 0.08, "saddle_mm": 80}), "saddle_mm"),
        (json!({"action_mm": -1}), "action_mm"),
        (json!({"action_mm": 2, "sigma_mm": 0}), "sigma_mm"),
    ] {
        let problem = bench.post(SETUPS, body).await.problem(422, "invalid");
        assert_eq!(problem["field"], field);
    }
    assert_eq!(bench.items(SETUPS).await.len(), 3);
    bench.stop().await;
}

#[tokio::test]
async fn a_day_at_pitch_is_told_by_what_it_changed() {
    let bench = Bench::small().await;
    strung_guitar(&bench).await;
    bench.post("/api/v1/instruments/guitar/string-stages", json!({"stage": "full_pitch"})).await.good();
    bench.wait_minutes(20);
    let first = bench.post(SETUPS, json!({"relief_mm": 0.10, "action_mm": 2.40})).await.good();
    assert_eq!(first.get("settled"), None);
    bench.wait_minutes(24 * 60);
    let after = bench.post(SETUPS, json!({"relief_mm": 0.22, "action_mm": 2.65})).await.good();
    assert_eq!((&after["settled"]["relief_mm"], &after["settled"]["action_mm"]), (&json!(0.12), &json!(0.25)));
    bench.stop().await;
}

/// A cello is played at 6 mm and more: by a guitar's measure its neck would be due today. A classical guitar at 4.0 mm is as
/// it should be, with all of the saddle above 2.5 mm to spare. Common practice, no source.
#[tokio::test]
async fn a_neck_angle_is_foretold_by_what_the_family_is_set_up_for() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.post("/api/v1/instruments/guitar/strings", json!({"family": "classical_guitar"})).await.good();
    for at in ["2016-03-01T12:00:00Z", "2021-03-01T12:00:00Z", "2026-03-01T12:00:00Z"] {
        measured(&bench, at, 4.0, 6.0).await;
    }
    assert_eq!(bench.get(SETUPS).await.good()["neck_angle"]["spare_mm"], 3.5);
    bench.post("/api/v1/instruments/guitar/strings", json!({"family": "cello"})).await.good();
    let cello = bench.post(SETUPS, json!({"action_mm": 6.5})).await.good();
    assert_eq!(cello.get("neck_angle"), None, "{cello}");
    assert!(cello["basis"].as_str().unwrap().contains("This family has none"), "{cello}");
    let problem = bench.post(SETUPS, json!({"action_mm": 6.5, "saddle_mm": 85})).await.problem(422, "invalid");
    assert!(problem["mend"].as_str().unwrap().contains("leave saddle_mm out"), "{problem}");
    assert!(!bench.get("/instruments/guitar/setups").await.text.contains("name=\"saddle\""));
    bench.stop().await;
}
