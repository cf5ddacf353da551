//! Registering a glue-up with one finger: what is proposed, what is shown at once, undoing it, and a network that drops.

use std::time::Duration;

use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::json;

use super::{
    board::free_port,
    driver::{Browser, PHONE},
    furnish, planned, shop_now,
};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_used_the_last_time_is_proposed_and_a_slip_is_undone() {
    let bench = shop_now().await;
    bench
        .post(
            "/api/v1/lots",
            json!({"id": "old", "material": "aliphatic-resin", "best_before": "2020-01-01T00:00:00Z"}),
        )
        .await
        .good();
    bench.post("/api/v1/lots", json!({"id": "good", "material": "aliphatic-resin", "label": "yellow"})).await.good();
    let before = json!({"id": "g-0", "joint": "bridge", "material": "aliphatic-resin", "lot": "good", "zone": "bench",
                        "clamps": ["cam-2", "cam-3"], "minutes_ago": 600});
    bench.post("/api/v1/glue-ups", before).await.good();
    bench.post("/api/v1/glue-ups/g-0/clamps-off", json!({})).await.good();
    planned(&bench).await;
    let browser = Browser::open(PHONE).await;
    browser.goto(bench.url("/glue-up?step=loose+glue")).await;
    let filled = browser
        .run("return [...new FormData(document.querySelector('form'))].filter(f => f[0] != 'key' && f[0] != 'clock')")
        .await;
    assert_eq!(
        filled,
        json!([
            ["step", "loose glue"],
            ["started", "0"],
            ["joint", "bridge"],
            ["new_joint", ""],
            ["material", "aliphatic-resin"],
            ["lot", "good"],
            ["zone", "bench"],
            ["clamp", "cam-2"],
            ["clamp", "cam-3"]
        ])
    );
    browser.click("input[value='15']").await;
    browser.click("button.main").await;
    browser.until("return location.pathname.startsWith('/cures/')").await;
    let path = browser.path().await;
    let id = path.strip_prefix("/cures/").unwrap().to_string();
    let cure = bench.get(&format!("/api/v1/glue-ups/{id}")).await.good();
    let ago_ms = bench.now.ms() - bench::ms(cure["started_at"].as_str().unwrap());
    assert!((900_000..915_000).contains(&ago_ms), "begun {ago_ms} ms ago");
    // What the page says at once is what the API says.
    let text = browser.text().await;
    for caution in cure["cautions"].as_array().unwrap() {
        assert!(text.contains(caution.as_str().unwrap()), "no {caution} in: {text}");
    }
    let safe_ms = bench::ms(cure["milestones"][1]["safe_at"].as_str().unwrap());
    let shown = browser.run("return Number(document.querySelector('#release + .count').dataset.at)").await;
    assert_eq!(shown.as_i64().unwrap() / 1000, safe_ms / 1000);
    browser.click(".undo button").await;
    browser.until("return location.pathname === '/'").await;
    let cure = bench.get(&format!("/api/v1/glue-ups/{id}")).await.good();
    assert_eq!((&cure["state"], &cure["clamps_on"]), (&json!("withdrawn"), &json!([])));
    browser.close().await;
    bench.stop().await;
}

/// By its rule slow epoxy must be in its place within the assembly time; in a cold room the rule warns.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_assembly_time_and_what_is_wrong_are_shown_at_once() {
    let shop = Shop::small();
    let rule = "materials/slow-epoxy.rhai";
    std::fs::copy(bench::root().join("scripts").join(rule), shop.settings.scripts.folder.join(rule)).unwrap();
    let bench = Bench::open(shop, Now::system(), true).await;
    furnish(&bench).await;
    planned(&bench).await;
    let zone = json!({"id": "shed", "name": "Shed", "set_temp_c": 4, "set_rh_pct": 60});
    bench.post("/api/v1/zones", zone).await.good();
    let browser = Browser::open(PHONE).await;
    browser.goto(bench.url("/glue-up?step=loose+glue")).await;
    browser.run("document.querySelector('[name=material]').value = 'slow-epoxy'; document.querySelector('[name=zone]').value = 'shed'; document.querySelector('[name=lot]').value = ''").await;
    browser.click("button.main").await;
    browser.until_said("Assembly time left").await;
    let id = browser.path().await.strip_prefix("/cures/").unwrap().to_string();
    let cure = bench.get(&format!("/api/v1/glue-ups/{id}")).await.good();
    let closes = cure["milestones"].as_array().unwrap().iter().find(|m| m["stage"] == "assembly_closes").unwrap();
    let shown = browser.run("return Number(document.querySelector('#assembly + .count').dataset.at)").await;
    assert_eq!(shown.as_i64().unwrap() / 1000, bench::ms(closes["earliest_at"].as_str().unwrap()) / 1000);
    let text = browser.text().await;
    let findings = cure["findings"].as_array().unwrap();
    assert!(!findings.is_empty(), "4 °C is no air for epoxy");
    for finding in findings {
        assert!(text.contains(finding["what"].as_str().unwrap()), "no {finding} in: {text}");
    }
    browser.close().await;
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_glue_up_registered_while_the_network_is_down_is_kept_and_sent_once() {
    let mut shop = Shop::small();
    shop.settings.server.listen = format!("127.0.0.1:{}", free_port());
    let bench = Bench::open(shop, Now::system(), true).await;
    furnish(&bench).await;
    planned(&bench).await;
    let browser = Browser::open(PHONE).await;
    browser.goto(bench.url("/glue-up?step=loose+glue")).await;
    let (shop, now) = bench.stop().await;
    let pressed_ms = now.ms();
    browser.click("button.main").await;
    browser.until_said("kept on this device").await;
    // Pressed again out of impatience: it is the same form.
    browser.click("button.main").await;
    tokio::time::sleep(Duration::from_secs(3)).await;
    let bench = Bench::open(shop, now, true).await;
    browser.until("return location.pathname.startsWith('/cures/')").await;
    browser.until("return localStorage.getItem('kept') === '[]'").await;
    let registered = bench.items("/api/v1/glue-ups").await;
    assert_eq!(registered.len(), 1, "{registered:#?}");
    // It began when the button was pressed, not when the network came back.
    let begun_ms = bench::ms(registered[0]["started_at"].as_str().unwrap());
    assert!((pressed_ms - 2000..pressed_ms + 2500).contains(&begun_ms), "{begun_ms} {pressed_ms}");
    browser.close().await;
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_hour_that_is_typed_is_ticked_and_the_line_by_the_button_says_what_it_registers() {
    let bench = shop_now().await;
    let browser = Browser::open(PHONE).await;
    browser.goto(bench.url("/glue-up?step=none")).await;
    let started = "return document.querySelector('[name=started]:checked').value";
    assert_eq!(browser.run(started).await, "0");
    let type_hour = "const e = document.querySelector('[name=clock]'); e.value = '07:25';
                     e.dispatchEvent(new InputEvent('input', {bubbles: true}))";
    browser.run(type_hour).await;
    assert_eq!(browser.run(started).await, "at");
    // Another time that is tapped is meant instead.
    browser.click("input[value='15']").await;
    assert_eq!(browser.run("return document.querySelector('[name=clock]').value").await, "");
    let choose = "const e = document.querySelector('[name=joint]'); e.value = 'bridge';
                  e.dispatchEvent(new InputEvent('input', {bubbles: true}))";
    browser.run(choose).await;
    browser.click("input[value='cam-2']").await;
    let sum = browser.run("return document.querySelector('[data-sum]').textContent").await;
    let sum = sum.as_str().unwrap();
    assert!(sum.starts_with("bridge of the guitar · ") && sum.ends_with("cam-2"), "{sum}");
    browser.close().await;
    bench.stop().await;
}
