//! A hygrometer over saturated salts: the correction, its date, its reminder.

use bench::Bench;
use serde_json::json;

use super::of_sensor;

const PATH: &str = "/api/v1/sensors/north/calibrations";

#[tokio::test(flavor = "multi_thread")]
async fn two_salts_correct_what_the_sensor_says_later() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.wait_minutes(60);
    let before = json!({"readings": [of_sensor("north", 0, 20.0, 50.0)]});
    bench.post("/api/v1/readings", before).await.good();
    let points = json!([
        {"salt": "sodium_chloride", "temp_c": 20.0, "read_rh_pct": 71.36},
        {"salt": "magnesium_chloride", "temp_c": 20.0, "read_rh_pct": 36.86},
    ]);
    let made = bench.post(PATH, json!({"minutes_ago": 30, "points": points})).await.good();
    // (75.36 - 32.86) / (71.36 - 36.86), through both points.
    assert_eq!((&made["gain"], &made["offset_rh_pct"]), (&json!(1.2319), &json!(-12.55)));
    assert_eq!(made["at"], "2026-03-02T08:30:00+00:00");
    assert_eq!(made["next_due_at"], "2027-03-02T08:30:00+00:00");
    let after = json!({"readings": [of_sensor("north", 60, 20.0, 50.0)]});
    bench.post("/api/v1/readings", after).await.good();
    let series = async |bench: &Bench| {
        let recorded = bench.get("/api/v1/zones/bench/readings").await.good()["recorded"].clone();
        (recorded[0]["rh_pct"].clone(), recorded[1]["rh_pct"].clone())
    };
    assert_eq!(series(&bench).await, (json!(50.0), json!(49.05)));
    let bench = bench.restart(false).await;
    assert_eq!(series(&bench).await, (json!(50.0), json!(49.05)), "it is a fact");
    assert_eq!(bench.items(PATH).await.len(), 1);
    let sensor = &bench.items("/api/v1/zones/bench/sensors").await[0];
    assert_eq!((&sensor["rh_pct"], &sensor["calibrated_at"]), (&json!(50.0), &made["at"]), "what it said stays");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_year_later_it_is_reminded_once() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.post("/api/v1/readings", json!({"readings": [of_sensor("north", 0, 20.0, 50.0)]})).await.good();
    let point = json!([{"salt": "sodium_chloride", "temp_c": 21.0, "read_rh_pct": 73.0}]);
    bench.post(PATH, json!({"points": point})).await.good();
    let told = async |bench: &Bench| {
        bench.recurring("calibration").await;
        bench.items("/api/v1/alerts").await.iter().filter(|alert| alert["kind"] == "calibration_due").count()
    };
    bench.wait_minutes(364 * 24 * 60);
    assert_eq!(told(&bench).await, 0);
    bench.wait_minutes(24 * 60);
    assert_eq!(told(&bench).await, 1);
    assert_eq!(told(&bench).await, 1);
    bench.wait_minutes(365 * 24 * 60);
    assert_eq!(told(&bench).await, 2, "and the year after");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_a_calibration_is_refused_with_the_way_to_mend_it() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let point =
        |salt: &str, temp_c: f64, read_rh_pct: f64| json!({"salt": salt, "temp_c": temp_c, "read_rh_pct": read_rh_pct});
    let good = point("sodium_chloride", 20.0, 73.0);
    bench.post(PATH, json!({"points": [good]})).await.problem(422, "unknown-reference");
    bench.post("/api/v1/readings", json!({"readings": [of_sensor("north", 0, 20.0, 50.0)]})).await.good();
    for (points, field) in [
        (json!([]), "points"),
        (json!([good, good]), "points"),
        (json!([point("sodium_chloride", 50.0, 73.0)]), "points[0].temp_c"),
        (json!([point("sodium_chloride", 20.0, 55.0)]), "read_rh_pct"),
        (json!([point("sodium_chloride", 20.0, 130.0)]), "read_rh_pct"),
    ] {
        let problem = bench.post(PATH, json!({"points": points})).await.problem(422, "invalid");
        assert_eq!(problem["field"], field, "{problem}");
    }
    bench.post(PATH, json!({"points": [point("pepper", 20.0, 73.0)]})).await.problem(422, "invalid");
    bench.stop().await;
}
