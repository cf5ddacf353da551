//! From "still soft" and "hard now" to a draft that is taken.

use bench::Bench;
use serde_json::{Value, json};

fn near(value: &Value, expected: f64, within: f64) {
    let found = value.as_f64().unwrap_or_else(|| panic!("no number: {value}"));
    assert!((found - expected).abs() <= within, "{found}, not {expected}");
}

async fn see(bench: &Bench, cure: &str, stage: &str, reached: bool, minutes_ago: i64) -> bench::Answer {
    let body = json!({"cure": cure, "stage": stage, "reached": reached, "by": "test_piece_broken",
                      "minutes_ago": minutes_ago});
    bench.post("/api/v1/observations", body).await
}

async fn glue(bench: &Bench, id: &str) {
    let body = json!({"id": id, "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
    bench.post("/api/v1/glue-ups", body).await.good();
}

#[tokio::test]
async fn an_observation_has_the_age_and_the_air_of_its_cure() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.read_air("bench", 20.0, 50.0).await;
    glue(&bench, "g-1").await;
    bench.live_minutes("bench", 60, 20.0, 50.0).await;
    let seen = see(&bench, "g-1", "clamp_off", false, 30).await.good();
    // Half an hour in the reference air is half a reference hour.
    near(&seen["age_h"], 0.5, 0.001);
    near(&seen["mean_temp_c"], 20.0, 0.001);
    assert_eq!(seen["climate"]["state"], "recorded");
    assert_eq!(seen["material"], "aliphatic-resin");
    assert_eq!(seen["by"], "test_piece_broken");
    let id = seen["id"].as_str().unwrap_or_default().to_string();
    see(&bench, "g-1", "clamp_off", true, 0).await.good();
    for (query, n) in
        [("", 2), ("?cure=g-1", 2), ("?cure=g-2", 0), ("?material=aliphatic-resin", 2), ("?material=shellac", 0)]
    {
        assert_eq!(bench.items(&format!("/api/v1/observations{query}")).await.len(), n, "{query}");
    }
    // It is a fact: it stays, and counts no more when it is withdrawn.
    let withdraw = format!("/api/v1/observations/{id}/withdraw");
    let gone = bench.post(&withdraw, json!({"reason": "the wrong offcut"})).await.good();
    assert_eq!(gone["withdrawn"], "the wrong offcut");
    bench.post(&withdraw, json!({"reason": "again"})).await.problem(409, "conflict");
    let bench = bench.restart(false).await;
    assert_eq!(bench.get(&format!("/api/v1/observations/{id}")).await.good(), gone);
    bench.stop().await;
}

#[tokio::test]
async fn what_cannot_have_been_seen_is_refused_with_the_stages_there_are() {
    let bench = Bench::small().await;
    bench.furnish().await;
    glue(&bench, "g-1").await;
    let answer = see(&bench, "g-1", "sandable", true, 0).await.problem(422, "invalid");
    assert!(answer["detail"].as_str().is_some_and(|text| text.contains("clamp_off")), "{answer}");
    see(&bench, "g-9", "clamp_off", true, 0).await.problem(422, "unknown-reference");
    see(&bench, "g-1", "clamp_off", true, 10).await.problem(422, "invalid");
    bench.post("/api/v1/glue-ups/g-1/withdraw", json!({"reason": "taken apart"})).await.good();
    see(&bench, "g-1", "clamp_off", true, 0).await.problem(409, "conflict");
    bench.get("/api/v1/observations/o-9").await.problem(404, "not-found");
    bench.post("/api/v1/rules/no-such-rule/fit", json!({})).await.problem(404, "not-found");
    bench.stop().await;
}

#[tokio::test]
async fn the_page_of_a_glue_up_takes_what_was_seen() {
    let bench = Bench::small().await;
    bench.furnish().await;
    glue(&bench, "g-1").await;
    bench.live_minutes("bench", 30, 20.0, 50.0).await;
    assert!(bench.get("/cures/g-1").await.text.contains("Not yet"));
    let press = async |fields: &'static str| {
        let request = bench.http().post(bench.url("/cures/g-1/observed")).body(fields);
        bench.send(request.header("content-type", "application/x-www-form-urlencoded")).await
    };
    let page = press("stage=clamp_off&by=squeeze_out&reached=false").await;
    assert!(page.status == 200 && page.text.contains("clamp off: not yet at 08:30"), "{}", page.text);
    press("stage=sandable&by=touch&reached=true").await.problem(422, "invalid");
    let seen = bench.items("/api/v1/observations?cure=g-1").await;
    // Written down later than it was seen.
    let page = press("stage=full_strength&by=squeeze_out&reached=false&clock=08%3A10").await;
    assert!(page.status == 200 && page.text.contains("full strength: not yet at 08:10"), "{}", page.text);
    assert_eq!((seen.len(), &seen[0]["by"], &seen[0]["reached"]), (1, &json!("squeeze_out"), &json!(false)));
    bench.stop().await;
}

/// Glue that takes half as long again as the sheet says, at two temperatures, looked at every quarter of an hour.
async fn slow_glue(bench: &Bench) {
    bench.furnish().await;
    bench.read_air("bench", 20.0, 50.0).await;
    for n in 0..12 {
        let id = format!("g-{n}");
        glue(bench, &id).await;
        // 0.75 h by the sheet; here it is there between 60 and 75 minutes, give or take the piece.
        let there = 60 + 15 * i64::from(n % 3 != 0);
        bench.live_minutes("bench", there - 15, 20.0, 50.0).await;
        see(bench, &id, "clamp_off", false, 0).await.good();
        bench.live_minutes("bench", 15, 20.0, 50.0).await;
        see(bench, &id, "clamp_off", true, 0).await.good();
    }
}

#[tokio::test]
async fn a_fit_is_a_draft_until_it_is_saved_and_then_begins_again_from_the_sheet() {
    let bench = Bench::small().await;
    slow_glue(&bench).await;
    // Two things that say nothing are left out by name.
    glue(&bench, "g-odd").await;
    bench.live_minutes("bench", 30, 20.0, 50.0).await;
    see(&bench, "g-odd", "clamp_off", true, 20).await.good();
    see(&bench, "g-odd", "clamp_off", false, 5).await.good();
    see(&bench, "g-odd", "full_strength", false, 0).await.good();

    let fit = bench.post("/api/v1/rules/aliphatic-resin/fit", json!({})).await.good();
    let stage = &fit["stages"][0];
    assert_eq!(
        (&stage["stage"], &stage["pieces"], &stage["observations"]),
        (&json!("clamp_off"), &json!(12), &json!(24))
    );
    assert_eq!(stage["told"], true);
    assert_eq!((&stage["sheet_h"], &stage["in_force_h"]), (&json!(0.75), &json!(0.75)));
    // The pieces came between 45 and 75 minutes, most of them between 60 and 75.
    let likely = stage["fitted_h"]["likely"].as_f64().expect("a fitted time");
    assert!((0.95..1.25).contains(&likely), "{stage}");
    assert!(stage["fitted_h"]["low"].as_f64() < Some(likely) && stage["fitted_h"]["high"].as_f64() > Some(likely));
    assert_eq!(fit["per_10_k"], Value::Null, "one temperature cannot tell");
    let untold = fit["cannot_tell"].as_array().expect("what it cannot tell");
    assert!(untold.iter().any(|line| line.as_str().is_some_and(|line| line.contains("warmth"))), "{untold:?}");
    let left_out: Vec<_> =
        fit["left_out"].as_array().expect("a list").iter().map(|out| (&out["cure"], &out["stage"])).collect();
    assert_eq!(left_out, [(&json!("g-odd"), &json!("clamp_off")), (&json!("g-odd"), &json!("full_strength"))]);
    assert!(fit["estimate"].as_str().is_some_and(|text| text.contains("not a guarantee")));

    // Nothing has changed by asking.
    let before = bench.get("/api/v1/materials/aliphatic-resin").await.good();
    assert_eq!(before["rule_version"], fit["rule_version"]);
    glue(&bench, "before").await;
    let likely_of = async |bench: &Bench, id: &str| {
        let cure = bench.get(&format!("/api/v1/glue-ups/{id}")).await.good();
        let of = cure["milestones"].as_array().expect("milestones").iter().find(|m| m["stage"] == "clamp_off").cloned();
        of.expect("a clamp time")["target_ages_h"][1].as_f64().expect("an age")
    };
    assert!((likely_of(&bench, "before").await - 0.75).abs() < 1e-9);

    // On its page the draft says which text it was made from.
    let made_from = format!("name=\"version\" value=\"{}\"", fit["rule_version"].as_str().expect("a version"));
    assert!(bench.get("/rules/aliphatic-resin/fit").await.text.contains(&made_from));
    // The user takes the draft by saving it as the rule.
    let draft = fit["draft"].as_str().expect("a draft").to_string();
    let script = before["script"].as_str().expect("the script");
    assert!(draft.starts_with(script.trim_end()), "the sheet's own text stays as it is");
    std::fs::write(bench.shop.folder().join("scripts/materials/aliphatic-resin.rhai"), &draft)
        .expect("the rule is saved");
    let bench = bench.restart(false).await;
    let after = bench.get("/api/v1/materials/aliphatic-resin").await.good();
    assert_ne!(
        after["rule_version"],
        fit["rule_version"],
        "{:?}",
        bench.get("/api/v1/materials").await.good()["faults"]
    );
    glue(&bench, "after").await;
    assert!((likely_of(&bench, "after").await - likely).abs() < 0.001);
    assert!((likely_of(&bench, "before").await - 0.75).abs() < 1e-9, "what cures keeps the rule it began with");

    // The same observations fitted again give the same times: the sheet is the beginning, not the last fit.
    let again = bench.post("/api/v1/rules/aliphatic-resin/fit", json!({})).await.good();
    near(&again["stages"][0]["fitted_h"]["likely"], likely, 1e-6);
    near(&again["stages"][0]["in_force_h"], likely, 0.001);
    assert_eq!(again["draft"].as_str().map(|text| text.matches("fn fitted()").count()), Some(1));
    bench.stop().await;
}

#[tokio::test]
async fn with_nothing_seen_there_is_no_draft() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let fit = bench.post("/api/v1/rules/shellac/fit", json!({})).await.good();
    assert_eq!((&fit["observations"], &fit["draft"]), (&json!(0), &Value::Null));
    assert!(fit["cannot_tell"][0].as_str().is_some_and(|text| text.starts_with("Nothing")), "{fit}");
    bench.stop().await;
}

/// 15 and 25 °C by turns, glue whose response to warmth is stronger than the sheet's.
#[tokio::test]
async fn two_temperatures_tell_the_response_to_warmth() {
    let bench = Bench::small().await;
    bench.furnish().await;
    for n in 0..24 {
        let temp_c = if n % 2 == 0 { 14.0 } else { 27.0 };
        bench.wait_minutes(180);
        bench.read_air("bench", temp_c, 50.0).await;
        let id = format!("g-{n}");
        glue(&bench, &id).await;
        // In the cold three hours, in the warm a quarter of one: far more than the sheet's factor.
        let (not_yet, there) = if n % 2 == 0 { (150, 30) } else { (15, 10) };
        bench.live_minutes("bench", not_yet, temp_c, 50.0).await;
        see(&bench, &id, "clamp_off", false, 0).await.good();
        bench.live_minutes("bench", there, temp_c, 50.0).await;
        see(&bench, &id, "clamp_off", true, 0).await.good();
    }
    let fit = bench.post("/api/v1/rules/aliphatic-resin/fit", json!({})).await.good();
    let per_10_k = fit["per_10_k"]["likely"].as_f64().unwrap_or_else(|| panic!("{fit}"));
    assert!((1.5..5.0).contains(&per_10_k), "{fit}");
    assert!(fit["draft"].as_str().is_some_and(|draft| draft.contains("per_10_k:")), "{fit}");
    // It comes in force, and the rate answers to it: at 10 K above the reference by that factor more.
    let draft = fit["draft"].as_str().unwrap_or_default();
    let sheet = std::fs::read_to_string(bench.shop.folder().join("scripts/materials/aliphatic-resin.rhai"));
    let host = std::sync::Arc::new(rules::Host::new());
    let of = |text: &str| rules::Rule::check(&host, "x", text).and_then(|rule| rule.law("")).expect("a law");
    let (old, new) = (of(&sheet.expect("the rule")), of(draft));
    let warm = clock::Air { temp_c: 30.0, rh_pct: 50.0 };
    assert!((new(warm) / old(warm) - per_10_k).abs() < 0.01, "{} {}", new(warm), old(warm));
    bench.stop().await;
}

#[tokio::test]
async fn what_nobody_can_know_is_left_out_and_said() {
    let bench = Bench::small().await;
    bench.furnish().await;
    // Glued two hours before anybody read the air.
    let body =
        json!({"id": "early", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "minutes_ago": 120});
    bench.post("/api/v1/glue-ups", body).await.good();
    // Nobody has read the air yet: the set-point is what the shop says its air is.
    see(&bench, "early", "clamp_off", true, 0).await.good();
    let fit = bench.post("/api/v1/rules/aliphatic-resin/fit", json!({})).await.good();
    assert_eq!((&fit["pieces"], &fit["air_assumed"], &fit["left_out"]), (&json!(1), &json!(1), &json!([])));
    bench.read_air("bench", 20.0, 50.0).await;
    let fit = bench.post("/api/v1/rules/aliphatic-resin/fit", json!({})).await.good();
    assert_eq!(fit["pieces"], 0);
    assert!(fit["left_out"][0]["why"].as_str().is_some_and(|why| why.contains("before the first reading")), "{fit}");

    // In air too cold for it nothing cures: "there" contradicts the rule, and "not yet" says nothing of its age. Full
    // strength before its least time on the wall says nothing either.
    bench.live_minutes("bench", 10, 6.0, 50.0).await;
    for id in ["cold-1", "cold-2"] {
        glue(&bench, id).await;
    }
    bench.live_minutes("bench", 60, 6.0, 50.0).await;
    see(&bench, "cold-1", "clamp_off", true, 0).await.good();
    see(&bench, "cold-2", "clamp_off", false, 0).await.good();
    bench.live_minutes("bench", 10, 20.0, 50.0).await;
    glue(&bench, "warm").await;
    bench.live_minutes("bench", 600, 20.0, 50.0).await;
    see(&bench, "warm", "full_strength", false, 0).await.good();
    let fit = bench.post("/api/v1/rules/aliphatic-resin/fit", json!({})).await.good();
    let why: Vec<&str> =
        fit["left_out"].as_array().into_iter().flatten().filter_map(|out| out["why"].as_str()).collect();
    assert_eq!((why.len(), &fit["pieces"], &fit["draft"]), (4, &json!(0), &Value::Null), "{fit}");
    assert!(why[0].contains("although, by the rule, nothing cures"), "{why:?}");
    assert!(why[1].contains("says nothing of its age") && why[3].contains("says nothing of its age"), "{why:?}");
    bench.stop().await;
}

/// What was only ever seen on one side is bounded on one side: the fit says which.
#[tokio::test]
async fn what_was_seen_on_one_side_alone_is_said() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.read_air("bench", 20.0, 50.0).await;
    let told = async |fit: Value| -> [bool; 2] {
        let lines: Vec<String> = serde_json::from_value(fit["cannot_tell"].clone()).unwrap();
        ["How early clamp off comes", "How late clamp off comes"].map(|says| lines.iter().any(|l| l.contains(says)))
    };
    let fit = async || bench.post("/api/v1/rules/aliphatic-resin/fit", json!({})).await.good();
    glue(&bench, "g-1").await;
    glue(&bench, "g-2").await;
    bench.live_minutes("bench", 50, 20.0, 50.0).await;
    see(&bench, "g-1", "clamp_off", true, 0).await.good();
    assert_eq!(told(fit().await).await, [true, false], "only ever there");
    see(&bench, "g-2", "clamp_off", false, 0).await.good();
    assert_eq!(told(fit().await).await, [false, false], "seen on both sides");
    let first = bench.items("/api/v1/observations?cure=g-1").await[0]["id"].as_str().unwrap().to_string();
    bench.post(&format!("/api/v1/observations/{first}/withdraw"), json!({"reason": "the wrong piece"})).await.good();
    assert_eq!(told(fit().await).await, [false, true], "only ever not yet");
    bench.stop().await;
}

/// A thinned coat is given more time than its film alone says. Seen exactly then, it says that the sheet is right.
#[tokio::test]
async fn a_thinned_coat_is_measured_by_the_time_it_was_given() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.read_air("bench", 20.0, 50.0).await;
    let mut given_h = Vec::new();
    for (n, thinner_parts) in [0.0, 5.0, 0.0, 5.0, 0.0, 5.0].into_iter().enumerate() {
        let id = format!("c-{n}");
        let body = json!({"id": id, "instrument": "guitar", "surface": format!("s-{n}"), "material": "shellac",
                          "zone": "bench", "thinner_parts": thinner_parts, "film_um": 60});
        let coat = bench.post("/api/v1/coats", body).await.good();
        let stage =
            coat["milestones"].as_array().expect("milestones").iter().find(|m| m["stage"] == "dry_to_touch").cloned();
        let stage = stage.expect("it dries");
        given_h.push(stage["target_ages_h"][1].as_f64().expect("an age"));
        let minutes = (bench::ms(stage["likely_at"].as_str().expect("a time")) - bench.now.ms()) / 60_000;
        bench.wait_minutes(minutes - 1);
        see(&bench, &id, "dry_to_touch", false, 0).await.good();
        bench.wait_minutes(3);
        bench.read_air("bench", 20.0, 50.0).await;
        see(&bench, &id, "dry_to_touch", true, 0).await.good();
    }
    assert!(given_h[1] > 1.1 * given_h[0], "thinner makes it later: {given_h:?}");
    let fit = bench.post("/api/v1/rules/shellac/fit", json!({})).await.good();
    assert_eq!(fit["pieces"], 6, "{fit}");
    near(&fit["stages"][0]["times"]["likely"], 1.0, 0.07);
    bench.stop().await;
}
