//! The stack on a surface: residual solvent, thinner, the window to recoat, what may touch the finish.

use bench::ms;
use serde_json::{Value, json};

use super::{coat, finds, likely_h, shop, was};

const LACQUER: &str = "nitrocellulose-lacquer";

#[tokio::test]
async fn three_fast_coats_take_longer_to_harden_than_three_slow_ones() {
    let bench = shop(&[LACQUER]).await;
    let mut last = Vec::new();
    for (surface, hours) in [("top", 2), ("back", 24)] {
        for n in 0..3 {
            let ago = json!({"film_um": 100, "minutes_ago": 60 * hours * (2 - n)});
            let body = coat(&format!("{surface}-{n}"), surface, LACQUER, ago);
            last.push(bench.post("/api/v1/coats", body).await.good());
        }
    }
    // Each of a coat on bare wood, of three fast ones, of three slow ones.
    let (first, fast, slow) = (&last[0], &last[2], &last[5]);
    // On bare wood the rule's own hours stand.
    assert_eq!((likely_h(first, "sandable"), likely_h(first, "rub_out")), (4.0, 504.0));
    for stage in ["sandable", "dry_through", "print_free", "rub_out"] {
        let (alone_h, fast_h, slow_h) = (likely_h(first, stage), likely_h(fast, stage), likely_h(slow, stage));
        assert!(alone_h <= slow_h && slow_h < fast_h, "{stage}: {alone_h}, {slow_h}, {fast_h}");
    }
    for stage in ["set_to_touch", "dust_free", "recoat_opens"] {
        assert_eq!(likely_h(fast, stage), likely_h(first, stage), "{stage} ends at the surface");
    }
    // 100 µm wet of 20 % solids: 20 µm dry, a fifth of it solvent: 4 µm. Beneath two of them, after 2 h each.
    let beneath = fast["coat"]["beneath"].as_array().unwrap();
    assert_eq!((beneath.len(), &beneath[0]["dry_um"]), (2, &json!(20.0)));
    assert_eq!(fast["coat"]["film"], json!({"dry_um": 20.0, "solvent_um": 4.0, "diffusion_um2_h": 46.0}));
    // Crank's series on the one coat, D t/L² = 46 · 2/400 = 0.23: by its short form 1 − 2 √(0.23/π) = 45.9 % are left.
    let second = bench.get("/api/v1/coats/top-1").await.good();
    let held = second["coat"]["beneath"][0]["solvent_um"].as_f64().unwrap();
    assert!((held / 4.0 - 0.459).abs() < 0.01, "{held}");
    assert!(finds(fast, "note", "still hold"), "{fast}");
    assert_eq!((&second["state"], &fast["state"]), (&json!("covered"), &json!("curing")));
    bench.stop().await;
}

#[tokio::test]
async fn thinner_makes_a_thinner_film_that_sets_later_and_passes_stand_for_a_gauge() {
    let bench = shop(&[LACQUER]).await;
    // Two passes of 20 m²/l are 100 µm, the rule's own film.
    let passes = json!({"passes": 2, "spread_m2_l": 20, "method": "spray"});
    let plain = bench.post("/api/v1/coats", coat("c-1", "top", LACQUER, passes)).await.good();
    assert_eq!((likely_h(&plain, "dust_free"), &plain["coat"]["method"]), (0.1, &json!("spray")));
    // A third thinned by one to one: 10 % solids, 10 µm dry; 90 % to leave instead of 80 %: 1.125 times as long.
    let thinned = json!({"film_um": 100, "thinner_parts": 1});
    let thinned = bench.post("/api/v1/coats", coat("c-2", "back", LACQUER, thinned)).await.good();
    assert_eq!(thinned["coat"]["film"]["dry_um"], 10.0);
    assert!((likely_h(&thinned, "dust_free") - 0.1125).abs() < 1e-9);
    // A tenth of retarder: half as long again, and (1 − 0.2/1.1)/0.8 = 1.0227 times as much to leave.
    let retarded = json!({"film_um": 100, "retarder_parts": 0.1});
    let retarded = bench.post("/api/v1/coats", coat("c-3", "sides", LACQUER, retarded)).await.good();
    assert!((likely_h(&retarded, "dust_free") - 0.1 * 1.5 * 1.022_727).abs() < 1e-5);
    // Air at 0.6 m/s instead of 0.1: (0.13 + 0.14 · 0.6)/(0.13 + 0.14 · 0.1) = 1.486 times as fast (Penman 1963).
    let fanned = bench.post("/api/v1/coats", coat("c-4", "neck", LACQUER, json!({"air_m_s": 0.6}))).await.good();
    assert!((likely_h(&fanned, "dust_free") - 0.1 / 1.486_11).abs() < 1e-5);
    for (wrong, field, says) in [
        (json!({"passes": 2}), "spread_m2_l", "go together"),
        (json!({"passes": 2, "spread_m2_l": 20, "film_um": 50}), "film_um", "both"),
        (json!({"thinner_parts": 7}), "thinner_parts", "0 to 5"),
        (json!({"retarder_parts": -1}), "retarder_parts", "0 to 1"),
        (json!({"air_m_s": 50}), "air_m_s", "0 to 5"),
        (json!({"prepare_min": -5}), "prepare_min", "0 to 1440"),
        (json!({"passes": 100, "spread_m2_l": 20}), "passes", "0.5 to 50"),
    ] {
        let problem = bench.post("/api/v1/coats", coat("c-9", "head", LACQUER, wrong)).await.problem(422, "invalid");
        assert_eq!(problem["field"], field, "{problem}");
        assert!(problem["detail"].as_str().is_some_and(|detail| detail.contains(says)), "{problem}");
    }
    bench.stop().await;
}

#[tokio::test]
async fn after_its_window_closed_a_coat_wants_a_word_on_whether_it_was_abraded() {
    let bench = shop(&["oil-varnish"]).await;
    // Closes at the earliest after 0.6 of 72 h.
    was(&bench, 42, |_| (20.0, 50.0)).await;
    let varnish = |id: &str, more: Value| coat(id, "Top", "oil-varnish", more);
    bench.post("/api/v1/coats", varnish("c-1", json!({"minutes_ago": 42 * 60}))).await.good();
    let recoat = bench.get("/api/v1/coats/c-1").await.good()["coat"]["recoat"].clone();
    assert_eq!(recoat["state"], "closes");
    let closes_ms = ms(recoat["closes_at"].as_str().unwrap());
    assert!((closes_ms - bench.now.ms() - 72 * 60_000).abs() < 10 * 60_000, "43.2 h from the start: {recoat}");
    bench.wait_minutes(2 * 60);
    let line = bench.board().await["cures"][0].clone();
    assert_eq!(line["recoat"]["says"], "abrade before recoat", "{line}");
    assert!(bench.get("/").await.text.contains("abrade before recoat"));
    assert!(bench.get("/cures/c-1").await.text.contains("abrade before recoat"));
    let refused = bench.post("/api/v1/coats", varnish("c-2", json!({"surface": "top "}))).await;
    let refused = refused.problem(409, "conflict");
    assert!(refused["mend"].as_str().is_some_and(|mend| mend.contains("\"abraded\": true")), "{refused}");
    // Another surface knows nothing of it, nor does a coat laid while the window was open.
    bench.post("/api/v1/coats", coat("back-1", "back", "oil-varnish", json!({}))).await.good();
    let bare = bench.post("/api/v1/coats", varnish("c-3", json!({"abraded": false}))).await.good();
    assert!(finds(&bare, "defect", "was not abraded"), "{bare}");
    // By mistake: taken back, the coat beneath is the top coat again and asks again.
    bench.post("/api/v1/coats/c-3/withdraw", json!({"reason": "wrong surface"})).await.good();
    let under = bench.get("/api/v1/coats/c-1").await.good();
    assert_eq!((&under["state"], &under["coat"]["recoat"]["state"]), (&json!("curing"), &json!("closed")));
    bench.post("/api/v1/coats", varnish("c-4", json!({}))).await.problem(409, "conflict");
    let abraded = bench.post("/api/v1/coats", varnish("c-4", json!({"abraded": true}))).await.good();
    assert!(!finds(&abraded, "defect", ""), "{abraded}");
    // What is derived is the same after a restart.
    let before = bench.get("/api/v1/coats/c-4").await.good();
    let bench = bench.restart(false).await;
    assert_eq!(bench.get("/api/v1/coats/c-4").await.good(), before);
    bench.stop().await;
}

#[tokio::test]
async fn a_coat_laid_too_early_is_told_what_it_may_do() {
    let bench = shop(&["oil-varnish"]).await;
    bench.post("/api/v1/coats", coat("c-1", "top", "oil-varnish", json!({"minutes_ago": 300}))).await.good();
    let early = bench.post("/api/v1/coats", coat("c-2", "top", "oil-varnish", json!({}))).await.good();
    assert!(finds(&early, "caution", "was not ready for it"), "{early}");
    bench.stop().await;
}

#[tokio::test]
async fn what_is_covered_tells_nothing_more_and_its_step_is_done() {
    let bench = shop(&["oil-varnish"]).await;
    let step = |id: &str| json!({"id": id, "kind": "coat", "title": id, "material": "oil-varnish"});
    let wait = json!({"id": "rest", "kind": "wait", "title": "rest"});
    let job = json!({"id": "job", "title": "varnish", "instrument": "guitar", "steps": [step("a"), step("b"), wait]});
    bench.post("/api/v1/jobs", job).await.good();
    for (id, step, ago) in [("c-a", "a", 20 * 60), ("c-b", "b", 0)] {
        let body = json!({"id": id, "surface": "top", "job": "job", "step": step, "zone": "booth", "minutes_ago": ago});
        bench.post("/api/v1/coats", body).await.good();
        bench.alarms().await;
    }
    let steps = bench.get("/api/v1/jobs/job").await.good()["steps"].clone();
    assert_eq!(
        (&steps[0]["state"], &steps[1]["state"], &steps[2]["state"]),
        (&json!("done"), &json!("curing"), &json!("waiting"))
    );
    // 72 h on the first coat would be closing, and many hours more it would be rubbed out: nobody is told.
    for _ in 0..60 {
        bench.wait_minutes(24 * 60);
        bench.alarms().await;
    }
    let alerts = bench.items("/api/v1/alerts").await;
    let told = |id: &str| alerts.iter().filter(|a| a["id"].as_str().is_some_and(|alert| alert.starts_with(id))).count();
    assert!(told("c-b") == 10 && told("c-a") < 6, "{} and {}", told("c-a"), told("c-b"));
    let steps = bench.get("/api/v1/jobs/job").await.good()["steps"].clone();
    assert!(steps.as_array().unwrap().iter().all(|step| step["state"] == "done"), "{steps}");
    bench.stop().await;
}

#[tokio::test]
async fn what_may_touch_the_finish_follows_the_stages_of_its_slowest_surface() {
    let bench = shop(&[LACQUER, "shellac"]).await;
    let path = "/api/v1/instruments/guitar/finish";
    let bare = bench.get(path).await.good();
    assert!(bare["touches"].as_array().unwrap().iter().all(|touch| touch["may_now"] == true), "{bare}");
    // Shellac is dry through after 24 h at the latest 1.7 times that; lacquer laid today is not.
    bench.post("/api/v1/coats", coat("neck-1", "neck", "shellac", json!({"minutes_ago": 50 * 60}))).await.good();
    let touch = |finish: &Value, name: &str| {
        let touches = finish["touches"].as_array().unwrap().clone();
        touches.into_iter().find(|touch| touch["touch"] == name).unwrap_or_else(|| panic!("{name} in {finish}"))
    };
    let finish = bench.get(path).await.good();
    assert_eq!(
        (&touch(&finish, "hands")["may_now"], &touch(&finish, "case")["may_now"]),
        (&json!(true), &json!(false))
    );
    bench.post("/api/v1/coats", coat("top-1", "top", LACQUER, json!({}))).await.good();
    let finish = bench.get(path).await.good();
    for name in ["hands", "cloth", "clamp_cauls_with_cork", "case", "strap", "stand_foam"] {
        assert_eq!((&touch(&finish, name)["may_now"], &touch(&finish, name)["last"]), (&json!(false), &json!("top")));
    }
    // 504 h · 1.34 from now on the top, or later; foam and vinyl mark lacquer whenever they come.
    assert_eq!(touch(&finish, "case")["from"], bench.milestone("top-1", "rub_out").await["safe_at"]);
    let from_ms = ms(touch(&finish, "case")["from"].as_str().unwrap());
    assert!((from_ms - bench.now.ms()) as f64 / 3.6e6 > 504.0 * 1.34);
    assert!(touch(&finish, "stand_foam")["warning"].as_str().is_some_and(|says| says.contains("keep cloth between")));
    assert_eq!(touch(&finish, "hands")["warning"], Value::Null);
    assert_eq!(finish["surfaces"].as_array().unwrap().len(), 2);
    assert!(
        finish["cautions"]
            .as_array()
            .unwrap()
            .iter()
            .any(|c| c.as_str().is_some_and(|c| c.contains("safety data sheet")))
    );
    bench.stop().await;
}

/// Jacobs's working curve: 40 mJ/cm² critical, 150 µm: 200 mJ/cm² harden 150 ln 5 = 241 µm, 400 harden 345.
#[tokio::test]
async fn a_fill_cured_by_light_says_how_deep_it_hardened() {
    let bench = shop(&["uv-cured-fill"]).await;
    let fill = |id: &str, more: Value| coat(id, "chip", "uv-cured-fill", more);
    let short = bench.post("/api/v1/coats", fill("f-1", json!({"film_um": 300, "exposure_mj_cm2": 200}))).await.good();
    assert!(finds(&short, "defect", "harden 241 µm of its 300 µm"), "{short}");
    let whole = bench.post("/api/v1/coats", fill("f-2", json!({"film_um": 300, "exposure_mj_cm2": 400}))).await.good();
    assert!(!finds(&whole, "defect", ""), "{whole}");
    let unsaid = bench.post("/api/v1/coats", fill("f-3", json!({"film_um": 300}))).await.good();
    assert!(finds(&unsaid, "caution", "how much light"), "{unsaid}");
    bench.stop().await;
}
