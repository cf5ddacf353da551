//! The air of a zone watched and shown: excursions told once, opened doors not at all, charts that keep extremes.

use bench::{BEGIN, Bench, Shop, ms};
use benchclock::{Now, Service};
use serde_json::{Value, json};

/// Minutes of the same air, read every five, with the watch looked at after each.
async fn air(bench: &Bench, minutes: i64, temp_c: f64, rh_pct: f64) {
    for _ in 0..minutes / 5 {
        bench.wait_minutes(5);
        bench.read_air("bench", temp_c, rh_pct).await;
        Service::recurring_step(bench.state(), "climate").await.expect("the watch looks");
    }
}

async fn told(bench: &Bench) -> Vec<Value> {
    let alerts = bench.get("/api/v1/alerts").await.good();
    let items = alerts["items"].as_array().expect("a list").clone();
    items.into_iter().filter(|alert| alert["kind"] == "climate").collect()
}

async fn furnished() -> Bench {
    let bench = Bench::start().await;
    bench.furnish().await;
    air(&bench, 60, 20.0, 48.0).await;
    bench
}

#[tokio::test(flavor = "multi_thread")]
async fn the_band_is_the_shops_own() {
    let mut shop = Shop::small();
    (shop.settings.shop.rh_low_pct, shop.settings.shop.rh_high_pct) = (55.0, 70.0);
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    air(&bench, 120, 20.0, 62.0).await;
    assert_eq!(told(&bench).await, Vec::<Value>::new());
    air(&bench, 120, 20.0, 48.0).await;
    let body = told(&bench).await[0]["body"].to_string();
    assert!(body.contains("55 to 70 % RH"), "{body}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_opened_door_pages_nobody() {
    let bench = furnished().await;
    air(&bench, 15, 16.0, 60.0).await;
    air(&bench, 60, 20.0, 48.0).await;
    assert_eq!(told(&bench).await, Vec::<Value>::new());
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn damp_that_lasts_is_told_once_with_what_it_touches_and_what_to_do() {
    let bench = furnished().await;
    bench.glue_up("g-1").await;
    bench.post("/api/v1/instruments/guitar/move", json!({"zone": "bench"})).await.good();
    air(&bench, 120, 20.0, 62.0).await;
    let alerts = told(&bench).await;
    assert_eq!(alerts.len(), 1, "{alerts:?}");
    let body = alerts[0]["body"].as_str().expect("a body");
    assert!(alerts[0]["title"].as_str().is_some_and(|title| title.starts_with("Too damp: Bench")), "{alerts:?}");
    assert!(body.contains("bridge of the guitar") && body.contains("Dehumidify"), "{body}");
    assert!(body.contains("Instruments there: the guitar."), "{body}");
    // Hovering about the limit is the same excursion; being well again and damp again is another.
    air(&bench, 60, 20.0, 54.5).await;
    air(&bench, 60, 20.0, 56.0).await;
    assert_eq!(told(&bench).await.len(), 1);
    air(&bench, 30, 20.0, 48.0).await;
    air(&bench, 60, 20.0, 62.0).await;
    assert_eq!(told(&bench).await.len(), 2);
    let bench = bench.restart(false).await;
    Service::recurring_step(bench.state(), "climate").await.expect("the watch looks");
    assert_eq!(told(&bench).await.len(), 2, "a restart tells nothing twice");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn humidity_that_falls_fast_is_told_before_it_is_dry() {
    let bench = furnished().await;
    air(&bench, 60, 20.0, 54.0).await;
    for minute in 0..9 {
        air(&bench, 5, 20.0, 54.0 - 1.5 * f64::from(minute)).await;
    }
    air(&bench, 30, 20.0, 42.0).await;
    let alerts = told(&bench).await;
    assert!(
        alerts.iter().any(|alert| alert["title"].as_str().is_some_and(|t| t.starts_with("Drying fast"))),
        "{alerts:?}"
    );
    bench.stop().await;
}

/// At 20 °C air is 3 °C above its dew point at 82.86 % RH (computed with PsychroLib 2.5.0).
#[tokio::test(flavor = "multi_thread")]
async fn the_dew_point_is_told_only_over_a_wet_coat() {
    let bench = furnished().await;
    air(&bench, 60, 20.0, 84.0).await;
    let dew = |alerts: Vec<Value>| {
        alerts.into_iter().filter(|a| a["id"].as_str().is_some_and(|id| id.contains("dew-point"))).count()
    };
    assert_eq!(dew(told(&bench).await), 0, "nothing is wet");
    let coat = json!({"id": "c-1", "instrument": "guitar", "surface": "top", "material": "oil-varnish",
                      "zone": "bench", "film_um": 75});
    bench.post("/api/v1/coats", coat).await.good();
    air(&bench, 30, 20.0, 84.0).await;
    assert_eq!(dew(told(&bench).await), 1);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_silent_sensor_makes_no_excursion() {
    let bench = furnished().await;
    bench.wait_minutes(5);
    bench.read_air("bench", 12.0, 70.0).await;
    bench.wait_minutes(300);
    Service::recurring_step(bench.state(), "climate").await.expect("the watch looks");
    assert_eq!(told(&bench).await, Vec::<Value>::new());
    bench.stop().await;
}

/// Two months of a reading every half hour, kept raw for a fortnight.
#[tokio::test(flavor = "multi_thread")]
async fn old_readings_become_means_with_their_extremes_and_ages_stay_as_they_were() {
    let mut shop = bench::Shop::small();
    shop.settings.store.keep_readings_days = 14;
    let bench = Bench::open(shop, benchclock::Now::standing_at(bench::ms(bench::BEGIN)), false).await;
    bench.furnish().await;
    let begin_ms = bench.now.ms() - 60 * 86_400_000;
    let row = |i: i64| {
        let spike = if i == 100 { 5.0 } else { 0.0 };
        let at = chrono::DateTime::from_timestamp_millis(begin_ms + i * 450_000).expect("an instant");
        json!({"zone": "bench", "at": at.to_rfc3339(), "temp_c": 19.0 + 0.01 * (i % 100) as f64 + spike, "rh_pct": 48})
    };
    for part in (0..11_520).collect::<Vec<i64>>().chunks(5000) {
        let readings: Vec<Value> = part.iter().map(|i| row(*i)).collect();
        bench.post("/api/v1/readings", json!({"readings": readings})).await.good();
    }
    let coat = json!({"id": "c-1", "instrument": "guitar", "surface": "top", "material": "shellac",
                      "zone": "bench", "minutes_ago": 20 * 1440});
    bench.post("/api/v1/coats", coat).await.good();
    let before = bench.get("/api/v1/coats/c-1").await.good();
    bench.recurring("retention").await;
    let after = bench.get("/api/v1/coats/c-1").await.good();
    assert_eq!((&after["age_h"], &after["milestones"]), (&before["age_h"], &before["milestones"]));
    let from = "/api/v1/zones/bench/series?from=2026-01-01T00:00:00Z";
    let series = bench.get(from).await.good();
    let means = series["means"].as_array().expect("means");
    // Forty days went, the twenty that the coat still needs stayed: two readings to a quarter of an hour.
    assert!((3800..=3842).contains(&means.len()), "{}", means.len());
    assert!(series["readings"].as_u64().is_some_and(|n| (3835..=3860).contains(&n)), "{}", series["readings"]);
    let most = means.iter().filter_map(|mean| mean["temp_c"][2].as_f64()).fold(0.0, f64::max);
    assert!((most - 24.0).abs() < 0.001, "the extreme is kept: {most}");
    // The first quarter by hand: 19.00 and 19.01.
    assert_eq!((&means[0]["readings"], &means[0]["temp_c"]), (&json!(2), &json!([19.01, 19.0, 19.01])));
    let bench = bench.restart(false).await;
    assert_eq!(bench.get("/api/v1/coats/c-1").await.good()["age_h"], before["age_h"]);
    assert_eq!(bench.get(from).await.good()["means"], series["means"]);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_series_keeps_the_spike_and_a_chart_shows_it() {
    let bench = furnished().await;
    air(&bench, 600, 20.0, 48.0).await;
    air(&bench, 5, 29.5, 31.0).await;
    bench.glue_up("g-1").await;
    air(&bench, 600, 20.0, 48.0).await;
    let series = bench.get("/api/v1/zones/bench/series?most=50").await.good();
    let recorded = series["recorded"].as_array().expect("a list");
    assert!(recorded.len() < 80 && series["readings"].as_u64().is_some_and(|n| n > 200), "{}", recorded.len());
    assert!(recorded.iter().any(|point| point["temp_c"] == 29.5 && point["rh_pct"] == 31.0), "the spike is kept");
    assert_eq!(series["marks"][0]["cure"], "g-1");
    assert!(series["expected"].as_array().is_some_and(|steps| steps.len() > 90), "a day of outlook");
    let chart = bench.get("/api/v1/zones/bench/chart.svg").await;
    assert_eq!((chart.status, chart.media.as_str()), (200, "image/svg+xml"));
    assert!(chart.text.starts_with("<svg") && chart.text.contains("polyline") && chart.text.contains("polygon"));
    bench.get("/api/v1/zones/bench/series?most=3").await.problem(422, "invalid");
    bench.get("/api/v1/zones/nowhere/chart.svg").await.problem(404, "not-found");
    bench.stop().await;
}
