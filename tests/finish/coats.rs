//! The stack on a surface: residual solvent, thinner, the window to recoat, what may touch the finish.

use bench::ms;
use serde_json::{Value, json};

use super::{coat, finds, likely_h, shop, was};

const LACQUER: &str = "nitrocellulose-lacquer";

/// Stages in the order they come.
const IN_ORDER: [&str; 5] = ["recoat_opens", "sandable", "dry_through", "print_free", "rub_out"];

/// Each shipped schedule laid at its own pace in reference air: a day of the schedule after hours, how long the rule's own
/// common practice says its top coat waits for rub-out, weeks.
#[tokio::test]
async fn every_shipped_schedule_is_rubbed_out_in_the_weeks_of_practice() {
    for (schedule, a_day, weeks) in [
        // nitrocellulose-lacquer.rhai: "common practice, no source: two to four weeks"; three coats a day.
        ("lacquer-ten-coats", 3, (2.0, 4.0)),
        // oil-varnish.rhai: "common practice, no source: three to six weeks"; one coat a day.
        ("oil-varnish-five-coats", 1, (3.0, 6.0)),
        // shellac.rhai: "common practice, no source: one to two weeks"; three sessions a day.
        ("french-polish", 3, (1.0, 2.0)),
    ] {
        let bench = shop(&[LACQUER, "vinyl-sealer", "pore-filler", "shellac", "oil-varnish"]).await;
        let job = json!({"id": "finish", "instrument": "guitar"});
        let job = bench.post(&format!("/api/v1/schedules/{schedule}/jobs"), job).await.good();
        let steps: Vec<&Value> =
            job["steps"].as_array().unwrap().iter().filter(|step| step["kind"] == "coat").collect();
        // The filler and an oil wait a day; the other coats of a day are four hours apart.
        let mut at_h = 0;
        let mut laid_h = Vec::new();
        for (i, step) in steps.iter().enumerate() {
            laid_h.push(at_h);
            let overnight = step["material"] == "pore-filler" || (i + 1) % a_day == 0;
            at_h += if overnight { 24 - at_h % 24 } else { 4 };
        }
        let whole_h = laid_h[laid_h.len() - 1];
        was(&bench, whole_h, |_| (20.0, 50.0)).await;
        let mut last = Value::Null;
        for (step, laid_h) in steps.iter().zip(laid_h) {
            // As it is proposed: film, thinner, method.
            let lay = &step["lay"];
            let mut more = json!({"job": "finish", "step": step["id"], "minutes_ago": (whole_h - laid_h) * 60,
                                  "method": lay["method"], "film_um": lay["film_um"]});
            more["thinner_parts"] = json!(lay["thinner_pct"].as_f64().unwrap_or(0.0) / 100.0);
            let material = step["material"].as_str().unwrap();
            last = bench.post("/api/v1/coats", coat(step["id"].as_str().unwrap(), "top", material, more)).await.good();
        }
        let weeks_h = weeks.0 * 168.0..=weeks.1 * 168.0;
        assert!(weeks_h.contains(&likely_h(&last, "rub_out")), "{schedule}: {} h", likely_h(&last, "rub_out"));
        assert!(likely_h(&last, "sandable") < 72.0, "{schedule}: {} h", likely_h(&last, "sandable"));
        for how in 0..3 {
            let age_h = |stage: &str| {
                let milestones = last["milestones"].as_array().unwrap();
                milestones.iter().find(|m| m["stage"] == stage).unwrap()["target_ages_h"][how].as_f64().unwrap()
            };
            assert!(IN_ORDER.is_sorted_by(|a, b| age_h(a) < age_h(b)), "{schedule}: {last}");
        }
        bench.stop().await;
    }
}

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
    assert_eq!(fast["coat"]["film"], json!({"dry_um": 20.0, "solvent_um": 4.0, "diffusion_um2_h": 92.0}));
    // Crank's series on the one coat, D t/L² = 92 · 2/400 = 0.46: its first term 8/π² exp(−π²/4 · 0.46) leaves 26.1 %.
    let second = bench.get("/api/v1/coats/top-1").await.good();
    let held = second["coat"]["beneath"][0]["solvent_um"].as_f64().unwrap();
    assert!((held / 4.0 - 0.261).abs() < 0.01, "{held}");
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
        // A tenth of a millimetre, meant as one.
        (json!({"film_um": 0.1}), "film_um", "5 to 2000"),
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

/// Blush above 65 %, above 75 % with a tenth of retarder (nitrocellulose-lacquer.rhai): a thousandth lifts that by 0.1 %.
#[tokio::test]
async fn retarder_helps_by_how_much_went_in_and_the_next_coat_waits_until_it_is_dry_to_the_touch() {
    let bench = shop(&[LACQUER, "acid-cured-lacquer"]).await;
    bench.read_air("booth", 20.0, 70.0).await;
    for (id, parts, blushes) in [("c-0", 0.0, true), ("c-1", 0.001, true), ("c-2", 0.1, false), ("c-3", 1.0, false)] {
        let body = coat(id, id, LACQUER, json!({"film_um": 100, "retarder_parts": parts}));
        let laid = bench.post("/api/v1/coats", body).await.good();
        assert_eq!(finds(&laid, "caution", "blushes"), blushes, "{parts}: {laid}");
        assert!(likely_h(&laid, "dry_to_touch") < likely_h(&laid, "recoat_opens"), "{parts}: {laid}");
    }
    // 0.25 h of 70 % while the film is wet: too damp for a thousandth, not for a tenth.
    bench.live_minutes("booth", 30, 20.0, 70.0).await;
    for (id, blushed) in [("c-1", true), ("c-2", false)] {
        let coat = bench.get(&format!("/api/v1/coats/{id}")).await.good();
        assert_eq!(finds(&coat, "defect", "blush"), blushed, "{coat}");
    }
    let other = coat("a-1", "back", "acid-cured-lacquer", json!({"retarder_parts": 0.1}));
    assert!(finds(&bench.post("/api/v1/coats", other).await.good(), "caution", "not made to be retarded"));
    bench.stop().await;
}

/// At 10 °C butyl acetate has 570.6 Pa instead of 1098.4 (Perry's Handbook, table 2-8): an hour of the rule lasts 1.925.
#[tokio::test]
async fn how_much_later_a_stack_hardens_is_told_in_hours_of_the_air_foreseen() {
    let bench = shop(&[LACQUER]).await;
    let cellar = json!({"id": "cellar", "name": "Cellar", "set_temp_c": 10, "set_rh_pct": 50});
    bench.post("/api/v1/zones", cellar).await.good();
    let mut last = Value::Null;
    for n in 0..6 {
        let laid = json!({"zone": "cellar", "film_um": 150, "minutes_ago": (5 - n) * 60});
        let body = coat(&format!("c-{n}"), "top", LACQUER, laid);
        last = bench.post("/api/v1/coats", body).await.good();
    }
    // Alone 504 h times (150/100)².
    let later_h = (likely_h(&last, "rub_out") - 504.0 * 2.25) * 1098.4 / 570.6;
    let findings = last["findings"].as_array().unwrap();
    let note = findings.iter().find_map(|f| f["what"].as_str()?.split_once("later, by about ")).expect("a note").1;
    let told_h: f64 = note.split(' ').next().unwrap().parse().unwrap();
    assert!(later_h > 40.0 && (told_h / later_h - 1.0).abs() < 0.04, "{told_h} h told, {later_h} h by hand");
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
    let fill = |id: &str, more: Value| coat(id, id, "uv-cured-fill", more);
    let short = bench.post("/api/v1/coats", fill("f-1", json!({"film_um": 300, "exposure_mj_cm2": 200}))).await.good();
    assert!(finds(&short, "defect", "harden 241 µm of its 300 µm"), "{short}");
    let whole = bench.post("/api/v1/coats", fill("f-2", json!({"film_um": 300, "exposure_mj_cm2": 400}))).await.good();
    assert!(!finds(&whole, "defect", ""), "{whole}");
    let unsaid = bench.post("/api/v1/coats", fill("f-3", json!({"film_um": 300}))).await.good();
    assert!(finds(&unsaid, "caution", "how much light"), "{unsaid}");
    bench.stop().await;
}

/// 300 µm take 40 e^(300/150) = 295.6 mJ/cm²: until then it is wet, whatever the hours.
#[tokio::test]
async fn a_fill_without_its_light_is_wet_and_its_hours_begin_with_the_exposure_that_is_enough() {
    let bench = shop(&["uv-cured-fill", "shellac"]).await;
    bench.read_air("booth", 20.0, 50.0).await;
    let dark = json!({"film_um": 300, "exposure_mj_cm2": 0});
    let dark = bench.post("/api/v1/coats", coat("f-1", "chip", "uv-cured-fill", dark)).await.good();
    assert!(finds(&dark, "defect", "beneath it is wet"), "{dark}");
    let to = "/api/v1/coats/f-1/exposures";
    let times = |cure: &Value| -> usize {
        cure["milestones"].as_array().unwrap().iter().filter(|m| !m["likely_at"].is_null()).count()
    };
    bench.live_minutes("booth", 180, 20.0, 50.0).await;
    bench.alarms().await;
    let waits = bench.get("/api/v1/coats/f-1").await.good();
    assert_eq!((times(&waits), &waits["coat"]["recoat"]["state"]), (0, &json!("wet")), "{waits}");
    assert_eq!(bench.board().await["alerts"].as_array().map_or(0, Vec::len), 0);
    for page in ["/coats", "/cures/f-1"] {
        let text = bench.get(page).await.text;
        assert!(
            text.contains(if page == "/coats" { "not before it has had its light" } else { "It had 0 of 296 mJ/cm²" }),
            "{text}"
        );
    }
    let over = bench.post("/api/v1/coats", coat("s-1", "chip", "shellac", json!({}))).await.good();
    assert!(finds(&over, "defect", "has not had its light"), "{over}");
    bench.post("/api/v1/coats/s-1/withdraw", json!({"reason": "taken off"})).await.good();
    // Half is not enough; what it had before counts when the other half comes.
    let half = bench.post(to, json!({"exposure_mj_cm2": 150})).await.good();
    assert!(
        times(&half) == 0 && finds(&half, "defect", "150 mJ/cm²") && !finds(&half, "defect", "0 mJ/cm² harden 0"),
        "{half}"
    );
    let whole = bench.post_once("k", to, json!({"exposure_mj_cm2": 150})).await.good();
    assert_eq!(bench.post_once("k", to, json!({"exposure_mj_cm2": 150})).await.good()["id"], "f-1");
    assert!(!finds(&whole, "defect", ""), "{whole}");
    // Sandable 0.1 h after the exposure, not after it was filled.
    let at = |cure: &Value| {
        let milestones = cure["milestones"].as_array().unwrap();
        ms(milestones.iter().find(|m| m["stage"] == "sandable").unwrap()["likely_at"].as_str().unwrap())
    };
    assert!((at(&whole) - bench.now.ms() - 360_000).abs() < 60_000, "{whole}");
    bench.live_minutes("booth", 30, 20.0, 50.0).await;
    bench.alarms().await;
    let bench = bench.restart(false).await;
    let after = bench.get("/api/v1/coats/f-1").await.good();
    assert_eq!((at(&after), &after["coat"]["recoat"]["state"]), (at(&whole), &json!("closes")));
    // By the page too; and nothing else is cured by light.
    bench.post("/api/v1/coats", coat("f-2", "knot", "uv-cured-fill", json!({"film_um": 300}))).await.good();
    let form = bench.http().post(bench.url("/cures/f-2/exposed")).header("accept", "text/html");
    let form = form.header("content-type", "application/x-www-form-urlencoded");
    assert_eq!(bench.send(form.body("key=p&exposure_mj_cm2=400")).await.status, 200);
    assert!(times(&bench.get("/api/v1/coats/f-2").await.good()) > 0);
    bench.post("/api/v1/coats", coat("s-2", "back", "shellac", json!({}))).await.good();
    bench.post("/api/v1/coats/s-2/exposures", json!({"exposure_mj_cm2": 9})).await.problem(409, "conflict");
    bench.post(to, json!({"exposure_mj_cm2": -1})).await.problem(422, "invalid");
    bench.stop().await;
}
