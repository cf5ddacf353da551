//! The bench by the keyboard alone: a glue-up and a coat registered, clamps off, an alert seen, a rule tried, mended and
//! saved. Whatever is pressed must be found by Tab and be seen to have the keyboard (WCAG 2.1.1, 2.4.7).

use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::json;
use thirtyfour::Key;

use super::{
    driver::{Browser, WALL},
    planned, shop_now,
};

/// Tab until the keyboard is on something whose name begins so.
async fn find(browser: &Browser, words: &str) {
    let name = "const e = document.activeElement, label = e.labels?.[0] ?? e.closest('label');
        return e.getAttribute('aria-label') ?? (label ? label.textContent : e.textContent)";
    for _ in 0..120 {
        browser.key(Key::Tab).await;
        let on = browser.run(name).await;
        if on.as_str().is_some_and(|on| on.trim().to_lowercase().starts_with(&words.to_lowercase())) {
            // A hidden radio button shows it on the word beside it.
            let seen = "const e = document.activeElement;
                return [e, e.nextElementSibling].some(e => e && getComputedStyle(e).outlineStyle !== 'none')";
            assert_eq!(browser.run(seen).await, true, "{words}: nobody sees where the keyboard is");
            return;
        }
    }
    panic!("the keyboard never comes to {words}");
}

async fn press(browser: &Browser, words: &str) {
    find(browser, words).await;
    browser.key(Key::Enter).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_glue_up_is_registered_and_its_clamps_are_taken_off() {
    let bench = shop_now().await;
    planned(&bench).await;
    let browser = Browser::open(WALL).await;
    browser.goto(bench.url("/")).await;
    press(&browser, "Register a glue-up").await;
    browser.until("return location.pathname === '/glue-up'").await;
    press(&browser, "Glue the bridge").await;
    browser.until("return location.search.includes('step=')").await;
    find(&browser, "cam-1").await;
    browser.key(Key::Space).await;
    press(&browser, "Register").await;
    browser.until("return location.pathname.startsWith('/cures/')").await;
    browser.until_said("Clamp off").await;
    let glue_ups = bench.items("/api/v1/glue-ups").await;
    assert_eq!((glue_ups.len(), &glue_ups[0]["clamps_on"]), (1, &json!(["cam-1"])));
    press(&browser, "Clamps are off").await;
    bench::until("the clamp is free", async || {
        (bench.items("/api/v1/glue-ups").await[0]["clamps_on"] == json!([])).then_some(())
    })
    .await;
    browser.close().await;
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_coat_is_registered_and_its_alert_is_seen() {
    let bench = shop_now().await;
    let browser = Browser::open(WALL).await;
    browser.goto(bench.url("/coats")).await;
    press(&browser, "Register a coat").await;
    browser.until("return location.pathname === '/coat'").await;
    press(&browser, "Another surface").await;
    browser.until("return location.search === '?step=none'").await;
    // A quarter of an hour ago, by the arrows.
    find(&browser, "now").await;
    browser.key(Key::Right).await;
    browser.key(Key::Right).await;
    find(&browser, "Surface").await;
    browser.typed("back").await;
    find(&browser, "Finish").await;
    browser.typed("shel").await;
    press(&browser, "Register").await;
    browser.until("return location.pathname !== '/coat'").await;
    let coats = bench.items("/api/v1/coats").await;
    assert_eq!(
        (coats.len(), &coats[0]["surface"], &coats[0]["material"]["id"]),
        (1, &json!("back"), &json!("shellac"))
    );
    let ago_ms = bench.now.ms() - bench::ms(coats[0]["started_at"].as_str().unwrap());
    assert!((900_000..960_000).contains(&ago_ms), "laid {ago_ms} ms ago");
    // A quarter of an hour of shellac has told something.
    let open = async || bench.items("/api/v1/alerts?state=open").await;
    bench::until("an alert is told", async || (!open().await.is_empty()).then_some(())).await;
    let told = open().await.len();
    browser.goto(bench.url("/alerts")).await;
    press(&browser, "Seen").await;
    bench::until("it is seen", async || (open().await.len() < told).then_some(())).await;
    browser.close().await;
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_rule_is_tried_and_saved() {
    let bench = Bench::open(Shop::small(), Now::system(), true).await;
    super::furnish(&bench).await;
    let before = bench.get("/api/v1/rules/shellac").await.good();
    let browser = Browser::open(WALL).await;
    browser.goto(bench.url("/rules")).await;
    press(&browser, "shellac").await;
    browser.until("return location.pathname === '/rules/shellac'").await;
    find(&browser, "The text is the file").await;
    browser.typed("// a slip {").await;
    browser.key(Key::Enter).await;
    browser.typed("fn").await;
    browser.key(Key::Enter).await;
    // What is wrong is said with its line, and a button leads there; Tab leaves the editor.
    browser.until("return document.getElementById('checked').textContent.startsWith('line ')").await;
    browser.until("return document.querySelector('#numbers .at')?.textContent === words.dataset.line").await;
    press(&browser, "Go to the line").await;
    let line = "const t = document.activeElement;
        return String(t.value.slice(0, t.selectionStart).split('\\n').length) === words.dataset.line";
    assert_eq!(browser.run(line).await, true);
    // Mended: the slip is taken out from the top.
    browser.run("text.setSelectionRange(0, 0)").await;
    for _ in 0.."// a slip {\nfn\n".len() {
        browser.key(Key::Delete).await;
    }
    browser.typed("// by keyboard").await;
    browser.key(Key::Enter).await;
    browser.until("return document.getElementById('checked').textContent.startsWith('Good')").await;
    find(&browser, "Constant: temperature").await;
    browser.typed("5").await;
    press(&browser, "Try it").await;
    // It came without leaving the page, and the keyboard is on it.
    browser.until("return document.activeElement.id === 'tried'").await;
    browser.until_said("the same").await;
    assert_eq!(browser.path().await, "/rules/shellac");
    assert_eq!(bench.get("/api/v1/rules/shellac").await.good()["in_force"], before["in_force"]);
    browser.goto(bench.url("/rules/shellac")).await;
    find(&browser, "The text is the file").await;
    browser.typed("// by keyboard").await;
    browser.key(Key::Enter).await;
    press(&browser, "Save and put in force").await;
    bench::until("it is in force", async || {
        let now = bench.get("/api/v1/rules/shellac").await.good();
        (now["in_force"] != before["in_force"]).then_some(())
    })
    .await;
    browser.close().await;
    bench.stop().await;
}
