//! The same over HTTP: an instrument comes in dry, is followed, and its crack is told when to be glued; a cold surface is
//! found out.

use bench::{Bench, Shop, ms};
use serde_json::{Value, json};

async fn dry_guitar() -> Bench {
    let bench = Bench::small().await;
    bench.furnish().await;
    let house = json!({"id": "house", "name": "The customer's house", "set_temp_c": 22, "set_rh_pct": 25});
    bench.post("/api/v1/zones", house).await.good();
    bench.post("/api/v1/instruments/guitar/move", json!({"zone": "bench"})).await.good();
    bench.post("/api/v1/instruments/guitar/plates", top(json!({"lived_at_rh_pct": 25}))).await.good();
    bench
}

fn top(more: Value) -> Value {
    let mut plate = json!({"id": "top", "name": "top", "species": "spruce", "cut": "quarter", "thickness_mm": 2.8,
                           "width_mm": 400, "faces_open": "one"});
    let fields = plate.as_object_mut().expect("an object");
    fields.extend(more.as_object().expect("an object").clone());
    plate
}

#[tokio::test(flavor = "multi_thread")]
async fn a_guitar_that_came_in_dry_is_followed_until_its_crack_may_be_glued() {
    let bench = dry_guitar().await;
    let plates = bench.items("/api/v1/instruments/guitar/plates").await;
    assert_eq!((&plates[0]["change_per_pct"], &plates[0]["change_of"]), (&json!(0.00148), &json!("Spruce Sitka")));
    let moisture = bench.get("/api/v1/instruments/guitar/moisture").await.good();
    // The zone is set to 20 °C and 50 %: 9.27 % by the Wood Handbook's eq. 4-5.
    assert_eq!((&moisture["zone"], &moisture["emc_now_pct"]), (&json!("bench"), &json!(9.27)));
    assert_eq!(moisture["climate"]["state"], "assumed");
    assert!(moisture["estimate"].as_str().is_some_and(|text| text.contains("not a guarantee")), "{moisture}");
    let plate = &moisture["plates"][0];
    assert_eq!(
        (&plate["begun"], &plate["in_band"], &plate["equivalent_rh_pct"]),
        (&json!("measured"), &json!(false), &json!(25.0))
    );
    let at = |of: &Value, which: &str| ms(of[which].as_str().unwrap_or_else(|| panic!("{which} in {of}")));
    let back = &plate["comes_back"];
    assert!(at(back, "earliest_at") < at(back, "likely_at") && at(back, "likely_at") < at(back, "safe_at"), "{back}");

    // Three weeks at 46 %: the set-point no longer counts, what was read does.
    let crack = "/api/v1/instruments/guitar/cracks?width_mm=0.6";
    let before = bench.get(crack).await.good();
    assert_eq!((&before["glue"]["now"], &before["plate"]["id"]), (&json!(false), &json!("top")));
    assert!(at(&before["glue"]["opens"], "safe_at") >= at(back, "safe_at"), "{before}");
    assert!(before["when_back"]["closes_mm"].as_f64() > Some(0.6), "{before}");
    assert_eq!(before["when_back"]["left_mm"], 0.0);
    for _ in 0..21 * 24 {
        bench.wait_minutes(60);
        bench.read_air("bench", 22.0, 46.0).await;
    }
    let moisture = bench.get("/api/v1/instruments/guitar/moisture").await.good();
    assert_eq!((&moisture["plates"][0]["in_band"], &moisture["climate"]["state"]), (&json!(true), &json!("recorded")));
    let after = bench.get(crack).await.good();
    assert_eq!(after["glue"]["now"], true, "{after}");
    // What is derived is the same after a restart.
    let bench = bench.restart(false).await;
    assert_eq!(bench.get("/api/v1/instruments/guitar/moisture").await.good(), moisture);
    assert_eq!(bench.get(crack).await.good(), after);

    // In the house it would open again.
    bench.post("/api/v1/instruments/guitar/move", json!({"zone": "house"})).await.good();
    let moved = bench.get("/api/v1/instruments/guitar/moisture").await.good();
    let warning = &moved["plates"][0]["warning"];
    assert!(warning["says"].as_str().is_some_and(|says| says.contains("shrinks")), "{moved}");
    assert!(warning["across_mm"].as_f64() < Some(-0.5), "{moved}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cures_on_an_instrument_goes_along_and_a_repeated_move_is_one_move() {
    let bench = dry_guitar().await;
    bench.glue_up("bridge-1").await;
    let path = "/api/v1/instruments/guitar/move";
    let moved = bench.post_once("key-1", path, json!({"zone": "house"})).await.good();
    assert_eq!((&moved["zone"], &moved["carried"]), (&json!("house"), &json!(["bridge-1"])));
    let again = bench.post_once("key-1", path, json!({"zone": "house"})).await.good();
    assert_eq!((&again["zone"], &again["since"]), (&json!("house"), &moved["since"]));
    assert_eq!(bench.get("/api/v1/glue-ups/bridge-1").await.good()["zone"], "house");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_is_a_problem_that_says_how_to_mend_it() {
    let bench = dry_guitar().await;
    let plates = "/api/v1/instruments/guitar/plates";
    let cracks = "/api/v1/instruments/guitar/cracks";
    let field = |problem: Value| problem["field"].as_str().unwrap_or_default().to_string();
    for (body, status, slug, about) in [
        (top(json!({})), 409, "conflict", "id"),
        (top(json!({"id": "back", "thickness_mm": 280})), 422, "invalid", "thickness_mm"),
        (top(json!({"id": "back", "moisture_pct": 8, "lived_at_rh_pct": 40})), 422, "invalid", "lived_at_rh_pct"),
        (top(json!({"id": "back", "lived_at_rh_pct": 0.4})), 422, "invalid", "lived_at_rh_pct"),
        (top(json!({"id": "back", "species": "balsa"})), 422, "invalid", "species"),
        (top(json!({"id": "back", "maker": "x"})), 422, "invalid", "maker"),
    ] {
        assert_eq!(field(bench.post(plates, body.clone()).await.problem(status, slug)), about, "{body}");
    }
    bench.post("/api/v1/instruments/guitar/plates", top(json!({"id": "back"}))).await.good();
    for (query, status, slug, about) in [
        ("?width_mm=0.4", 422, "invalid", "plate"),
        ("?plate=side&width_mm=0.4", 422, "unknown-reference", "plate"),
        ("?plate=top", 422, "invalid", "width_mm"),
        ("?plate=top&width_mm=40", 422, "invalid", "width_mm"),
        ("?plate=top&width_mm=wide", 400, "malformed", ""),
    ] {
        assert_eq!(field(bench.get(&format!("{cracks}{query}")).await.problem(status, slug)), about, "{query}");
    }
    bench.post("/api/v1/instruments/lute/move", json!({"zone": "bench"})).await.problem(404, "not-found");
    bench.post("/api/v1/instruments/guitar/move", json!({"zone": "attic"})).await.problem(422, "unknown-reference");
    bench
        .post("/api/v1/instruments/guitar/move", json!({"zone": "house", "minutes_ago": 90}))
        .await
        .problem(409, "conflict");
    bench.get("/api/v1/instruments/lute/plates").await.problem(404, "not-found");
    bench.post("/api/v1/instruments", json!({"id": "violin", "name": "the violin"})).await.good();
    let lost = bench.get("/api/v1/instruments/violin/moisture").await.problem(409, "conflict");
    assert!(lost["mend"].as_str().is_some_and(|mend| mend.contains("/violin/move")), "{lost}");
    bench.post("/api/v1/instruments/violin/move", json!({"zone": "bench"})).await.good();
    let bare = bench.get("/api/v1/instruments/violin/moisture").await.good();
    assert_eq!(bare["plates"], json!([]));
    let none = bench.get("/api/v1/instruments/violin/cracks?width_mm=1").await.problem(422, "invalid");
    assert!(none["mend"].as_str().is_some_and(|mend| mend.contains("/violin/plates")), "{none}");
    bench.stop().await;
}

fn whats(cure: &Value) -> String {
    cure["findings"].to_string()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_cold_instrument_is_found_out_when_it_is_coated_or_glued() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.read_air("bench", 20.0, 50.0).await;
    let coat = |id: &str, more: Value| {
        let mut body = json!({"id": id, "instrument": "guitar", "surface": id, "material": "shellac", "zone": "bench"});
        body.as_object_mut().expect("an object").extend(more.as_object().expect("an object").clone());
        body
    };
    // PsychroLib 2.5.0: the dew point is 9.27 °C.
    let wet = bench.post("/api/v1/coats", coat("wet", json!({"surface_temp_c": 5}))).await.good();
    assert!(whats(&wet).contains("4.3 K below the dew point") && whats(&wet).contains("defect"), "{wet}");
    // At 12 °C the room's 50 % is 83 % at the surface: near the dew point, and shellac blushes.
    let near = bench.post("/api/v1/coats", coat("near", json!({"surface_temp_c": 12}))).await.good();
    assert!(whats(&near).contains("2.7 K above the dew point") && whats(&near).contains("blushes"), "{near}");
    let plain = bench.post("/api/v1/coats", coat("plain", json!({}))).await.good();
    assert!(whats(&plain).contains("the air's 20.0 °C was taken"), "{plain}");
    assert!(!whats(&plain).contains("blushes"), "{plain}");
    let warm = bench.post("/api/v1/coats", coat("warm", json!({"surface_temp_c": 20}))).await.good();
    assert_eq!(warm["findings"], json!([]));
    // The glue meets wood below its film-forming temperature although the room is warm.
    let glue = |id: &str, temp_c: f64| json!({"id": id, "joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "surface_temp_c": temp_c});
    let cold = bench.post("/api/v1/glue-ups", glue("cold", 9.5)).await.good();
    assert!(whats(&cold).contains("film-forming temperature"), "{cold}");
    let frozen = bench.post("/api/v1/glue-ups", glue("frozen", -2.0)).await.good();
    assert!(whats(&frozen).contains("freezes"), "{frozen}");
    let fahrenheit = bench.post("/api/v1/glue-ups", glue("f", 68.0)).await.problem(422, "invalid");
    assert_eq!(fahrenheit["field"], "surface_temp_c");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn damp_that_comes_while_a_coat_is_wet_is_told_with_it() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.read_air("bench", 20.0, 60.0).await;
    let coat = json!({"id": "coat", "instrument": "guitar", "surface": "top", "material": "shellac", "zone": "bench",
                      "surface_temp_c": 20});
    let laid = bench.post("/api/v1/coats", coat).await.good();
    assert_eq!(laid["findings"], json!([]));
    bench.live_minutes("bench", 5, 20.0, 90.0).await;
    let coat = bench.get("/api/v1/coats/coat").await.good();
    assert!(whats(&coat).contains("dew point: 20.0 °C and 90 % RH"), "{coat}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_shop_says_what_its_band_is() {
    let mut shop = Shop::small();
    (shop.settings.shop.rh_low_pct, shop.settings.shop.rh_high_pct) = (20.0, 30.0);
    let bench = Bench::open(shop, benchclock::Now::standing_at(ms(bench::BEGIN)), false).await;
    bench.furnish().await;
    bench.post("/api/v1/instruments/guitar/move", json!({"zone": "bench"})).await.good();
    bench.post("/api/v1/instruments/guitar/plates", top(json!({"lived_at_rh_pct": 25}))).await.good();
    let moisture = bench.get("/api/v1/instruments/guitar/moisture").await.good();
    assert_eq!((&moisture["target"]["rh_low_pct"], &moisture["plates"][0]["in_band"]), (&json!(20.0), &json!(true)));
    bench.stop().await;
}
