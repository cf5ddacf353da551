//! Stringing up by the pages alone: which strings, what they load, the answer, and the stages.

use bench::Bench;

use super::forms::send;

#[tokio::test]
async fn strings_are_fitted_loads_are_said_and_stages_are_done() {
    let bench = Bench::small().await;
    bench.furnish().await;
    assert!(bench.get("/instruments").await.text.contains("Nobody said which strings"));
    let set = [("key", "set"), ("family", "steel_string_guitar"), ("half_tension_h", "12")];
    let page = send(&bench, "/instruments/guitar/strings", &set).await;
    assert_eq!(page.status, 200, "{}", page.text);
    let strings = bench.get("/api/v1/instruments/guitar/strings").await.good();
    assert_eq!(
        (strings["family"].as_str(), strings["half_tension_h"].as_f64()),
        (Some("steel_string_guitar"), Some(12.0))
    );
    // What is wrong is said, and stays as it was typed.
    for (field, value, said) in [
        ("tuning", "D3 A3 D4", "3 notes for 6 strings"),
        ("scale_mm", "long", "scale_mm is no number"),
        ("family", "harp", "not of the list"),
    ] {
        let mut form = vec![("family", "steel_string_guitar"), ("a4_hz", "432")];
        form.retain(|(name, _)| *name != field);
        form.push((field, value));
        let wrong = send(&bench, "/instruments/guitar/strings", &form).await;
        assert!(wrong.status == 422 && wrong.text.contains(said), "{field}: {} {}", wrong.status, wrong.text);
        assert!(wrong.text.contains("value=\"432\""), "{field}");
    }
    let load = [("key", "load"), ("path", "bridge_foot"), ("wood", "cedar"), ("starved", "yes")];
    assert_eq!(send(&bench, "/joints/bridge/load", &load).await.status, 200);
    let said = bench.get("/api/v1/joints/bridge/load").await.good();
    let parts = (&said["load"]["path"], &said["wood"], &said["starved"], &said["sound"]);
    assert_eq!(parts, (&"bridge_foot".into(), &"cedar".into(), &true.into(), &false.into()), "{said}");
    // Starved and of cedar it would never hold; with the wood and glue that are usual it comes.
    let load = [("path", "bridge_foot")];
    assert_eq!(send(&bench, "/joints/bridge/load", &load).await.status, 200);
    // The page says what the interface says.
    bench.glue_up("g-1").await;
    let answer = bench.get("/api/v1/instruments/guitar/string-up").await.good();
    let page = bench.get("/instruments/guitar/strings").await.text;
    let first = answer["says"].as_str().unwrap().split(':').next().unwrap();
    assert!(page.contains(first) && page.contains("string-up/chart.svg"), "{first} {page}");
    assert!(bench.get("/instruments").await.text.contains(first));
    // Full pitch before half tension is refused, and the page stays.
    let stage = |stage: &'static str| [("stage", stage)];
    let early = send(&bench, "/instruments/guitar/string-stages", &stage("rechecked")).await;
    assert!(early.status == 409 && early.text.contains("role=\"alert\""), "{} {}", early.status, early.text);
    assert_eq!(send(&bench, "/instruments/guitar/string-stages", &stage("loose")).await.status, 422);
    bench.stop().await;
}

/// At the same pitch and length the pull of a plain string goes with the square of its gauge (T = 4 L² f² μ, μ ~ d²):
/// 11 thousandths in place of 12 are 121/144 of it.
#[tokio::test]
async fn one_string_is_changed_by_its_gauge_and_a_wound_one_by_its_weight() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let to = "/instruments/guitar/string";
    let early = send(&bench, to, &[("string", "0"), ("gauge", "0.28")]).await;
    assert!(early.status == 409 && early.text.contains("nobody has said which strings"), "{}", early.text);
    let set = [("family", "steel_string_guitar"), ("half_tension_h", "12")];
    assert_eq!(send(&bench, "/instruments/guitar/strings", &set).await.status, 200);
    let strings = async || bench.get("/api/v1/instruments/guitar/strings").await.good();
    let pull = |strings: &serde_json::Value, i: usize| strings["strings"][i]["tension_n"].as_f64().unwrap();
    let before = strings().await;
    let page = bench.get("/instruments/guitar/strings").await.text;
    assert!(page.contains("<option value=\"0\">1: E4 0.30 mm</option>"), "{page}");
    let thinner = [("key", "thin"), ("string", "0"), ("gauge", "0,2794")];
    for _ in 0..2 {
        assert_eq!(send(&bench, to, &thinner).await.status, 200);
    }
    let after = strings().await;
    assert!((pull(&after, 0) / pull(&before, 0) - 121.0 / 144.0).abs() < 1e-3, "{after}");
    assert_eq!((pull(&after, 5), &after["half_tension_h"]), (pull(&before, 5), &before["half_tension_h"]));
    // Another note keeps its weight: a tone lower is 2^(−2/6) of the pull.
    assert_eq!(send(&bench, to, &[("string", "5"), ("note", "D2")]).await.status, 200);
    let lower = strings().await;
    assert!((pull(&lower, 5) / pull(&after, 5) - 2_f64.powf(-2.0 / 6.0)).abs() < 1e-3, "{lower}");
    // What another tuning would do is said as the interface says it, and kept nowhere.
    let other = "E4,B3,G3,D3,A2,E2";
    let asked = bench.get(&format!("/api/v1/instruments/guitar/strings?tuning={other}")).await.good();
    let page = bench.get(&format!("/instruments/guitar/strings?other={other}")).await.text;
    let (total_n, change_n) = (asked["total_n"].as_f64().unwrap(), asked["change_n"].as_f64().unwrap());
    assert!(page.contains(&format!("{total_n:.0} N in all, +{change_n:.0} N.")), "{asked} {page}");
    let few = bench.get("/instruments/guitar/strings?other=E4").await.text;
    assert!(few.contains("1 notes for 6 strings") && few.contains("value=\"E4\""), "{few}");
    assert_eq!(strings().await, lower);
    // A wound string weighs what somebody weighed, not what its gauge says.
    let heavy = [("string", "5"), ("gauge", "1.42"), ("made", "wound")];
    let wrong = send(&bench, to, &heavy).await;
    assert!(wrong.status == 422 && wrong.text.contains("cannot be told from its gauge"), "{}", wrong.text);
    assert!(wrong.text.contains("value=\"1.42\""), "{}", wrong.text);
    let weighed = [heavy.as_slice(), &[("unit_g_m", "7.4")]].concat();
    assert_eq!(send(&bench, to, &weighed).await.status, 200);
    assert_eq!(strings().await["strings"][5]["unit_kg_m"], 0.0074);
    for (field, value) in [("string", "9"), ("string", "-1"), ("note", "H9"), ("gauge", "thin")] {
        let mut form = vec![("string", "0"), ("gauge", "0.3")];
        form.retain(|(name, _)| *name != field);
        form.push((field, value));
        assert_eq!(send(&bench, to, &form).await.status, 422, "{field} {value}");
    }
    bench.stop().await;
}

/// By hand (T/A, as in `physics::statics::bridge_foot`): the pull of all strings over a foot of 150 × 28 mm.
#[tokio::test]
async fn a_joint_takes_the_measures_of_its_own() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let family = [("family", "steel_string_guitar")];
    assert_eq!(send(&bench, "/instruments/guitar/strings", &family).await.status, 200);
    let to = "/joints/bridge/load";
    assert_eq!(send(&bench, to, &[("path", "bridge_foot"), ("joint", "bridge")]).await.status, 200);
    let page = bench.get("/instruments/guitar/strings").await.text;
    assert!(
        page.contains("name=\"bridge_foot.across_mm\" inputmode=\"decimal\" autocomplete=\"off\" value=\"155\""),
        "{page}"
    );
    let own = [
        ("path", "bridge_foot"),
        ("joint", "bridge"),
        ("measured", "bridge_foot"),
        ("bridge_foot.across_mm", "150"),
        ("bridge_foot.along_mm", "28"),
        ("bridge_foot.height_mm", "12"),
    ];
    assert_eq!(send(&bench, to, &own).await.status, 200);
    let load = bench.get("/api/v1/joints/bridge/load").await.good();
    let total_n = bench.get("/api/v1/instruments/guitar/strings").await.good()["total_n"].as_f64().unwrap();
    assert!((load["shear_mpa"].as_f64().unwrap() - total_n / (150.0 * 28.0)).abs() < 1e-4, "{load}");
    // What is wrong stays, in the form of this joint.
    let mut wrong = own.to_vec();
    wrong[3].1 = "wide";
    let page = send(&bench, to, &wrong).await;
    assert!(
        page.status == 422 && page.text.contains("value=\"wide\"") && page.text.contains("is no number"),
        "{}",
        page.text
    );
    // Another path leaves the measures of the first behind and begins with the family's.
    let mut crack = own.to_vec();
    crack[0].1 = "top_crack";
    assert_eq!(send(&bench, to, &crack).await.status, 200);
    let load = bench.get("/api/v1/joints/bridge/load").await.good()["load"].clone();
    assert_eq!((&load["length_mm"], &load["behind"]), (&200.0.into(), &true.into()), "{load}");
    let shut = [("path", "top_crack"), ("joint", "bridge"), ("measured", "top_crack"), ("top_crack.share", "0,5")];
    assert_eq!(send(&bench, to, &shut).await.status, 200);
    let load = bench.get("/api/v1/joints/bridge/load").await.good()["load"].clone();
    assert_eq!((&load["share"], &load["behind"]), (&0.5.into(), &false.into()), "{load}");
    bench.stop().await;
}
