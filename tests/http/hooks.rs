//! The shop's own scripts: what they add to an alert, and that nothing they do keeps an alert from being told.

use bench::{BEGIN, Bench, Shop, ms};
use benchclock::{Now, Webhook};
use serde_json::{Value, json};

use super::each;

/// A shop with these scripts (name, text) and two receivers that nobody listens at.
fn shop(scripts: &[(&str, &str)]) -> Shop {
    let mut shop = Shop::small();
    for name in ["phone", "wall"] {
        let hook =
            Webhook { name: name.into(), url: "http://127.0.0.1:9/".into(), secret: "s".into(), ..Webhook::default() };
        shop.settings.webhooks.push(hook);
    }
    std::fs::create_dir_all(shop.settings.scripts.folder.join("shop")).unwrap();
    scripts.iter().for_each(|(name, text)| save(&shop, name, text));
    shop
}

fn save(shop: &Shop, name: &str, text: &str) {
    std::fs::write(shop.settings.scripts.folder.join("shop").join(name), text).unwrap();
}

async fn open(scripts: &[(&str, &str)]) -> Bench {
    let bench = Bench::open(shop(scripts), Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    bench
}

/// The alert that the squeeze-out can be scraped, the first of every glue-up.
async fn scrape_alert(bench: &Bench, id: &str) -> Value {
    bench.glue_up(id).await;
    bench.live_minutes("bench", 40, 20.0, 50.0).await;
    bench.alert(&format!("{id}:scrape_flush")).await
}

fn receivers(alert: &Value) -> Vec<String> {
    let mut names = each(alert["deliveries"].as_array().unwrap(), "channel");
    names.sort();
    names.into_iter().map(str::to_string).collect()
}

async fn hook(bench: &Bench, name: &str) -> Value {
    let hooks = bench.items("/api/v1/hooks").await;
    hooks.into_iter().find(|hook| hook["hook"] == name).unwrap_or_else(|| panic!("no hook {name}"))
}

const USUAL: &str = "Ready, scrape flush: bridge of the guitar";
const NOT_A_GUARANTEE: &str = "not a guarantee";

#[tokio::test]
async fn a_shop_words_its_alerts_and_the_cautions_stay() {
    let words = r#"fn word_alert(alert) { #{ title: `${alert.place}: ${alert.stage} (${alert.hour} h, ${alert.weekday})`, body: "Go on." } }"#;
    let more = r#"fn word_alert(alert) { #{ title: "Bench! " + alert.title } }"#;
    let bench = open(&[("a.rhai", words), ("b.rhai", more)]).await;
    let alert = scrape_alert(&bench, "g-1").await;
    assert_eq!(alert["title"], "Bench! bridge of the guitar: scrape_flush (8 h, mon)");
    let body = alert["body"].as_str().unwrap();
    assert!(body.starts_with("Go on. ") && body.contains(NOT_A_GUARANTEE), "{body}");
    assert_eq!(receivers(&alert), ["phone", "wall"]);
    let tally = hook(&bench, "word_alert").await;
    assert_eq!((&tally["calls"], &tally["failures"], &tally["set_aside"]), (&json!(1), &json!(0), &json!(false)));
    assert!(tally["longest_ms"].as_f64() > Some(0.0) && tally["total_ms"].as_f64() >= tally["longest_ms"].as_f64());
    bench.stop().await;
}

#[tokio::test]
async fn an_alert_of_stringing_up_names_its_instrument() {
    let words = r#"fn word_alert(alert) { #{ title: `${alert.instrument} (${alert.place}): ${alert.stage}` } }"#;
    let bench = open(&[("a.rhai", words)]).await;
    bench.post("/api/v1/instruments/guitar/strings", json!({"family": "steel_string_guitar"})).await.good();
    bench.recurring("string-up").await;
    let alerts = bench.items("/api/v1/alerts").await;
    let told = alerts.iter().find(|alert| alert["kind"] == "string_up").expect("nothing holds it back");
    assert_eq!(told["title"], "guitar (the guitar): full_pitch");
    bench.stop().await;
}

#[tokio::test]
async fn the_cautions_of_stringing_up_stand_behind_a_shops_own_words() {
    let bench = open(&[("a.rhai", r#"fn word_alert(alert) { #{ body: "Up it goes." } }"#)]).await;
    bench.post("/api/v1/instruments/guitar/strings", json!({"family": "steel_string_guitar"})).await.good();
    bench.recurring("string-up").await;
    let alerts = bench.items("/api/v1/alerts").await;
    let told = alerts.iter().find(|alert| alert["kind"] == "string_up").expect("nothing holds it back");
    let body = told["body"].as_str().unwrap();
    assert!(body.starts_with("Up it goes. Wear eye protection") && body.contains(NOT_A_GUARANTEE), "{told}");
    bench.stop().await;
}

#[tokio::test]
async fn a_shop_chooses_who_is_told_and_an_unknown_name_tells_everybody() {
    let choose = r#"
        fn tell(alert) {
            if alert.cure == "g-1" { ["phone"] } else if alert.cure == "g-2" { [] } else if alert.cure == "g-3" { ["horn"] }
        }"#;
    let bench = open(&[("who.rhai", choose)]).await;
    for (cure, expected) in [("g-1", vec!["phone"]), ("g-2", vec![]), ("g-3", vec!["phone", "wall"])] {
        let body = json!({"id": cure, "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
        bench.post("/api/v1/glue-ups", body).await.good();
        bench.live_minutes("bench", 40, 20.0, 50.0).await;
        let alert = bench.alert(&format!("{cure}:scrape_flush")).await;
        assert_eq!(receivers(&alert), expected, "{cure}");
        assert_eq!(alert["title"], USUAL);
    }
    let tally = hook(&bench, "tell").await;
    assert!(
        tally["last_fault"]["what"].as_str().unwrap().contains("no receiver \"horn\"; there are: phone, wall"),
        "{tally}"
    );
    bench.stop().await;
}

#[tokio::test]
async fn a_step_a_shop_always_does_is_added_to_the_job_behind_its_own() {
    let add = r#"fn next_step(alert) { if alert.stage == "clamp_off" { #{ title: "Look into the box with the mirror.", kind: "check" } } }"#;
    let bench = open(&[("add.rhai", add)]).await;
    let steps = json!([{"id": "glue", "kind": "glue_up", "title": "glue the bridge", "joint": "bridge",
                        "material": "aliphatic-resin"}]);
    let job = json!({"id": "job", "title": "bridge", "instrument": "guitar", "steps": steps});
    bench.post("/api/v1/jobs", job).await.good();
    let body = json!({"id": "g-1", "job": "job", "step": "glue", "zone": "bench"});
    bench.post("/api/v1/glue-ups", body).await.good();
    bench.live_minutes("bench", 75, 20.0, 50.0).await;
    let body = bench.alert("g-1:clamp_off").await["body"].clone();
    assert!(body.as_str().unwrap().contains("Next, as this shop does: Look into the box with the mirror."), "{body}");
    let steps = bench.get("/api/v1/jobs/job").await.good()["steps"].clone();
    assert_eq!(each(steps.as_array().unwrap(), "title"), ["glue the bridge", "Look into the box with the mirror."]);
    assert_eq!((&steps[1]["kind"], &steps[1]["follows"]), (&json!("check"), &json!(["glue"])));
    // It is a fact, and done like any other step.
    let bench = bench.restart(false).await;
    assert_eq!(bench.get("/api/v1/jobs/job").await.good()["steps"], steps);
    let done = format!("/api/v1/jobs/job/steps/{}/done", steps[1]["id"].as_str().unwrap());
    bench.post(&done, json!({})).await.good();
    bench.stop().await;
}

#[tokio::test]
async fn a_hook_that_fails_three_times_in_a_row_is_set_aside_and_says_so_and_alerts_go_on() {
    // Four ways to fail: no end, an error, another shape, words without end.
    let ways = ["loop {}", "1 / 0", "42", r#"let s = "x"; s.pad(3000, "x"); #{ title: s }"#];
    for (n, way) in ways.iter().enumerate() {
        let text = format!("fn word_alert(alert) {{ {way} }}");
        let bench = open(&[("words.rhai", &text)]).await;
        for cure in ["g-1", "g-2", "g-3", "g-4"] {
            let body = json!({"id": cure, "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
            bench.post("/api/v1/glue-ups", body).await.good();
        }
        bench.live_minutes("bench", 40, 20.0, 50.0).await;
        for cure in ["g-1", "g-2", "g-3", "g-4"] {
            let alert = bench.alert(&format!("{cure}:scrape_flush")).await;
            assert_eq!(alert["title"], USUAL, "{way}");
            assert!(alert["body"].as_str().unwrap().contains(NOT_A_GUARANTEE), "{way}");
        }
        let tally = hook(&bench, "word_alert").await;
        let counts = (&tally["calls"], &tally["failures"], &tally["failures_in_a_row"], &tally["set_aside"]);
        assert_eq!(counts, (&json!(3), &json!(3), &json!(3), &json!(true)), "{way}: {tally}");
        let alerts = bench.items("/api/v1/alerts").await;
        let said: Vec<&Value> = alerts.iter().filter(|alert| alert["kind"] == "hook_set_aside").collect();
        assert_eq!(said.len(), 1, "{way}");
        assert_eq!(said[0]["title"], "Shop script set aside: word_alert of shop/words.rhai");
        let page = bench.get("/hooks").await;
        assert!(
            page.status == 200 && page.text.contains("Set aside") && page.text.contains("shop/words.rhai"),
            "{way}"
        );
        if n > 0 {
            bench.stop().await;
            continue;
        }
        // Mended, it is asked again.
        save(&bench.shop, "words.rhai", r#"fn word_alert(alert) { #{ title: "mended" } }"#);
        let bench = bench.restart(false).await;
        assert_eq!(scrape_alert(&bench, "g-5").await["title"], "mended");
        assert_eq!(hook(&bench, "word_alert").await["set_aside"], false);
        bench.stop().await;
    }
}

#[tokio::test]
async fn a_saved_shop_script_is_asked_at_once_and_a_broken_one_leaves_the_last_good_one() {
    let mut shop = shop(&[("words.rhai", r#"fn word_alert(alert) { #{ title: "one" } }"#)]);
    shop.settings.scripts.watch = true;
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), true).await;
    bench.furnish().await;
    let version = hook(&bench, "word_alert").await["version"].clone();
    let two = r#"fn word_alert(alert) { #{ title: "two" } }"#;
    bench::until("the new text is asked", async || {
        save(&bench.shop, "words.rhai", two);
        tokio::time::sleep(std::time::Duration::from_millis(400)).await;
        (hook(&bench, "word_alert").await["version"] != version).then_some(())
    })
    .await;
    let version = hook(&bench, "word_alert").await["version"].clone();
    let fault = bench::until("the fault is reported", async || {
        save(&bench.shop, "words.rhai", "fn word_alert(alert) {\n  #{ title: }\n}");
        tokio::time::sleep(std::time::Duration::from_millis(400)).await;
        let faults = bench.get("/api/v1/materials").await.good()["faults"].clone();
        faults.as_array().unwrap().iter().find(|fault| fault["file"] == "shop/words.rhai").cloned()
    })
    .await;
    assert_eq!(fault["line"], 2, "{fault}");
    assert_eq!(hook(&bench, "word_alert").await["version"], version);
    assert!(bench.get("/hooks").await.text.contains("Not read"));
    bench.stop().await;
}

#[tokio::test]
async fn a_file_without_a_hook_and_one_with_a_wrong_one_are_faults() {
    let scripts = [("none.rhai", "fn words(alert) {}"), ("two.rhai", "fn tell(alert, who) {}"), ("Big.rhai", "1")];
    let bench = open(&scripts).await;
    let faults = bench.get("/api/v1/materials").await.good()["faults"].clone();
    assert_eq!(each(faults.as_array().unwrap(), "file"), ["shop/Big.rhai", "shop/none.rhai", "shop/two.rhai"]);
    assert!(bench.items("/api/v1/hooks").await.is_empty());
    bench.stop().await;
}

async fn held_back(bench: &Bench) -> Vec<String> {
    let answer = bench.get("/api/v1/instruments/guitar/held-back").await.good();
    answer["reasons"].as_array().unwrap().iter().map(|reason| reason.as_str().unwrap().to_string()).collect()
}

#[tokio::test]
async fn the_shipped_script_holds_a_string_up_back_in_air_that_is_too_dry() {
    let shipped = std::fs::read_to_string(bench::root().join("scripts/shop/string-up.rhai")).unwrap();
    let bench = open(&[("string-up.rhai", &shipped)]).await;
    assert!(held_back(&bench).await[0].starts_with("Nobody has said where it is"));
    bench.post("/api/v1/instruments/guitar/move", json!({"zone": "bench"})).await.good();
    for (temp_c, rh_pct, word) in
        [(20.0, 50.0, ""), (20.0, 34.0, "too dry (34 % RH)"), (20.0, 71.0, "too damp"), (12.0, 50.0, "cold")]
    {
        // Twice: the first reading after a jump is held until another says the same.
        bench.live_minutes("bench", 10, temp_c, rh_pct).await;
        let reasons = held_back(&bench).await;
        assert_eq!(reasons.len(), usize::from(!word.is_empty()), "{reasons:?}");
        assert!(
            reasons.iter().all(|reason| reason.contains(word) && reason.ends_with("(shop/string-up.rhai)")),
            "{reasons:?}"
        );
    }
    bench.get("/api/v1/instruments/none/held-back").await.problem(404, "not-found");
    bench.stop().await;
}

#[tokio::test]
async fn a_hold_that_fails_holds_back_also_when_it_is_set_aside() {
    let text = r#"
        fn hold_string_up(instrument) {
            if instrument.curing.len() == 0 { return; }
            if instrument.curing[0].kind != "glue_up" || instrument.curing[0].hours < 0.0 { return "never"; }
            throw "no idea";
        }"#;
    let bench = open(&[("hold.rhai", text)]).await;
    assert!(held_back(&bench).await.is_empty());
    bench.glue_up("g-1").await;
    for _ in 0..5 {
        assert_eq!(held_back(&bench).await, ["shop/hold.rhai failed and cannot say; look for yourself, and mend it"]);
    }
    assert_eq!(hook(&bench, "hold_string_up").await["calls"], 4);
    assert_eq!(bench.alarms().await, 0);
    let alerts = bench.items("/api/v1/alerts").await;
    assert!(alerts.iter().any(|alert| alert["kind"] == "hook_set_aside"), "{alerts:?}");
    bench.stop().await;
}

/// With the constants it has, the evening script changes nothing; with others it does all three.
#[tokio::test]
async fn the_shipped_evening_script_works_once_its_constants_are_filled_in() {
    let shipped = std::fs::read_to_string(bench::root().join("scripts/shop/evening.rhai.example")).unwrap();
    let bench = open(&[("evening.rhai", &shipped)]).await;
    let alert = scrape_alert(&bench, "g-1").await;
    assert_eq!((alert["title"].as_str(), receivers(&alert).len()), (Some(USUAL), 2));
    assert!(bench.items("/api/v1/hooks").await.iter().all(|hook| hook["calls"] == 1 && hook["failures"] == 0));
    let filled = shipped
        .replace("QUIET_FROM = 21", "QUIET_FROM = 6")
        .replace("AT_NIGHT = []", "AT_NIGHT = [\"phone\"]")
        .replace("AFTER = #{}", "AFTER = #{ scrape_flush: \"Wipe the chisel\" }");
    save(&bench.shop, "evening.rhai", &filled);
    let bench = bench.restart(false).await;
    let alert = {
        let body = json!({"id": "g-2", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
        bench.post("/api/v1/glue-ups", body).await.good();
        bench.live_minutes("bench", 40, 20.0, 50.0).await;
        bench.alert("g-2:scrape_flush").await
    };
    assert_eq!(receivers(&alert), ["phone"], "{}", hook(&bench, "tell").await);
    assert!(alert["body"].as_str().unwrap().contains("Wipe the chisel"), "{alert}");
    bench.stop().await;
}
