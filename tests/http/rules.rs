//! Rules while the service runs: a saved text comes in force, a broken one does not, and a cure keeps the text it began
//! with.

use std::path::Path;

use bench::{BEGIN, Bench, Shop, ms, until};
use benchclock::Now;
use serde_json::{Value, json};

/// A rule that cures at the same rate in any air, with its clamp time; `more` is added to it.
fn text(clamp_h: f64, more: &str) -> String {
    format!(
        r#"const CLAMP_H = {clamp_h:?};
fn material() {{ #{{ name: "test glue", kind: "adhesive", reference: #{{ temp_c: 20, rh_pct: 50 }}, cautions: [], sources: [] }} }}
fn rate(air) {{ 1.0 }}
fn milestones(joint) {{ {more} [#{{ stage: "clamp_off", hours: CLAMP_H }}] }}
fn expected() {{ [#{{ temp_c: 25, rh_pct: 40, stage: "clamp_off", hours: CLAMP_H, within: 0.001, source: "by hand" }}] }}
"#
    )
}

fn save(scripts: &Path, text: &str) {
    std::fs::write(scripts.join("materials/test-glue.rhai"), text).unwrap();
}

/// A shop that has the test glue beside its other rules, in a folder that is watched.
fn shop() -> Shop {
    let mut shop = Shop::small();
    shop.settings.scripts.watch = true;
    save(&shop.settings.scripts.folder, &text(1.0, ""));
    shop
}

async fn glue(bench: &Bench, id: &str) -> Value {
    let body = json!({"id": id, "joint": "bridge", "material": "test-glue", "zone": "bench"});
    bench.post("/api/v1/glue-ups", body).await.good()
}

fn likely_h(glue_up: &Value) -> f64 {
    glue_up["milestones"][0]["target_ages_h"][1].as_f64().unwrap()
}

#[tokio::test]
async fn a_saved_rule_comes_in_force_and_a_broken_one_leaves_the_last_good_one_there() {
    let bench = Bench::open(shop(), Now::standing_at(ms(BEGIN)), true).await;
    bench.furnish().await;
    let scripts = bench.shop.settings.scripts.folder.clone();
    let old = glue(&bench, "old").await;
    assert_eq!(likely_h(&old), 1.0);
    let sheet = async || bench.get("/api/v1/materials/test-glue").await.good();

    // Saved again and again, because the watch begins some time after the service does.
    let new = until("the new text is in force", async || {
        save(&scripts, &text(2.0, ""));
        tokio::time::sleep(std::time::Duration::from_millis(400)).await;
        let sheet = sheet().await;
        (sheet["rule_version"] != old["rule_version"]).then_some(sheet)
    })
    .await;
    assert_eq!(likely_h(&glue(&bench, "new").await), 2.0);
    let kept = bench.get("/api/v1/glue-ups/old").await.good();
    assert_eq!((likely_h(&kept), &kept["rule_version"]), (1.0, &old["rule_version"]));

    save(&scripts, &text(3.0, "").replace("fn rate(air) { 1.0 }", "fn rate(air) { 1.0 + }"));
    let faults = async || {
        let faults = bench.get("/api/v1/materials").await.good()["faults"].clone();
        (faults != json!([])).then_some(faults)
    };
    let faults = until("the broken text is listed", faults).await;
    let fault = &faults[0];
    assert_eq!((&fault["file"], &fault["line"]), (&json!("materials/test-glue.rhai"), &json!(3)), "{fault}");
    assert_eq!(fault["column"], 22, "{fault}");
    assert!(["what", "mend"].iter().all(|part| fault[part].as_str().is_some_and(|said| !said.is_empty())), "{fault}");
    assert_eq!(sheet().await["rule_version"], new["rule_version"]);
    assert_eq!(likely_h(&glue(&bench, "after").await), 2.0);
    assert_eq!(bench.get("/health/ready").await.json["rule_faults"], 1);
    bench.stop().await;
}

#[tokio::test]
async fn a_rule_changed_or_broken_while_the_service_was_down_is_treated_the_same() {
    let bench = Bench::open(shop(), Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    let scripts = bench.shop.settings.scripts.folder.clone();
    let old = glue(&bench, "old").await;
    save(&scripts, &text(2.0, ""));
    let bench = bench.restart(false).await;
    assert_eq!(likely_h(&glue(&bench, "new").await), 2.0);
    assert_eq!(bench.get("/api/v1/glue-ups/old").await.good()["milestones"], old["milestones"]);
    save(&scripts, &text(3.0, "").replace("hours: CLAMP_H, within", "hours: 9, within"));
    let bench = bench.restart(false).await;
    let materials = bench.get("/api/v1/materials").await.good();
    assert_eq!(materials["faults"][0]["file"], "materials/test-glue.rhai");
    assert_eq!(likely_h(&glue(&bench, "after").await), 2.0);
    // A rule whose file is gone stays in force: the cures that go by it are not done yet.
    std::fs::remove_file(scripts.join("materials/test-glue.rhai")).unwrap();
    let bench = bench.restart(false).await;
    assert_eq!(bench.get("/api/v1/materials").await.good()["faults"], json!([]));
    assert_eq!(likely_h(&glue(&bench, "last").await), 2.0);
    bench.stop().await;
}

#[tokio::test]
async fn a_rule_whose_page_would_be_another_page_is_refused_by_name() {
    let shop = shop();
    let folder = shop.settings.scripts.folder.join("materials");
    std::fs::write(folder.join("new.rhai"), text(1.0, "")).unwrap();
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    let fault = &bench.get("/api/v1/materials").await.good()["faults"][0];
    assert!(fault["file"] == "materials/new.rhai" && fault["what"].as_str().unwrap().contains("\"new\""), "{fault}");
    let saved = bench.put("/api/v1/rules/new", json!({"text": text(1.0, "")})).await;
    saved.problem(422, "invalid");
    assert!(bench.get("/rules/new").await.text.contains("A rule from a data sheet"));
    bench.stop().await;
}

#[tokio::test]
async fn a_rule_that_loops_for_ever_at_a_glue_up_is_told_as_a_fault_and_changes_nothing() {
    let mut shop = shop();
    shop.settings.scripts.watch = false;
    save(&shop.settings.scripts.folder, &text(1.0, "if joint.gap_um == 4321 { loop {} }"));
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    let board = bench.board().await;
    let body =
        json!({"joint": "bridge", "material": "test-glue", "zone": "bench", "gap_um": 4321, "clamps": ["cam-1"]});
    let said = bench.post_once("key", "/api/v1/glue-ups", body).await.problem(422, "rule-fault");
    assert!(said["detail"].as_str().unwrap().contains("materials/test-glue.rhai"), "{said}");
    assert_eq!(bench.board().await, board);
    glue(&bench, "fine").await;
    bench.stop().await;
}
