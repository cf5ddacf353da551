//! Stringing up by the pages alone: which strings, what they load, the answer, and the stages.

use bench::Bench;

use super::forms::send;

#[tokio::test]
async fn strings_are_fitted_loads_are_said_and_stages_are_done() {
    let bench = Bench::small().await;
    bench.furnish().await;
    assert!(bench.get("/strings").await.text.contains("Nobody said which strings"));
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
    assert!(bench.get("/strings").await.text.contains(first));
    // Full pitch before half tension is refused, and the page stays.
    let stage = |stage: &'static str| [("stage", stage)];
    let early = send(&bench, "/instruments/guitar/string-stages", &stage("rechecked")).await;
    assert!(early.status == 409 && early.text.contains("role=\"alert\""), "{} {}", early.status, early.text);
    assert_eq!(send(&bench, "/instruments/guitar/string-stages", &stage("loose")).await.status, 422);
    bench.stop().await;
}
