//! The rule workshop in a browser: a slip is shown at its line while it is typed and when it is saved, a good text comes in
//! force, and a draft goes to the editor.

use serde_json::json;

use super::{
    driver::{Browser, WALL},
    forms::send,
    shop_now,
};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_slip_in_a_rule_is_shown_at_its_line() {
    let bench = shop_now().await;
    let before = bench.get("/api/v1/rules/shellac").await.good();
    let text = before["text"].as_str().unwrap();
    let line = text.lines().position(|line| line.starts_with("fn rate")).unwrap() + 1;
    let slip = text.replacen("fn rate", "fn rate rate", 1);
    let browser = Browser::open(WALL).await;
    browser.goto(bench.url("/rules/shellac")).await;
    // The letters are there before anything was checked.
    browser.until("return document.getElementById('words').textContent.includes('fn rate')").await;
    browser.until("return document.getElementById('checked').textContent.startsWith('Good')").await;
    let typed = |text: &str| {
        format!(
            "const t = document.getElementById('text'); t.value = {}; t.dispatchEvent(new Event('input'))",
            json!(text)
        )
    };
    browser.run(&typed(&slip)).await;
    browser.until(&format!("return document.getElementById('checked').textContent.startsWith('line {line},')")).await;
    assert_eq!(browser.run("return document.getElementById('words').dataset.line").await, line.to_string());
    // Its number is marked beside the text.
    assert_eq!(browser.run("return document.querySelector('#numbers .at').textContent").await, line.to_string());
    // Saved all the same it is refused at the same line, and the text is still there.
    browser.click("#save").await;
    browser.until("return document.querySelector('[role=alert]') !== null").await;
    let alert = browser.run("return document.querySelector('[role=alert]').textContent").await;
    assert!(alert.as_str().unwrap().contains(&format!(".rhai:{line}:")), "{alert}");
    assert_eq!(browser.run("return document.getElementById('text').value.includes('fn rate rate')").await, true);
    assert_eq!(bench.get("/api/v1/rules/shellac").await.good()["in_force"], before["in_force"]);
    // Mended it comes in force.
    browser.run(&typed(&format!("{text}\n// looked at\n"))).await;
    browser.until("return document.getElementById('checked').textContent.startsWith('Good')").await;
    browser.click("#save").await;
    browser.until("return document.querySelector('[role=alert]') === null").await;
    let after = bench.get("/api/v1/rules/shellac").await.good();
    assert_ne!(after["in_force"], before["in_force"]);
    browser.close().await;
    bench.stop().await;
}

#[tokio::test]
async fn what_was_seen_stands_beside_the_fit_and_a_draft_goes_to_the_editor() {
    let bench = shop_now().await;
    let page = bench.get("/rules/aliphatic-resin/fit").await.text;
    assert!(page.contains("Nobody has looked at"), "{page}");
    let glue_up = json!({"id": "g-1", "joint": "bridge", "zone": "bench", "material": "aliphatic-resin",
                         "minutes_ago": 75});
    bench.post("/api/v1/glue-ups", glue_up).await.good();
    let seen = [("stage", "clamp_off"), ("by", "thumbnail"), ("reached", "false")];
    assert_eq!(send(&bench, "/cures/g-1/observed", &seen).await.status, 200);
    let fit = bench.post("/api/v1/rules/aliphatic-resin/fit", json!({})).await.good();
    let page = bench.get("/rules/aliphatic-resin/fit").await.text;
    let fitted = format!("{:.3}", fit["stages"][0]["fitted_h"]["likely"].as_f64().unwrap());
    assert!(page.contains(&fitted) && page.contains("clamp off: not yet"), "{fitted} {page}");
    let draft = send(&bench, "/rules/aliphatic-resin/draft", &[("text", "// another\r\nfn rate(air) { 1.0 }")]).await;
    assert!(draft.status == 200 && draft.text.contains("not saved yet"), "{}", draft.text);
    assert!(draft.text.contains("// another\nfn rate(air) { 1.0 }"), "{}", draft.text);
    let rule = bench.get("/api/v1/rules/aliphatic-resin").await.good();
    assert_eq!(rule["in_force"], fit["rule_version"], "a draft is not in force");
    bench.stop().await;
}
