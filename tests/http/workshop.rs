//! The rule workshop over HTTP: written from a sheet, tried, saved, looked back at, and an open glue-up moved to it.

use std::path::PathBuf;

use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::{Value, json};

use super::{at_ms, each};

/// A rule that cures at the same rate in any air, with its clamp time.
fn text(clamp_h: f64) -> String {
    format!(
        r#"const CLAMP_H = {clamp_h:?};
fn material() {{ #{{ name: "test glue", kind: "adhesive", reference: #{{ temp_c: 20, rh_pct: 50 }}, cautions: [], sources: [] }} }}
fn rate(air) {{ q10(air.temp_c, 20, 2) }}
fn milestones(joint) {{ [#{{ stage: "clamp_off", hours: CLAMP_H }}] }}
fn strength(age_h, joint) {{ table([[0, 0.0], [10, 1.0]], age_h) }}
fn expected() {{ [#{{ temp_c: 30, rh_pct: 40, stage: "clamp_off", hours: 0.5, within: 0.001, source: "by hand" }}] }}
"#
    )
}

/// The same with a table that fits it.
fn good(clamp_h: f64) -> String {
    text(clamp_h).replace("hours: 0.5, within", &format!("hours: {:?}, within", clamp_h / 2.0))
}

fn file(bench: &Bench) -> PathBuf {
    bench.shop.settings.scripts.folder.join("materials/test-glue.rhai")
}

const RULE: &str = "/api/v1/rules/test-glue";

async fn save(bench: &Bench, replaces: Option<&str>, body: Value) -> bench::Answer {
    let request = bench.http().put(bench.url(RULE)).json(&body);
    let request = match replaces {
        Some(version) => request.header("if-match", format!("\"{version}\"")),
        None => request,
    };
    bench.send(request).await
}

async fn shop() -> Bench {
    let bench = Bench::small().await;
    bench.furnish().await;
    save(&bench, None, json!({"text": good(1.0), "by": "ada"})).await.good();
    bench
}

async fn glue(bench: &Bench, id: &str) -> Value {
    let body = json!({"id": id, "joint": "bridge", "material": "test-glue", "zone": "bench"});
    bench.post("/api/v1/glue-ups", body).await.good()
}

#[tokio::test]
async fn a_saved_rule_is_the_file_and_is_in_force_once() {
    let bench = shop().await;
    assert_eq!(std::fs::read_to_string(file(&bench)).unwrap(), good(1.0));
    let first = bench.get(RULE).await.good();
    assert_eq!((&first["text"], &first["version"]), (&json!(good(1.0)), &first["in_force"]));
    // What does not say what it replaces, or says another, changes nothing.
    save(&bench, None, json!({"text": good(2.0)})).await.problem(428, "unseen");
    save(&bench, Some("0123456789abcdef"), json!({"text": good(2.0)})).await.problem(412, "changed");
    save(&bench, Some("no version!"), json!({"text": good(2.0)})).await.problem(400, "malformed");
    let broken = good(2.0).replace("q10(air", "q10(aire");
    let said = save(&bench, first["version"].as_str(), json!({"text": broken})).await.problem(422, "rule-fault");
    assert!(said["detail"].as_str().unwrap().contains("materials/test-glue.rhai:3:"), "{said}");
    assert_eq!(bench.get(RULE).await.good(), first);
    let second = save(&bench, first["version"].as_str(), json!({"text": good(2.0)})).await.good();
    assert_eq!(second["in_force"], second["version"]);
    // The same once more is no second version, also when the folder is read again.
    save(&bench, first["version"].as_str(), json!({"text": good(2.0)})).await.good();
    let bench = bench.restart(false).await;
    let versions = bench.items(&format!("{RULE}/versions")).await;
    assert_eq!(each(&versions, "version"), [second["version"].as_str().unwrap(), first["version"].as_str().unwrap()]);
    assert_eq!(each(&versions, "by"), ["bench", "ada"]);
    assert_eq!((&versions[0]["until"], &versions[1]["until"]), (&Value::Null, &versions[0]["from"]));
    let old = bench.get(&format!("{RULE}/versions/{}", first["version"].as_str().unwrap())).await.good();
    assert_eq!(old["text"], json!(good(1.0)));
    // As `diff -u` writes it.
    let diff = bench.get(&format!("{RULE}/diff")).await.good();
    let unified = diff["unified"].as_str().unwrap();
    for line in
        ["\n-const CLAMP_H = 1.0;\n", "\n+const CLAMP_H = 2.0;\n", "\n fn rate(air) { q10(air.temp_c, 20, 2) }\n"]
    {
        assert!(unified.contains(line), "{unified}");
    }
    bench.get(&format!("{RULE}/versions/0123456789abcdef")).await.problem(404, "not-found");
    bench.stop().await;
}

#[tokio::test]
async fn a_watched_folder_does_not_put_a_saved_rule_in_force_twice() {
    let mut of_shop = Shop::small();
    of_shop.settings.scripts.watch = true;
    let bench = Bench::open(of_shop, Now::standing_at(bench::ms(bench::BEGIN)), true).await;
    let mut version: Option<String> = None;
    for n in 1..6 {
        let saved = save(&bench, version.as_deref(), json!({"text": good(f64::from(n))})).await.good();
        version = saved["version"].as_str().map(str::to_string);
        // Longer than the watch waits for an editor to have done.
        tokio::time::sleep(std::time::Duration::from_millis(250)).await;
    }
    assert_eq!(bench.items(&format!("{RULE}/versions")).await.len(), 5);
    bench.stop().await;
}

#[tokio::test]
async fn a_failing_table_blocks_a_rule_unless_a_reason_is_kept() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let said = save(&bench, None, json!({"text": text(2.0)})).await.problem(422, "rule-fault");
    assert!(said["detail"].as_str().unwrap().contains("expected row 1 (clamp_off at 30 °C, 40 % RH)"), "{said}");
    assert!(!file(&bench).exists());
    save(&bench, None, json!({"text": text(2.0), "override_reason": " "})).await.problem(422, "invalid");
    let reason = "the sheet changed; the table is being redone";
    save(&bench, None, json!({"text": text(2.0), "override_reason": reason})).await.good();
    let bench = bench.restart(false).await;
    assert_eq!(bench.get("/api/v1/materials/test-glue").await.good()["override_reason"], reason);
    assert_eq!(bench.items(&format!("{RULE}/versions")).await[0]["override_reason"], reason);
    assert_eq!(bench.get(RULE).await.good()["override_reason"], reason);
    assert!(bench.get("/rules").await.text.contains(reason));
    // Nothing needs excusing where the table holds: then no reason is kept.
    let other = bench.http().put(bench.url("/api/v1/rules/other-glue"));
    let saved =
        bench.send(other.json(&json!({"text": good(1.0), "override_reason": reason, "by": " ada "}))).await.good();
    assert_eq!(saved["override_reason"], Value::Null);
    assert_eq!(bench.items("/api/v1/rules/other-glue/versions").await[0]["by"], "ada");
    let long = "a".repeat(101);
    for by in ["", "  ", "a\nb", long.as_str()] {
        let nobody = bench.http().put(bench.url("/api/v1/rules/nobody")).json(&json!({"text": good(1.0), "by": by}));
        assert_eq!(bench.send(nobody).await.problem(422, "invalid")["field"], "by");
    }
    // A reason does not excuse a fault.
    let broken = json!({"text": text(2.0).replace("q10", "q11"), "override_reason": reason});
    let version = bench.get(RULE).await.good()["version"].clone();
    save(&bench, version.as_str(), broken).await.problem(422, "rule-fault");
    bench.stop().await;
}

#[tokio::test]
async fn trying_a_draft_gives_its_course_beside_the_one_in_force_and_changes_nothing() {
    let bench = shop().await;
    let board = bench.board().await;
    let body = json!({"material": "test-glue", "text": good(3.0), "air": {"temp_c": 30, "rh_pct": 50}, "hours": 10, "points": 11});
    let tried = bench.post("/api/v1/rules/try", body).await.good();
    // At 30 °C a q10 of 2 is a rate of 2: three reference hours take an hour and a half.
    assert_eq!(tried["draft"]["milestones"][0]["likely_h"], 1.5);
    assert_eq!(tried["in_force"]["milestones"][0]["likely_h"], 0.5);
    let point = &tried["draft"]["curve"][4];
    assert_eq!(
        (&point["hours"], &point["rate"], &point["age_h"], &point["strength"]),
        (&json!(4.0), &json!(2.0), &json!(8.0), &json!(0.8))
    );
    // Six hours of record: three at 20 °C, three at 30 °C; straight between two readings, so that the change takes five minutes.
    bench.live_minutes("bench", 180, 20.0, 50.0).await;
    bench.live_minutes("bench", 180, 30.0, 50.0).await;
    let air = json!({"zone": "bench", "from": "2026-03-02T08:05:00Z", "until": "2026-03-02T14:00:00Z"});
    let tried = bench.post("/api/v1/rules/try", json!({"text": good(4.0), "air": air})).await.good();
    let likely_h = tried["draft"]["milestones"][0]["likely_h"].as_f64().unwrap();
    // 2 h 55 min at rate 1, then 1 h 5 min of age at rate 2, less what the five minutes of change lost.
    assert!((likely_h - (2.0 + 55.0 / 60.0 + 65.0 / 120.0)).abs() < 0.05, "{likely_h}");
    let ends = tried["draft"]["curve"].as_array().unwrap();
    assert_eq!((ends[0]["temp_c"].as_f64(), ends[96]["temp_c"].as_f64()), (Some(20.0), Some(30.0)));
    // What does not come within the stretch has no time, and what nobody recorded cannot be tried.
    let far = bench.post("/api/v1/rules/try", json!({"text": good(400.0), "air": {"zone": "bench"}})).await.good();
    assert_eq!(far["draft"]["milestones"][0]["likely_h"], Value::Null);
    let gone = json!({"text": good(1.0), "air": {"zone": "bench", "from": "2025-01-01T00:00:00Z"}});
    bench.post("/api/v1/rules/try", gone).await.problem(422, "invalid");
    bench.post("/api/v1/rules/try", json!({"air": {"temp_c": 20, "rh_pct": 50}})).await.problem(422, "invalid");
    bench
        .post("/api/v1/rules/try", json!({"text": "fn", "air": {"temp_c": 20, "rh_pct": 50}}))
        .await
        .problem(422, "rule-fault");
    let after = bench.board().await;
    assert_eq!((&after["cures"], &after["clamps"]), (&board["cures"], &board["clamps"]));
    assert_eq!(bench.items(&format!("{RULE}/versions")).await.len(), 1);
    bench.stop().await;
}

#[tokio::test]
async fn an_open_glue_up_keeps_its_version_until_it_is_moved_and_the_move_says_what_changes() {
    let bench = shop().await;
    let old = glue(&bench, "g-1").await;
    // Two materials may have the same text; what is open is of one of them.
    let other = bench.http().put(bench.url("/api/v1/rules/other-glue")).json(&json!({"text": good(1.0)}));
    bench.send(other).await.good();
    for (rule, open) in [(RULE, 1), ("/api/v1/rules/other-glue", 0)] {
        assert_eq!(bench.items(&format!("{rule}/versions")).await[0]["open_cures"], open, "{rule}");
    }
    bench.live_minutes("bench", 30, 20.0, 50.0).await;
    let draft = json!({"text": good(2.0)});
    let would = bench.post(&format!("{RULE}/what-would-change"), draft.clone()).await.good();
    assert_eq!((&would["looked_at"], &would["items"][0]["cure"]), (&json!(1), &json!("g-1")));
    // An hour by the middle of the forecast; it is told by the slow edge of what half an hour of readings foresees.
    let by_min = would["items"][0]["stages"][0]["by_min"].as_f64().unwrap();
    assert!((60.0..70.0).contains(&by_min), "{by_min}");
    let version = bench.get(RULE).await.good()["version"].clone();
    let saved = save(&bench, version.as_str(), draft).await.good();
    let kept = bench.get("/api/v1/glue-ups/g-1").await.good();
    assert_eq!(kept["rule_version"], old["rule_version"]);

    let dry = bench.post("/api/v1/glue-ups/g-1/rule", json!({"dry_run": true})).await.good();
    assert_eq!((&dry["moved"], &dry["rule_version"]), (&would["items"][0]["stages"], &old["rule_version"]));
    let moved = bench.post_once("move", "/api/v1/glue-ups/g-1/rule", json!({})).await.good();
    assert_eq!((&moved["moved"], &moved["rule_version"]), (&dry["moved"], &saved["version"]));
    // Its age is summed over the air it had from its start: half an hour at rate 1.
    assert_eq!(moved["age_h"], 0.5);
    let begun = at_ms(&old["started_at"]);
    assert_eq!(at_ms(&moved["milestones"][0]["likely_at"]) - begun, 2 * 3_600_000);
    // The same request again says how it stands, and a second move to where it is says so.
    let again = bench.post_once("move", "/api/v1/glue-ups/g-1/rule", json!({})).await.good();
    assert_eq!(again["rule_version"], saved["version"]);
    bench.post("/api/v1/glue-ups/g-1/rule", json!({})).await.problem(409, "conflict");
    bench
        .post("/api/v1/glue-ups/g-1/rule", json!({"version": "0123456789abcdef"}))
        .await
        .problem(422, "unknown-reference");
    // It is told by the new version, and not by the old.
    assert_eq!(bench.live_minutes("bench", 60, 20.0, 50.0).await, 0);
    assert_eq!(bench.live_minutes("bench", 35, 20.0, 50.0).await, 1);
    let bench = bench.restart(false).await;
    assert_eq!(bench.get("/api/v1/glue-ups/g-1").await.good()["rule_version"], saved["version"]);
    bench.stop().await;
}

#[tokio::test]
async fn a_told_milestone_that_a_new_version_puts_off_is_taken_back_and_told_again() {
    let bench = shop().await;
    glue(&bench, "g-1").await;
    let keep = json!({"id": "g-2", "joint": "bridge", "material": "test-glue", "zone": "bench", "clamps": ["cam-1"]});
    bench.post("/api/v1/glue-ups", keep).await.good();
    assert_eq!(bench.live_minutes("bench", 65, 20.0, 50.0).await, 2);
    let version = bench.get(RULE).await.good()["version"].clone();
    save(&bench, version.as_str(), json!({"text": good(3.0)})).await.good();
    // One whose clamps are off and whose times are all told is closed, and stays as it was.
    bench.post("/api/v1/glue-ups/g-1/rule", json!({})).await.problem(409, "conflict");
    let moved = bench.post("/api/v1/glue-ups/g-2/rule", json!({})).await.good();
    assert_eq!(moved["moved"][0]["told"], true);
    bench.alarms().await;
    assert_eq!(bench.alert("g-2:clamp_off").await["state"], "retracted");
    bench.live_minutes("bench", 120, 20.0, 50.0).await;
    assert_eq!(bench.alert("g-2:clamp_off:2").await["state"], "open");
    bench.stop().await;
}

#[tokio::test]
async fn a_sheet_becomes_a_rule_over_http_and_by_the_form() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let sheet = json!({"material": "test-glue", "class": "two_part_epoxy", "clamp_off_h": 6, "min_temp_c": 10});
    let written = bench.post("/api/v1/rules/from-sheet", sheet).await.good();
    assert!(written["expected"].as_array().unwrap().iter().all(|row| row["met"] == true), "{written}");
    save(&bench, None, json!({"text": written["text"]})).await.good();
    assert_eq!(glue(&bench, "g-1").await["milestones"][0]["target_ages_h"][1], 6.0);
    let wrong = json!({"material": "test-glue", "class": "two_part_epoxy", "clamp_off_h": 6, "sandable_h": 1});
    bench.post("/api/v1/rules/from-sheet", wrong).await.problem(422, "invalid");

    let fields = |more: &[(&str, &str)]| {
        let mut fields = vec![("material", "other-glue"), ("class", "cyanoacrylate"), ("temp", "21,5")];
        fields.extend(more);
        let of = |(name, value): (&str, &str)| format!("{name}={}", value.replace(',', "%2C"));
        fields.into_iter().map(of).collect::<Vec<_>>().join("&")
    };
    let form = async |body: String| {
        let request = bench.http().post(bench.url("/rules/new")).body(body);
        bench.send(request.header("content-type", "application/x-www-form-urlencoded")).await
    };
    let page = form(fields(&[("clamp_off_h", "0.02")])).await;
    assert!(page.status == 200 && page.text.contains("const CLAMP_OFF_H = 0.02;"), "{}", page.text);
    assert!(page.text.contains("not saved yet") && page.text.contains("action=\"/rules/other-glue\""), "{}", page.text);
    let page = form(fields(&[])).await;
    assert!(page.status == 422 && page.text.contains("clamp_off_h is missing"), "{}", page.text);
    bench.stop().await;
}

#[tokio::test]
async fn a_draft_is_checked_with_line_and_column_and_its_words() {
    let bench = Bench::small().await;
    let check = async |text: &str| bench.post("/api/v1/rules/check", json!({"text": text})).await.good();
    let fine = check(&good(1.0)).await;
    assert_eq!((&fine["good"], &fine["faults"], &fine["expected"][0]["met"]), (&json!(true), &json!([]), &json!(true)));
    assert_eq!(fine["words"][0], json!({"from": 0, "to": 5, "word": "keyword"}));
    let slip = check(&good(1.0).replace("q10(air.temp_c, 20, 2)", "q10(air.temp_c, 20, 2) +")).await;
    assert_eq!((&slip["good"], &slip["faults"][0]["line"]), (&json!(false), &json!(3)), "{slip}");
    let unmet = check(&text(2.0)).await;
    assert_eq!((&unmet["good"], &unmet["expected"][0]["gives_h"]), (&json!(false), &json!(1.0)));
    // The page without a script: the text stands in it, and what is saved by it is the file.
    let page = bench.get("/rules/shellac").await;
    assert!(page.text.contains("fn rate(air)") && page.text.contains("q10(temp_c, ref_temp_c, q10)"), "{}", page.text);
    let functions = bench.items("/api/v1/rules/functions").await;
    assert!(
        functions
            .iter()
            .all(|f| ["name", "arguments", "says"].iter().all(|part| f[part].as_str().is_some_and(|s| !s.is_empty())))
    );
    bench.stop().await;
}
