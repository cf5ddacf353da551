//! Three shop days, with the figures worked by hand beside them.

use bench::ms;
use serde_json::{Value, json};

use super::{coat, finds, likely_h, shop, was};

/// A booth in early March: 20 °C, 50 % RH, but from noon to six in the evening 78 %.
fn rh_pct(at_ms: i64) -> f64 {
    let hour = at_ms.rem_euclid(86_400_000) / 3_600_000;
    if (12..18).contains(&hour) { 78.0 } else { 50.0 }
}

/// Lets hours pass with a reading every half hour; tells what is due.
async fn live(bench: &bench::Bench, hours: i64, air: impl Fn(i64) -> (f64, f64)) {
    for _ in 0..hours * 2 {
        bench.wait_minutes(30);
        let (temp_c, rh_pct) = air(bench.now.ms());
        bench.read_air("booth", temp_c, rh_pct).await;
        bench.alarms().await;
    }
}

/// Ten coats of nitrocellulose over six days: two each morning, at 9:30 and 11:30 but for the last days. In the damp
/// afternoons lacquer blushes, and the window the forecast finds avoids them.
#[tokio::test]
async fn ten_coats_of_lacquer_over_six_days_keep_out_of_the_damp_afternoons() {
    let bench = shop(&["nitrocellulose-lacquer", "vinyl-sealer", "pore-filler"]).await;
    let opened = json!({"id": "finish", "instrument": "guitar"});
    let job = bench.post("/api/v1/schedules/lacquer-ten-coats/jobs", opened).await.good();
    // Seal, fill, seal, six to build, level, four on top, rest, rub-out: 16 steps, 13 of them coats.
    let steps = job["steps"].as_array().unwrap();
    assert_eq!((steps.len(), &steps[3]["id"], &steps[15]["id"]), (16, &json!("build-1"), &json!("rub-out")));
    assert_eq!(bench.get("/api/v1/schedules/lacquer-ten-coats").await.good()["coats"], 13);
    let air = |at_ms| (20.0, rh_pct(at_ms));
    // A fortnight of it has been seen.
    was(&bench, 14 * 24, air).await;
    let lacquer = async |n: usize, more: Value| {
        let step = if n <= 6 { format!("build-{n}") } else { format!("top-{}", n - 6) };
        let mut body = json!({"id": format!("c-{n}"), "surface": "top", "job": "finish", "step": step, "zone": "booth",
                              "method": "spray", "film_um": 60});
        body.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        bench.post("/api/v1/coats", body).await.good()
    };
    let mut coats = Vec::new();
    let mut n = 0;
    for of_day in [2, 2, 2, 2, 1, 1] {
        // The morning is the window: what is laid at noon is wet in the damp.
        let word = bench.get("/api/v1/spray-window?material=nitrocellulose-lacquer&zone=booth&hours=24").await.good();
        assert_eq!(word["verdict"], "now", "{word}");
        let until_h = (ms(word["windows"][0]["until"].as_str().unwrap()) % 86_400_000) as f64 / 3.6e6;
        assert!((11.0..=12.0).contains(&until_h), "{word}");
        live(&bench, 1, air).await;
        for laid in 0..of_day {
            n += 1;
            coats.push(lacquer(n, json!({})).await);
            assert!(!finds(coats.last().unwrap(), "caution", "blush"), "{:?}", coats.last());
            assert!(!finds(coats.last().unwrap(), "caution", "beneath"), "{:?}", coats.last());
            if laid + 1 < of_day {
                live(&bench, 2, air).await;
            }
        }
        // To 13:00 of the same day: it is too damp for retarder too, and the answer is the evening.
        live(&bench, 4 - 2 * (of_day - 1), air).await;
        let damp = bench.get("/api/v1/spray-window?material=nitrocellulose-lacquer&zone=booth&hours=24").await.good();
        assert_eq!(damp["verdict"], "wait", "{damp}");
        let top = bench.get(&format!("/api/v1/coats/c-{n}")).await.good();
        assert_eq!((&top["state"], finds(&top, "defect", "blush")), (&json!("curing"), false), "{top}");
        let next_h = (ms(damp["next"]["from"].as_str().unwrap()) % 86_400_000) as f64 / 3.6e6;
        assert!((17.0..=18.75).contains(&next_h), "wait until about six: {damp}");
        live(&bench, 19, air).await;
    }
    assert_eq!(n, 10);
    for (i, cure) in coats.iter().enumerate() {
        let cure = bench.get(&format!("/api/v1/coats/{}", cure["id"].as_str().unwrap())).await.good();
        assert_eq!(cure["state"], if i < 9 { "covered" } else { "curing" });
    }
    // A coat laid at one in the afternoon on another surface blushes, and the one over it is told so.
    live(&bench, 5, air).await;
    let damp = coat("x-1", "back", "nitrocellulose-lacquer", json!({}));
    assert!(finds(&bench.post("/api/v1/coats", damp).await.good(), "caution", "blushes"));
    live(&bench, 1, air).await;
    assert!(finds(&bench.get("/api/v1/coats/x-1").await.good(), "defect", "blush"));
    let over = bench.post("/api/v1/coats", coat("x-2", "back", "nitrocellulose-lacquer", json!({}))).await.good();
    assert!(finds(&over, "caution", "The coat beneath, blush"), "{over}");
    // By hand: 60 µm wet of 20 % is 12 µm dry with 2.4 µm of solvent, at the surface of a stack much thicker than itself. Of
    // such a layer (12/2)/√(π · 92 · t) are left after t hours (Crank, ch. 2: a source below a surface held at zero), 7.2 %
    // of the coat of yesterday and 5.1 % of each of the two of the day before. Those of the days before lay on less, and
    // lost more to it: all nine hold less than 0.396 · 2.4 = 0.95 µm and more than the last three.
    let last = &coats[9];
    let beneath = last["coat"]["beneath"].as_array().unwrap();
    let held: Vec<f64> = beneath.iter().map(|coat| coat["solvent_um"].as_f64().unwrap()).collect();
    let whole: f64 = held.iter().sum();
    assert!((0.174 * 2.4..0.95).contains(&whole), "{whole} µm");
    // Alone it would be rubbed out after 504 · 0.6² = 181 h. What lies at height x in the 120 µm leaves after
    // (120² − x²)/(2 · 92) h in the mean; of a coat from 12 i to 12 i + 12 µm x² is 144 (i² + i + 1/3) in the mean. So coat i
    // of ten takes 144 (90 − i² − i)/184 h longer than the top one, and the mean over all that is held is the delay.
    let longer_h = |i: usize| 144.0 * (90.0 - (i * i + i) as f64) / 184.0;
    let by_hand_h = held.iter().enumerate().map(|(i, um)| um * longer_h(i)).sum::<f64>() / (whole + 2.4);
    let delay_h = likely_h(last, "rub_out") - 504.0 * 0.36;
    assert!(by_hand_h > 5.0 && (delay_h / by_hand_h - 1.0).abs() < 1e-6, "{delay_h} h, {by_hand_h} h by hand");
    bench.stop().await;
}

/// Oil varnish at 28 °C: 2^0.8 = 1.741 times as fast as at 20 °C. Laid at 20:00 on Monday, its window closes at
/// the earliest after 43.2/1.741 = 24.81 h, on Tuesday at 20:49: in the night, so that by Wednesday morning it wants paper. It
/// is told the 45 minutes before that the next coat takes to prepare.
#[tokio::test]
async fn an_oil_varnish_whose_window_closes_overnight() {
    let bench = shop(&["oil-varnish"]).await;
    let air = |_| (28.0, 50.0);
    was(&bench, 48, air).await;
    live(&bench, 12, air).await;
    // 20:00 on Monday; floor and spread aside it may be recoated from 16/1.741 = 9.2 h on.
    bench.post("/api/v1/coats", coat("v-1", "top", "oil-varnish", json!({"prepare_min": 45}))).await.good();
    let by_hand_ms = ms("2026-03-02T20:00:00Z") + (43.2 / 2f64.powf(0.8) * 3.6e6) as i64;
    // Tuesday 21:00: told at 20:04 at the latest; nobody laid a coat.
    live(&bench, 25, air).await;
    let closes = bench.get("/api/v1/coats/v-1").await.good()["coat"]["recoat"]["closes_at"].clone();
    assert!((ms(closes.as_str().unwrap()) - by_hand_ms).abs() < 10 * 60_000, "{closes}");
    let told = bench.alert("v-1:recoat_closes").await;
    let ahead_min = (by_hand_ms - ms(told["due_at"].as_str().unwrap())) / 60_000;
    assert!((45..=60).contains(&ahead_min), "{ahead_min} min ahead: {told}");
    assert!(told["title"].as_str().is_some_and(|title| title.starts_with("Closing")), "{told}");
    // Wednesday 8:00.
    live(&bench, 11, air).await;
    assert_eq!(bench.board().await["cures"][0]["recoat"]["says"], "abrade before recoat");
    bench.post("/api/v1/coats", coat("v-2", "top", "oil-varnish", json!({}))).await.problem(409, "conflict");
    let abraded = coat("v-2", "top", "oil-varnish", json!({"abraded": true}));
    let abraded = bench.post("/api/v1/coats", abraded).await.good();
    assert!(abraded["cautions"].as_array().unwrap().iter().any(|c| c.as_str().unwrap().contains("RAGS")), "{abraded}");
    // The next coat is on: what hurried it is off the board, and there again when that coat is wiped off.
    assert_eq!(bench.alert("v-1:recoat_closes").await["state"], "retracted");
    bench.post("/api/v1/coats/v-2/withdraw", json!({"reason": "wiped off"})).await.good();
    assert_eq!(bench.alert("v-1:recoat_closes").await["state"], "open");
    bench.stop().await;
}

/// Two-part polyurethane, working life 240 min at 20 °C and 50 kJ/mol: at 35 °C exp(50000/8.314 · (1/293.15 − 1/308.15)) =
/// 2.714 times as fast, so that it gels after 88 min instead of 240, the quickest after 0.7 of it, 62 min.
#[tokio::test]
async fn a_two_part_mix_gels_early_on_a_hot_day() {
    let bench = shop(&["two-part-polyurethane"]).await;
    bench.read_air("booth", 35.0, 40.0).await;
    bench.wait_minutes(1);
    let mix =
        json!({"id": "pot", "material": "two-part-polyurethane", "zone": "booth", "wanted_ml": 90, "warn_min": 20});
    let made = bench.post("/api/v1/mixes", mix).await.good();
    let stirred_ms = bench.now.ms();
    for _ in 0..100 {
        bench.wait_minutes(1);
        bench.read_air("booth", 35.0, 40.0).await;
        bench.alarms().await;
    }
    let pot = bench.get("/api/v1/mixes/pot").await.good();
    let after_min = |field: &str| (ms(pot[field].as_str().unwrap()) - stirred_ms) as f64 / 60_000.0;
    assert!((after_min("gels_likely_at") - 240.0 / 2.714_4).abs() < 0.5, "{}", after_min("gels_likely_at"));
    assert!((after_min("gels_earliest_at") - 168.0 / 2.714_4).abs() < 0.5, "{}", after_min("gels_earliest_at"));
    assert_eq!((&made["state"], &pot["state"]), (&json!("live"), &json!("gelled")));
    // Told 20 minutes before the quickest would gel, on the wall: 20 of them are worth 54 at 20 °C.
    let told = bench.alert("pot:gels").await;
    let told_min = (ms(told["due_at"].as_str().unwrap()) - stirred_ms) as f64 / 60_000.0;
    assert!((38.0..=42.0).contains(&told_min), "{told_min}: {told}");
    assert_eq!((&told["kind"], &told["late"]), (&json!("mix"), &json!(false)));
    let coat = coat("c-1", "top", "two-part-polyurethane", json!({"mix": "pot"}));
    assert!(finds(&bench.post("/api/v1/coats", coat).await.good(), "defect", "had gelled"));
    bench.stop().await;
}
