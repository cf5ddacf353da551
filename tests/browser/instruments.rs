//! Instruments by the pages alone: adding one, its set-ups and the neck angle, its wood.

use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::json;

use super::forms::send;

#[tokio::test]
async fn an_instrument_is_added_once_with_its_family() {
    let bench = Bench::small().await;
    let form = [("key", "once"), ("name", "the old violin"), ("family", "violin")];
    for _ in 0..2 {
        let page = send(&bench, "/instruments", &form).await;
        assert!(page.status == 200 && page.text.contains("the old violin"), "{}", page.text);
    }
    let all = bench.items("/api/v1/instruments").await;
    assert_eq!((all.len(), &all[0]["family"]), (1, &json!("violin")), "{all:?}");
    let nameless = send(&bench, "/instruments", &[("name", " "), ("family", "viola")]).await;
    assert!(nameless.status == 422 && nameless.text.contains("value=\"viola\" selected"), "{}", nameless.text);
    bench.stop().await;
}

/// The same three set-ups that `string_up/setups.rs` works by hand: 0.2 mm a year, none left in 2033.
#[tokio::test]
async fn set_ups_of_three_days_foretell_the_neck_angle_on_the_page() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let page = "/instruments/guitar/setups";
    let before = bench.get(page).await.text;
    assert!(before.contains("Nothing is foretold yet") && before.contains("there are 0 such set-ups"), "{before}");
    for (day, action, saddle) in
        [("2016-03-01", "2.5", "6"), ("2021-03-01", "2,8", "5.6"), ("2026-03-01", "2.7", "4.4")]
    {
        let form = [("key", day), ("day", day), ("action", action), ("saddle", saddle), ("relief", "0.15")];
        for _ in 0..2 {
            assert_eq!(send(&bench, page, &form).await.status, 200);
        }
    }
    let setups = bench.items("/api/v1/instruments/guitar/setups").await;
    assert_eq!((setups.len(), &setups[0]["at"]), (3, &json!("2016-03-01T12:00:00+00:00")), "{setups:?}");
    let shown = bench.get(page).await.text;
    for part in
        ["attention about 2033", "<strong>1.50 mm</strong>", "−0.20 mm a year, give or take 0.10 mm", "<td>5.60</td>"]
    {
        assert!(shown.contains(part), "no {part}: {shown}");
    }
    for look in ["", "?width=420&look=dark"] {
        let chart = bench.get(&format!("/api/v1/instruments/guitar/setups/chart.svg{look}")).await;
        assert_eq!(chart.media, "image/svg+xml");
        assert!(chart.text.contains("Saddle to spare, mm") && chart.text.contains("Measured, mm"), "{}", chart.text);
        assert_eq!(chart.text.matches("<circle").count(), 6, "three of each: saddle to spare, saddle");
    }
    bench.get("/api/v1/instruments/guitar/setups/chart.svg?width=9").await.problem(422, "invalid");
    for (field, value, said) in
        [("saddle", "80", "saddle_mm"), ("relief", "flat", "relief is no number"), ("day", "monday", "is no day")]
    {
        let mut form = vec![("saddle", "4.4"), ("relief", "0.1"), ("action", "2.25"), ("day", "2026-03-02")];
        form.retain(|(name, _)| *name != field);
        form.push((field, value));
        let wrong = send(&bench, page, &form).await;
        assert!(wrong.status == 422 && wrong.text.contains(said), "{field}: {} {}", wrong.status, wrong.text);
        assert!(wrong.text.contains("value=\"2.25\""), "{field}");
    }
    assert_eq!(bench.items("/api/v1/instruments/guitar/setups").await.len(), 3);
    bench.stop().await;
}

/// 3/32 of an inch is 2.38125 mm (25.4 mm to the inch, exact).
#[tokio::test]
async fn a_shop_that_thinks_in_inches_measures_in_them() {
    let mut shop = Shop::small();
    let text = "[shop]\nlength_unit = \"in\"";
    shop.settings.shop.length_unit = benchclock::Settings::read(text, std::iter::empty()).unwrap().shop.length_unit;
    let bench = Bench::open(shop, Now::standing_at(bench::ms(bench::BEGIN)), false).await;
    bench.furnish().await;
    let page = send(&bench, "/instruments/guitar/setups", &[("action", "3/32"), ("relief", "0.008")]).await;
    assert!(
        page.status == 200 && page.text.contains("<td>0.094</td>") && page.text.contains("relief, in"),
        "{}",
        page.text
    );
    let setup = bench.items("/api/v1/instruments/guitar/setups").await[0].clone();
    assert!((setup["action_mm"].as_f64().unwrap() - 2.38125).abs() < 1e-9, "{setup}");
    bench.stop().await;
}

#[tokio::test]
async fn the_wood_of_an_instrument_is_placed_named_and_followed() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let page = "/instruments/guitar/wood";
    let plate = [
        ("key", "plate"),
        ("name", "top"),
        ("species", "spruce"),
        ("cut", "quarter"),
        ("faces_open", "one"),
        ("thickness_mm", "2,8"),
        ("width_mm", "400"),
        ("lived_at_rh_pct", "30"),
    ];
    for _ in 0..2 {
        let shown = send(&bench, "/instruments/guitar/plates", &plate).await;
        assert!(shown.status == 200 && shown.text.contains("nobody said where the instrument is"), "{}", shown.text);
    }
    assert_eq!(bench.items("/api/v1/instruments/guitar/plates").await.len(), 1);
    bench.glue_up("g-1").await;
    let shed = json!({"id": "shed", "name": "Shed", "set_temp_c": 6, "set_rh_pct": 85});
    bench.post("/api/v1/zones", shed).await.good();
    for (key, zone) in [("m-1", "bench"), ("m-2", "shed"), ("m-3", "bench")] {
        bench.wait_minutes(10);
        assert_eq!(send(&bench, "/instruments/guitar/move", &[("key", key), ("zone", zone)]).await.status, 200);
        // What cures on it goes along.
        assert_eq!(bench.get("/api/v1/glue-ups/g-1").await.good()["zone"], zone);
    }
    // The page says what the interface says.
    let shown = bench.get(page).await.text;
    let answer = bench.get("/api/v1/instruments/guitar/moisture").await.good();
    let top = &answer["plates"][0];
    let (pct, rh_pct) = (top["moisture_pct"].as_f64().unwrap(), top["equivalent_rh_pct"].as_f64().unwrap());
    for part in [format!("{pct:.1} % of moisture"), format!("{rh_pct:.0} % RH"), "In Bench since 08:30".into()] {
        assert!(shown.contains(&part), "no {part}: {shown}");
    }
    assert!(shown.contains("out of the shop&#39;s band") && shown.contains("Back in the band"), "{shown}");
    // A crack.
    let id = answer["plates"][0]["plate"]["id"].as_str().unwrap();
    let asked = bench.get(&format!("{page}?plate={id}&crack_mm=0,4")).await;
    let crack = bench.get("/api/v1/instruments/guitar/cracks?width_mm=0.4").await.good();
    let mm = crack["in_the_end"]["closes_mm"].as_f64().unwrap();
    let moves = if mm < 0.0 { format!("likely open {:.2} mm", -mm) } else { format!("likely close {mm:.2} mm") };
    assert!(asked.text.contains(&moves), "no {moves}: {}", asked.text);
    let wide = bench.get(&format!("{page}?plate={id}&crack_mm=400")).await;
    assert!(wide.text.contains("role=\"alert\"") && wide.text.contains("value=\"400\""), "{}", wide.text);
    for (field, value, said) in [
        ("thickness_mm", "280", "thickness_mm"),
        ("species", "", "species is missing"),
        ("species", "oak", "not of the list"),
        ("moisture_pct", "8", "both moisture_pct and lived_at_rh_pct"),
    ] {
        let mut form: Vec<_> = plate.iter().filter(|(name, _)| *name != field && *name != "key").copied().collect();
        form.push((field, value));
        let wrong = send(&bench, "/instruments/guitar/plates", &form).await;
        assert!(wrong.status == 422 && wrong.text.contains(said), "{field}: {} {}", wrong.status, wrong.text);
        assert!(wrong.text.contains("value=\"400\""), "{field}");
    }
    bench.stop().await;
}

#[tokio::test]
async fn a_joint_is_added_before_anything_is_glued() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let page = "/instruments/guitar/joints";
    let form = [("key", "once"), ("joint_name", "heel cap"), ("gap", "150"), ("porosity", "open")];
    for _ in 0..2 {
        let shown = send(&bench, page, &form).await;
        assert!(shown.status == 200 && shown.text.contains("<h3>heel cap</h3>"), "{}", shown.text);
    }
    let joints = bench.items("/api/v1/joints").await;
    let added: Vec<_> = joints.iter().filter(|joint| joint["name"] == "heel cap").collect();
    assert_eq!((added.len(), &added[0]["gap_um"], &added[0]["porosity"]), (1, &json!(150.0), &json!("open")));
    let wrong = send(&bench, page, &[("joint_name", "tail block"), ("gap", "wide")]).await;
    assert!(wrong.status == 422 && wrong.text.contains("gap is no number"), "{}", wrong.text);
    assert!(wrong.text.contains("value=\"tail block\""), "{}", wrong.text);
    bench.stop().await;
}
