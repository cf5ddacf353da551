//! Air at the gun: now, with retarder, or when.

use bench::ms;
use serde_json::{Value, json};

use super::shop;

async fn asked(bench: &bench::Bench, more: &str) -> Value {
    bench.get(&format!("/api/v1/spray-window?zone=booth&material=nitrocellulose-lacquer{more}")).await.good()
}

#[tokio::test]
async fn damp_air_asks_for_retarder_wet_air_and_a_cold_instrument_for_patience() {
    let bench = shop(&["nitrocellulose-lacquer", "water-borne-lacquer", "aliphatic-resin"]).await;
    // Nobody measured it yet: it is judged by the set-point, and said so.
    let assumed = asked(&bench, "").await;
    assert_eq!((&assumed["verdict"], &assumed["measured_at"]), (&json!("now"), &Value::Null));
    assert!(assumed["says"].as_str().is_some_and(|says| says.contains("nobody measured the air")), "{assumed}");
    bench.read_air("booth", 20.0, 50.0).await;
    let now = asked(&bench, "").await;
    assert_eq!((&now["verdict"], &now["says"], &now["against"]), (&json!("now"), &json!("lay it now"), &json!([])));
    assert_eq!((&now["sure"], &now["measured_at"]), (&json!(true), &now["at"]));
    // The whole of the 72 h is one window in a zone that stands still.
    assert_eq!(now["windows"].as_array().unwrap().len(), 1);
    bench.read_air("booth", 20.0, 70.0).await;
    let damp = asked(&bench, "").await;
    assert_eq!(damp["verdict"], "add_retarder", "{damp}");
    assert!(damp["against"][0].as_str().is_some_and(|says| says.starts_with("blush: 20.0 °C and 70 % RH")), "{damp}");
    // 70 % at 20 °C is 35.25 % · … the dew point is 14.4 °C: 3.6 K above it at 18 °C, 2.6 K at 17 °C (ASHRAE formulas).
    let cold = asked(&bench, "&surface_below_k=3").await;
    assert_eq!(cold["verdict"], "wait", "{cold}");
    assert!(cold["against"][0].as_str().is_some_and(|says| says.contains("above the dew point")), "{cold}");
    assert!((cold["dew_point_spread_k"].as_f64().unwrap() - 2.6).abs() < 0.11, "{cold}");
    bench.read_air("booth", 20.0, 80.0).await;
    let wet = asked(&bench, "").await;
    assert_eq!(wet["verdict"], "wait", "{wet}");
    let next_ms = ms(wet["next"]["from"].as_str().unwrap());
    assert!(next_ms > bench.now.ms() && wet["says"].as_str().is_some_and(|says| says.starts_with("wait until about")));
    // Too dry for what carries its resin in water.
    bench.read_air("booth", 20.0, 20.0).await;
    let dry = bench.get("/api/v1/spray-window?zone=booth&material=water-borne-lacquer").await.good();
    assert!(dry["against"][0].as_str().is_some_and(|says| says.starts_with("too dry")), "{dry}");
    assert!(dry["cautions"].as_array().is_some_and(|cautions| !cautions.is_empty()));
    bench.stop().await;
}

/// The rule's own checks warn of cold below 15 °C, and no limit of it does.
#[tokio::test]
async fn what_the_rule_itself_warns_of_stands_against_laying_it() {
    let bench = shop(&["nitrocellulose-lacquer", "oil-varnish"]).await;
    bench.read_air("booth", 8.0, 50.0).await;
    let cold = asked(&bench, "").await;
    assert_ne!(cold["verdict"], "now", "{cold}");
    assert!(cold["against"][0].as_str().is_some_and(|says| says.starts_with("Cold lacquer flows badly")), "{cold}");
    // What a rule says in any air, such as of oily rags, is nothing against this one.
    bench.read_air("bench", 20.0, 50.0).await;
    let varnish = bench.get("/api/v1/spray-window?zone=bench&material=oil-varnish").await.good();
    assert_eq!((&varnish["verdict"], &varnish["against"]), (&json!("now"), &json!([])));
    bench.stop().await;
}

/// 64 % against a limit of 65 %: fit as it is measured, and the band of the forecast goes over the limit soon.
#[tokio::test]
async fn a_stretch_that_only_the_middle_of_the_band_allows_is_likely_and_not_sure() {
    let bench = shop(&["nitrocellulose-lacquer"]).await;
    let air = async |rh_pct: f64| {
        bench.wait_minutes(30);
        bench.read_air("booth", 20.0, rh_pct).await;
    };
    for hour in 0..24 {
        air(if hour % 2 == 0 { 58.0 } else { 64.0 }).await;
    }
    air(64.0).await;
    let near = asked(&bench, "").await;
    assert_eq!(near["verdict"], "now", "{near}");
    let window = &near["windows"][0];
    assert_eq!(window["add_retarder"], false, "{near}");
    assert_ne!(window["sure_until"], window["until"], "{near}");
    // Far from every limit it is sure for as long as it is likely.
    for half_hour in 0..48 {
        air(if half_hour % 2 == 0 { 45.0 } else { 44.0 }).await;
    }
    let far = asked(&bench, "&hours=2").await;
    let window = &far["windows"][0];
    assert_eq!((&window["sure_from"], &window["sure_until"]), (&window["from"], &window["until"]), "{far}");
    assert_eq!((&far["sure"], &far["best"]), (&json!(true), window));
    bench.stop().await;
}

#[tokio::test]
async fn what_cannot_be_asked_is_answered_with_how_to_ask() {
    let bench = shop(&["nitrocellulose-lacquer", "aliphatic-resin"]).await;
    for (query, status, slug) in [
        ("zone=booth&material=aliphatic-resin", 422, "invalid"),
        ("zone=attic&material=nitrocellulose-lacquer", 422, "unknown-reference"),
        ("zone=booth&material=mud", 422, "unknown-reference"),
        ("zone=booth&material=nitrocellulose-lacquer&hours=500", 422, "invalid"),
        ("zone=booth&material=nitrocellulose-lacquer&surface_below_k=-1", 422, "invalid"),
        ("material=nitrocellulose-lacquer", 400, "malformed"),
    ] {
        bench.get(&format!("/api/v1/spray-window?{query}")).await.problem(status, slug);
    }
    bench.stop().await;
}
