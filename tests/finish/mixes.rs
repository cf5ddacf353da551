//! Pots: amounts for a wanted volume, the ratio, the working life over the air, and what comes out of a pot that has gelled.

use bench::ms;
use serde_json::json;

use super::{coat, finds, shop};

const PU: &str = "two-part-polyurethane";

#[tokio::test]
async fn amounts_of_a_wanted_volume_are_in_the_ratio_by_volume_and_by_weight() {
    let bench = shop(&[PU, "polyester-fill", "shellac"]).await;
    let amounts = bench.get(&format!("/api/v1/mix-amounts?material={PU}&wanted_ml=150&thinner_pct=20")).await.good();
    // 120 ml of finish two to one, 30 ml of thinner at 0.87 g/ml.
    let parts = json!([{"name": "resin", "ml": 80.0, "g": 80.0}, {"name": "hardener", "ml": 40.0, "g": 42.0},
                       {"name": "thinner", "ml": 30.0, "g": 26.1}]);
    assert_eq!((&amounts["parts"], &amounts["by"]), (&parts, &json!("volume")));
    assert!(
        amounts["cautions"].as_array().unwrap().iter().any(|c| c.as_str().is_some_and(|c| c.contains("ISOCYANATES")))
    );
    // 100 to 2 by weight: 100/1.1 + 2/1.15 = 92.648 ml make 102 g; 50 ml are 53.97 g of resin and 1.08 of peroxide.
    let amounts = bench.get("/api/v1/mix-amounts?material=polyester-fill&wanted_ml=50").await.good();
    assert_eq!((&amounts["parts"][0]["g"], &amounts["parts"][1]["g"]), (&json!(53.97), &json!(1.08)));
    for (query, slug) in [
        ("material=shellac&wanted_ml=50", "invalid"),
        ("material=mud&wanted_ml=50", "unknown-reference"),
        ("material=polyester-fill&wanted_ml=0", "invalid"),
        ("material=polyester-fill&wanted_ml=50&thinner_pct=10", "invalid"),
    ] {
        bench.get(&format!("/api/v1/mix-amounts?{query}")).await.problem(422, slug);
    }
    bench.stop().await;
}

#[tokio::test]
async fn a_hardener_out_of_its_ratio_is_found_and_an_old_bottle_too() {
    let bench = shop(&[PU]).await;
    let lot = json!({"id": "old", "material": PU, "best_before": "2025-01-01T00:00:00Z"});
    bench.post("/api/v1/lots", lot).await.good();
    let mix = |hardener: f64| {
        json!({"material": PU, "zone": "booth", "lots": ["old"],
                                     "measured": {"resin": 40, "hardener": hardener}})
    };
    for (hardener, level) in
        [(20.0, ""), (21.9, ""), (23.0, "caution"), (17.0, "caution"), (26.0, "defect"), (10.0, "defect")]
    {
        let made = bench.post("/api/v1/mixes", mix(hardener)).await.good();
        for each in ["caution", "defect"] {
            assert_eq!(finds(&made, each, "of hardener"), each == level, "{hardener}: {made}");
        }
        assert!(finds(&made, "caution", "was good until"), "{made}");
    }
    for (wrong, field) in [
        (json!({"measured": {"resin": 40}}), "measured"),
        (json!({"measured": {"resin": 40, "hardener": 20, "salt": 1}}), "measured"),
        (json!({"wanted_ml": 50, "measured": {"resin": 40, "hardener": 20}}), "either wanted_ml or measured"),
        (json!({}), "either wanted_ml or measured"),
    ] {
        let mut body = json!({"material": PU, "zone": "booth"});
        body.as_object_mut().unwrap().extend(wrong.as_object().unwrap().clone());
        assert_eq!(bench.post("/api/v1/mixes", body).await.problem(422, "invalid")["field"], field);
    }
    bench.stop().await;
}

#[tokio::test]
async fn a_coat_out_of_a_pot_in_the_wrong_ratio_is_marked_with_what_was_found_when_it_was_stirred() {
    let bench = shop(&[PU]).await;
    for (id, hardener, level) in [("m-1", 20.0, ""), ("m-2", 23.0, "caution"), ("m-3", 26.0, "defect")] {
        let measured =
            json!({"id": id, "material": PU, "zone": "booth", "measured": {"resin": 40, "hardener": hardener}});
        bench.post("/api/v1/mixes", measured).await.good();
        let laid = bench.post("/api/v1/coats", coat(&format!("c-{id}"), id, PU, json!({"mix": id}))).await.good();
        for each in ["caution", "defect"] {
            assert_eq!(finds(&laid, each, "when it was stirred"), each == level, "{id}: {laid}");
        }
    }
    bench.stop().await;
}

#[tokio::test]
async fn a_coat_out_of_a_gelled_pot_is_marked_and_one_of_another_material_refused() {
    let bench = shop(&[PU, "acid-cured-lacquer"]).await;
    let mix = json!({"id": "m-1", "material": PU, "zone": "booth", "wanted_ml": 60, "minutes_ago": 230});
    let made = bench.post_once("k-1", "/api/v1/mixes", mix.clone()).await.good();
    assert_eq!(bench.post_once("k-1", "/api/v1/mixes", mix).await.good()["id"], made["id"]);
    // 240 min at 20 °C; the quickest gel at 168.
    assert_eq!(made["state"], "doubtful");
    let out = |id: &str, surface: &str, ago: f64| coat(id, surface, PU, json!({"mix": "m-1", "minutes_ago": ago}));
    let fresh = bench.post("/api/v1/coats", out("c-1", "top", 200.0)).await.good();
    assert!(!finds(&fresh, "caution", "m-1") && !finds(&fresh, "note", "mixed"), "{fresh}");
    let late = bench.post("/api/v1/coats", out("c-2", "back", 1.0)).await.good();
    assert!(finds(&late, "caution", "may have begun to gel"), "{late}");
    bench.wait_minutes(15);
    let gelled = bench.post("/api/v1/coats", out("c-3", "sides", 0.0)).await.good();
    assert!(finds(&gelled, "defect", "had gelled"), "{gelled}");
    assert_eq!(bench.get("/api/v1/mixes/m-1").await.good()["state"], "gelled");
    let before = out("c-4", "neck", 300.0);
    bench.post("/api/v1/coats", before).await.problem(409, "conflict");
    let other = coat("c-5", "neck", "acid-cured-lacquer", json!({"mix": "m-1"}));
    bench.post("/api/v1/coats", other).await.problem(409, "conflict");
    let unknown = coat("c-6", "neck", PU, json!({"mix": "m-9"}));
    bench.post("/api/v1/coats", unknown).await.problem(422, "unknown-reference");
    let unmixed = bench.post("/api/v1/coats", coat("c-7", "neck", PU, json!({}))).await.good();
    assert!(finds(&unmixed, "note", "no mix was named"), "{unmixed}");
    // A warmer hour to come moves the end of it: the plan's air is foreseen.
    let made = json!({"id": "m-2", "material": PU, "zone": "booth", "wanted_ml": 60});
    let likely = ms(bench.post("/api/v1/mixes", made).await.good()["gels_likely_at"].as_str().unwrap());
    let plan = json!({"from": "2026-03-02T08:30:00Z", "until": "2026-03-02T16:00:00Z", "temp_c": 30});
    bench.post("/api/v1/zones/booth/plans", plan).await.good();
    let sooner = ms(bench.get("/api/v1/mixes/m-2").await.good()["gels_likely_at"].as_str().unwrap());
    assert!(sooner < likely - 60 * 60_000, "{sooner} {likely}");
    bench.stop().await;
}
