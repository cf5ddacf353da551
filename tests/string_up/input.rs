//! What cannot be is refused with what, where and how to mend it; a unit mixed up is suspected and asked about.

use bench::Bench;
use serde_json::json;

use super::http::{answer, strung_guitar};

#[tokio::test]
async fn strings_that_cannot_be_are_refused_with_the_likely_unit() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let to = "/api/v1/instruments/guitar/strings";
    let one = |string: serde_json::Value| json!({"family": "steel_string_guitar", "strings": [string]});
    for (body, field, mend) in [
        (json!({}), "family", "string-families"),
        (json!({"family": "steel_string_guitar", "scale_mm": 0}), "scale_mm", "nut to saddle"),
        (json!({"family": "steel_string_guitar", "scale_mm": 25.5}), "scale_mm", "send scale_in 25.5"),
        (
            json!({"family": "steel_string_guitar", "scale_in": 648}),
            "scale_in",
            "did you mean millimetres? then send scale_mm 648",
        ),
        (json!({"family": "steel_string_guitar", "scale_in": "25 1/x"}), "scale_in", "25 1/2"),
        (json!({"family": "steel_string_guitar", "a4_hz": 44}), "a4_hz", "440"),
        (json!({"family": "steel_string_guitar", "tuning": ["E4"]}), "tuning", "one note for each string"),
        (one(json!({"note": "E4", "gauge_mm": 0.012})), "gauge_mm", "gauge_in 0.012 (0.305 mm)"),
        (one(json!({"note": "E4", "gauge_mm": 12})), "gauge_mm", "gauge_thou 12 (0.305 mm)"),
        (one(json!({"note": "E4", "gauge_in": 12})), "gauge_in", "did you mean gauge_thou 12 (0.305 mm)"),
        (one(json!({"note": "E4", "gauge_thou": 0.012})), "gauge_thou", "did you mean gauge_in 0.012 (0.305 mm)"),
        (one(json!({"note": "E4"})), "gauge_mm", "gauge_thou"),
        // By hand: 4 · 0.6477² · 329.63² · 0.00573 = 1045 N, the weight of a first string ten times over; and the highest note.
        (one(json!({"note": "E4", "gauge_mm": 0.3, "unit_kg_m": 0.00573})), "strings[0]", "unit_kg_m in kg/m"),
        (one(json!({"note": "B##8", "gauge_mm": 0.3})), "strings[0]", "the note's octave"),
        (one(json!({"note": "E2", "gauge_thou": 53})), "wound", "if it is plain, send wound: false"),
        (one(json!({"note": "E2", "gauge_thou": 53, "wound": true})), "unit_kg_m", "core_mm and wrap_mm"),
        (one(json!({"note": "E2", "gauge_thou": 53, "core_mm": 0.5, "wrap_mm": 0.2})), "core_mm", "core + 2 wraps"),
        (one(json!({"note": "E2", "gauge_mm": 0.3, "gauge_in": 0.012})), "gauge_mm", "send one of"),
    ] {
        let problem = bench.post(to, body.clone()).await.problem(422, "invalid");
        assert_eq!(problem["field"], field, "{body}: {problem}");
        assert!(problem["mend"].as_str().unwrap().contains(mend), "{body}: {problem}");
    }
    let problem = bench.post(to, one(json!({"note": "H4", "gauge_mm": 0.3}))).await.problem(422, "invalid");
    assert!(problem["detail"].as_str().unwrap().contains("a letter from A to G"), "{problem}");
    // 24 · 104.4 N · (0.65/0.3048)² = 11,395 N.
    let many = vec![json!({"note": "E4", "gauge_mm": 0.65}); 24];
    let many = json!({"family": "steel_string_guitar", "strings": many});
    let problem = bench.post(to, many).await.problem(422, "invalid");
    assert_eq!(problem["field"], "strings", "{problem}");
    // Nothing of it was kept.
    bench.get(to).await.problem(409, "conflict");
    bench.get("/api/v1/instruments/guitar/string-up").await.problem(409, "conflict");
    bench.get("/api/v1/instruments/none/string-up").await.problem(404, "not-found");
    bench.stop().await;
}

#[tokio::test]
async fn a_wound_string_is_weighed_by_core_and_winding_or_given() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let strings = json!([
        {"note": "E2", "gauge_mm": 1.1, "core_mm": 0.5, "wrap_mm": 0.3},
        {"note": "A2", "gauge_thou": 42, "wound": true, "unit_kg_m": 0.0063},
    ]);
    let body = json!({"family": "steel_string_guitar", "scale_in": "25 1/2", "strings": strings});
    let fitted = bench.post("/api/v1/instruments/guitar/strings", body).await.good();
    // By hand: 7850 π 0.25/4 + 8800 π² 0.3 · 0.8/4 mm² = 1.5413 + 5.2111 g/m.
    assert!((fitted["strings"][0]["unit_kg_m"].as_f64().unwrap() - 6.7524e-3).abs() < 1e-6, "{fitted}");
    // T = 4 · 0.6477² · 110² · 0.0063 = 127.92 N.
    assert!((fitted["strings"][1]["tension_n"].as_f64().unwrap() - 127.92).abs() < 0.01, "{fitted}");
    assert_eq!((&fitted["scale_mm"], &fitted["strings"][1]["gauge_mm"]), (&json!(647.7), &json!(1.0668)));
    bench.stop().await;
}

#[tokio::test]
async fn a_joint_with_no_area_or_a_measure_of_another_path_is_refused() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let to = "/api/v1/joints/bridge/load";
    // The family is not known yet: nothing can be left out.
    let problem = bench.post(to, json!({"path": "bridge_foot", "across_mm": 155})).await.problem(422, "invalid");
    assert!(problem["mend"].as_str().unwrap().contains("every measure"), "{problem}");
    let whole = json!({"path": "bridge_foot", "across_mm": 155, "along_mm": 30, "height_mm": 12});
    bench.post(to, whole).await.good();
    bench.post("/api/v1/instruments/guitar/strings", json!({"family": "steel_string_guitar"})).await.good();
    for (body, field, mend) in [
        (json!({"path": "bridge_foot", "across_mm": 0}), "across_mm", "a joint without an area carries nothing"),
        (json!({"path": "neck_joint", "depth_mm": -1}), "depth_mm", "a joint without an area carries nothing"),
        (json!({"path": "headstock", "slope_deg": 140}), "slope_deg", "/load-paths.svg"),
        (json!({"path": "bridge_foot", "depth_mm": 3}), "depth_mm", "across_mm, along_mm, height_mm"),
        (json!({"path": "bridge"}), "path", "bridge_foot"),
        (json!({"path": "bridge_foot", "across_mm": "wide"}), "path", "numbers in millimetres"),
    ] {
        let problem = bench.post(to, body.clone()).await.problem(422, "invalid");
        assert_eq!(problem["field"], field, "{body}: {problem}");
        assert!(problem["mend"].as_str().unwrap().contains(mend), "{body}: {problem}");
    }
    bench.post("/api/v1/joints/none/load", json!({"path": "bridge_foot"})).await.problem(404, "not-found");
    assert_eq!(answer(&bench).await["joints"][0]["load"]["load"]["across_mm"], 155.0);
    bench.stop().await;
}

#[tokio::test]
async fn the_same_request_twice_says_it_once() {
    let bench = Bench::small().await;
    strung_guitar(&bench).await;
    let to = "/api/v1/instruments/guitar/string-stages";
    let first = bench.post_once("k-1", to, json!({"stage": "full_pitch"})).await.good();
    let again = bench.post_once("k-1", to, json!({"stage": "full_pitch"})).await.good();
    assert_eq!(first["stages"], again["stages"]);
    let problem = bench.post(to, json!({"stage": "full_pitch"})).await.problem(409, "conflict");
    assert!(problem["detail"].as_str().unwrap().contains("already"), "{problem}");
    bench.stop().await;
}

/// By hand: 4 · 0.648² · 493.88² · 7850 = 3216 MPa in any plain steel string tuned to B4 on 648 mm, and music wire breaks near
/// 2500 (from memory).
#[tokio::test]
async fn a_string_that_will_break_is_doubted_wherever_it_is_asked_about() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let to = "/api/v1/instruments/guitar/strings";
    let body = |note: &str| {
        let strings = json!([{"note": note, "gauge_thou": 10}]);
        json!({"family": "steel_string_guitar", "scale_mm": 648, "strings": strings})
    };
    let fitted = bench.post(to, body("E4")).await.good();
    assert_eq!(fitted["strings"][0].get("doubt"), None, "{fitted}");
    let doubted = |string: &serde_json::Value| {
        assert!((string["stress_mpa"].as_f64().unwrap() - 3216.0).abs() < 2.0, "{string}");
        assert!(string["doubt"].as_str().unwrap().contains("breaks near 2500 (from memory)"), "{string}");
    };
    doubted(&bench.get(&format!("{to}?tuning=B4")).await.good()["strings"][0]);
    assert!(bench.get("/instruments/guitar/strings?other=B4").await.text.contains("likely to break"));
    doubted(&bench.get("/api/v1/string-tension?note=B4&scale_mm=648&gauge_thou=12").await.good());
    doubted(&bench.post(to, body("B4")).await.good()["strings"][0]);
    assert!(answer(&bench).await["cautions"][0].as_str().unwrap().contains("string at B4"));
    bench.stop().await;
}

/// By hand, as for a set: 7850 π 0.25/4 + 8800 π² 0.3 · 0.8/4 mm² = 6.7524 g/m on a core of 0.5 mm; on 648 mm at E2 (82.407 Hz)
/// 4 · 0.648² · 82.407² · 0.0067524 = 77.02 N, 392.3 MPa in the core.
#[tokio::test]
async fn the_pull_of_a_wound_string_is_told_from_its_core_and_winding() {
    let bench = Bench::small().await;
    let asked = "/api/v1/string-tension?note=E2&scale_mm=648";
    let pull = bench.get(&format!("{asked}&core_mm=0.5&wrap_mm=0.3")).await.good();
    assert!((pull["tension_n"].as_f64().unwrap() - 77.02).abs() < 0.02, "{pull}");
    assert!((pull["stress_mpa"].as_f64().unwrap() - 392.3).abs() < 0.2, "{pull}");
    assert_eq!(pull["gauge_mm"], 1.1);
    let problem = bench.get(&format!("{asked}&gauge_thou=53")).await.problem(422, "invalid");
    assert_eq!(problem["field"], "wound", "{problem}");
    bench.get(&format!("{asked}&gauge_thou=53&wound=false")).await.good();
    bench.stop().await;
}

#[tokio::test]
async fn what_a_family_has_not_is_not_asked_from_its_defaults() {
    let bench = Bench::small().await;
    bench.furnish().await;
    for (family, path, why) in [
        ("violin", "bridge_foot", "the strings hold its bridge"),
        ("double_bass", "brace_end", "the strings hold its bridge"),
        ("banjo", "top_crack", "its top is a skin"),
        ("bass_guitar", "back_seam", "its body is solid"),
    ] {
        bench.post("/api/v1/instruments/guitar/strings", json!({"family": family})).await.good();
        let problem = bench.post("/api/v1/joints/bridge/load", json!({"path": path})).await.problem(422, "invalid");
        assert!(problem["detail"].as_str().unwrap().contains(why), "{family} {path}: {problem}");
        assert!(!problem.to_string().contains("the family of the instrument"), "{problem}");
    }
    // Whoever has one all the same says every measure.
    let whole = json!({"path": "bridge_foot", "across_mm": 155, "along_mm": 30, "height_mm": 12});
    bench.post("/api/v1/joints/bridge/load", whole).await.good();
    bench.stop().await;
}
