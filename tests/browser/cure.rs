//! The page of a cure: what was written down wrongly is withdrawn, and a hand that fills something in is left alone.

use bench::Bench;

use super::{
    driver::{Browser, PHONE},
    forms::send,
    shop_now,
};

#[tokio::test]
async fn an_observation_is_withdrawn_with_its_reason() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    let other = serde_json::json!({"id": "g-2", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
    bench.post("/api/v1/glue-ups", other).await.good();
    bench.wait_minutes(40);
    let seen = [("key", "seen"), ("stage", "clamp_off"), ("by", "thumbnail"), ("reached", "true")];
    let page = send(&bench, "/cures/g-1/observed", &seen).await;
    assert!(page.text.contains("clamp off: there at 08:40"), "{}", page.text);
    let id = bench.items("/api/v1/observations").await[0]["id"].as_str().unwrap().to_string();
    assert!(page.text.contains(&format!("<option value=\"{id}\">")), "{}", page.text);
    let form = [("key", "slip"), ("observation", id.as_str()), ("reason", "the wrong piece")];
    assert_eq!(send(&bench, "/cures/g-2/observed/withdraw", &form).await.status, 404, "it is of another cure");
    for _ in 0..2 {
        let page = send(&bench, "/cures/g-1/observed/withdraw", &form).await;
        assert!(page.status == 200 && page.text.contains("(withdrawn: the wrong piece)"), "{}", page.text);
        assert!(!page.text.contains("Withdraw one"), "nothing is left to withdraw: {}", page.text);
    }
    assert_eq!(bench.items("/api/v1/observations").await[0]["withdrawn"], "the wrong piece");
    let none = send(&bench, "/cures/g-1/observed/withdraw", &[("reason", "x")]).await;
    assert_eq!(none.status, 422);
    bench.stop().await;
}

#[tokio::test]
async fn a_glue_up_is_carried_and_one_registered_wrongly_is_withdrawn() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let shed = serde_json::json!({"id": "shed", "name": "Shed", "set_temp_c": 6, "set_rh_pct": 85});
    bench.post("/api/v1/zones", shed).await.good();
    bench.glue_up("g-1").await;
    bench.wait_minutes(5);
    let page = bench.get("/cures/g-1").await.text;
    assert!(
        page.contains("<option value=\"shed\">Shed</option>") && !page.contains("<option value=\"bench\">"),
        "{page}"
    );
    assert_eq!(send(&bench, "/cures/g-1/move", &[("key", "m"), ("zone", "shed")]).await.status, 200);
    assert_eq!(bench.get("/api/v1/glue-ups/g-1").await.good()["zone"], "shed");
    assert_eq!(send(&bench, "/cures/g-1/move", &[("zone", "cellar")]).await.status, 422);
    let late = send(&bench, "/cures/g-1/undo", &[]).await;
    assert!(late.status == 409 && late.text.contains("withdraw it on its page"), "{}", late.text);
    let form = [("key", "w"), ("reason", "registered by mistake")];
    for _ in 0..2 {
        let page = send(&bench, "/cures/g-1/withdraw", &form).await;
        assert!(
            page.status == 200 && page.text.contains("withdrawn") && !page.text.contains("Put right"),
            "{}",
            page.text
        );
    }
    let cure = bench.get("/api/v1/glue-ups/g-1").await.good();
    assert_eq!((&cure["state"], &cure["withdrawn"]), (&"withdrawn".into(), &"registered by mistake".into()));
    assert_eq!(bench.board().await["clamps_free"], serde_json::json!(["cam-1", "cam-2", "cam-3"]));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_page_that_follows_takes_no_form_from_under_the_hand_and_leaves_open_what_was_opened() {
    let bench = shop_now().await;
    bench.glue_up("g-1").await;
    let seen = [("stage", "clamp_off"), ("by", "thumbnail"), ("reached", "false")];
    send(&bench, "/cures/g-1/observed", &seen).await;
    let browser = Browser::open(PHONE).await;
    browser.goto(bench.url("/cures/g-1")).await;
    browser.until_said("Withdraw one").await;
    browser.click("details summary").await;
    browser
        .run("const s = document.querySelector('[name=reason]'); s.selectedIndex = 2; s.focus(); window.was = s")
        .await;
    bench.post("/api/v1/glue-ups/g-1/clamps-off", serde_json::json!({})).await.good();
    tokio::time::sleep(std::time::Duration::from_millis(1500)).await;
    assert_eq!(browser.run("return window.was.isConnected && window.was.selectedIndex").await, 2);
    // The hand is gone: the page follows, and what was opened is open.
    browser.run("document.activeElement.blur()").await;
    browser.until("return !window.was.isConnected && document.querySelector('details').open").await;
    browser.close().await;
    bench.stop().await;
}
