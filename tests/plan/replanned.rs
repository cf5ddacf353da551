//! Planned anew: after facts, from the plan on the wall, with the first hours as they were told.

use super::*;
use crate::http::events::Listener;

#[tokio::test(flavor = "multi_thread")]
async fn the_first_hours_stay_as_they_were_told_and_the_rest_makes_room() {
    let bench = bench(|_| {}).await;
    open(
        &bench,
        "here",
        None,
        json!([step("one", "hands_on", 120), step("two", "hands_on", 120), step("three", "hands_on", 120)]),
    )
    .await;
    let before = planned(&bench).await;
    // Comes in at eight and was due an hour ago. Frozen until noon.
    open(&bench, "pressing", Some("2026-03-02T07:00:00Z"), json!([step("work", "hands_on", 120)])).await;
    let after = planned(&bench).await;
    for step in ["one", "two"] {
        assert_eq!(piece(&after, "here", step, "step")["start_at"], piece(&before, "here", step, "step")["start_at"]);
    }
    let pressing = piece(&after, "pressing", "work", "step");
    assert_eq!(pressing["start_at"], "2026-03-02T14:00:00+00:00");
    assert!(reasons(pressing).contains(&"late"), "{:?}", pressing["why"]);
    assert!(start_ms(piece(&after, "here", "three", "step")) >= end_ms(pressing));
    assert!(reasons(piece(&after, "here", "one", "step")).contains(&"frozen"));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn planned_again_without_news_it_is_the_same_plan_and_after_a_restart_too() {
    let bench = bench(|_| {}).await;
    for (job, minutes) in [("a", 90), ("b", 60), ("c", 45)] {
        open(
            &bench,
            job,
            Some("2026-03-04T18:00:00Z"),
            json!([step("one", "hands_on", minutes), glue("close", 20, 1), step("two", "hands_on", 30)]),
        )
        .await;
    }
    let first = planned(&bench).await;
    let places = |plan: &Value| {
        let one =
            |s: &Value| (s["job"].to_string(), s["step"].to_string(), s["part"].to_string(), s["start_at"].to_string());
        plan["steps"].as_array().unwrap().iter().map(one).collect::<Vec<_>>()
    };
    let second = planned(&bench).await;
    assert_eq!(places(&first), places(&second));
    assert_eq!(second["moved"], 0);
    let bench = bench.restart(false).await;
    let anew = bench.get("/api/v1/plan").await.good();
    assert_eq!(places(&first), places(&anew));
    // It is derived: what was kept of it may be lost, or torn.
    std::fs::write(bench.shop.folder().join("plan-places.json"), "{\"a/one\": 29").unwrap();
    let bench = bench.restart(false).await;
    let anew = bench.get("/api/v1/plan").await.good();
    assert_eq!(places(&anew).len(), places(&first).len());
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_first_hours_stay_as_they_were_told_over_a_restart() {
    let bench = bench(|_| {}).await;
    open(&bench, "here", None, json!([step("one", "hands_on", 120), step("two", "hands_on", 120)])).await;
    let before = planned(&bench).await;
    open(&bench, "pressing", Some("2026-03-02T07:00:00Z"), json!([step("work", "hands_on", 120)])).await;
    let bench = bench.restart(false).await;
    let after = bench.get("/api/v1/plan").await.good();
    for step in ["one", "two"] {
        let (then, now) = (piece(&before, "here", step, "step"), piece(&after, "here", step, "step"));
        assert_eq!(now["start_at"], then["start_at"], "{after:#}");
    }
    assert_eq!(piece(&after, "pressing", "work", "step")["start_at"], "2026-03-02T14:00:00+00:00");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_stay_in_the_first_hours_is_said() {
    let bench = bench(|_| {}).await;
    open(&bench, "bridge-job", None, json!([glue("close", 20, 2), step("level", "hands_on", 15)])).await;
    let before = planned(&bench).await;
    let off = start_ms(piece(&before, "bridge-job", "close", "clamps_off"));
    assert!(off - bench.now.ms() < 4 * 60 * MINUTE_MS, "it is in the frozen hours: {before:#}");
    assert_eq!(before["unfrozen"], json!([]));
    // Closed an hour later than planned: its clamps cannot come off as it was told.
    bench.wait_minutes(140);
    let body = json!({"id": "g1", "job": "bridge-job", "step": "close", "zone": "bench", "clamps": ["cam-1", "cam-2"]});
    bench.post("/api/v1/glue-ups", body).await.good();
    let after = planned(&bench).await;
    assert!(start_ms(piece(&after, "bridge-job", "close", "clamps_off")) > off);
    let unfrozen = after["unfrozen"].as_array().unwrap();
    assert!(unfrozen.contains(&json!("Clamps off: close")), "{unfrozen:?}");
    let page = bench.send(bench.http().get(bench.url("/plan")).header("accept", "text/html")).await.text;
    assert!(
        page.contains("Could not stay as it was told") && page.contains("Clamps off: close (bridge-job)"),
        "{page}"
    );
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_fact_brings_a_new_plan_by_itself() {
    let (shop, now) = bench(|_| {}).await.stop().await;
    let bench = Bench::open(shop, now, true).await;
    open(&bench, "here", None, json!([step("one", "hands_on", 60), step("two", "hands_on", 60)])).await;
    let steps = async |count: usize| {
        bench::until(&format!("{count} steps on the wall"), async || {
            let plan = bench.get("/api/v1/plan").await.good();
            (plan["steps"].as_array().unwrap().len() == count).then_some(())
        })
        .await;
    };
    steps(2).await;
    let mut listener = Listener::come(&bench, None).await;
    bench.post("/api/v1/jobs/here/steps/one/done", json!({})).await.good();
    steps(1).await;
    // A page that shows the plan hears of it; it is no fact, so it has no place in the journal.
    let mut heard = listener.event().await.unwrap();
    while heard.name != "plan" {
        heard = listener.event().await.unwrap();
    }
    assert_eq!((heard.id, heard.data["made_at"].is_string()), (None, true));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_recurring_job_moves_what_was_not_done() {
    let bench = bench(|_| {}).await;
    open(&bench, "here", None, json!([step("one", "hands_on", 60)])).await;
    bench.recurring("plan").await;
    bench.wait_minutes(165);
    bench.recurring("plan").await;
    let plan = bench.get("/api/v1/plan").await.good();
    assert_eq!(piece(&plan, "here", "one", "step")["start_at"], "2026-03-02T10:45:00+00:00");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_day_that_is_cut_short_keeps_what_it_can_and_says_what_it_cannot() {
    let bench = bench(|_| {}).await;
    for job in ["a", "b", "c"] {
        open(&bench, job, Some("2026-03-04T10:00:00Z"), json!([step("work", "hands_on", 60)])).await;
    }
    let before = planned(&bench).await;
    let at_ten = before["steps"].as_array().unwrap().iter().find(|s| s["start_at"] == "2026-03-02T10:00:00+00:00");
    let at_ten = at_ten.unwrap()["job"].as_str().unwrap();
    let (mut shop, now) = bench.stop().await;
    shop.settings.shop.hours.exceptions.insert("2026-03-02".into(), vec!["10:00-11:30".into()]);
    let bench = Bench::open(shop, now, false).await;
    let after = planned(&bench).await;
    assert_eq!(piece(&after, at_ten, "work", "step")["start_at"], "2026-03-02T10:00:00+00:00");
    assert_eq!(after["unfrozen"], json!(["work", "work"]));
    bench.stop().await;
}
