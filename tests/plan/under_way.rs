//! Work whose time has come and that nobody has ticked: somebody is working on it.

use super::*;

/// Four jobs of an hour each, the morning of a Monday, planned at eight; in the order they stand in.
async fn morning() -> (Bench, Vec<String>) {
    let bench = bench(|_| {}).await;
    for job in ["a", "b", "c", "d"] {
        open(&bench, job, Some("2026-03-04T10:00:00Z"), json!([step("sand", "hands_on", 60)])).await;
    }
    let plan = planned(&bench).await;
    let order = plan["steps"].as_array().unwrap().iter().map(|piece| piece["job"].as_str().unwrap().to_string());
    (bench, order.collect())
}

fn starts(plan: &Value, order: &[String]) -> Vec<String> {
    let start = |job: &String| piece(plan, job, "sand", "step")["start_at"].as_str().unwrap()[11..16].to_string();
    order.iter().map(start).collect()
}

#[tokio::test(flavor = "multi_thread")]
async fn what_was_begun_by_the_plan_stays_while_it_takes_and_the_day_with_it() {
    let (bench, order) = morning().await;
    bench.wait_minutes(70);
    let plan = planned(&bench).await;
    // Ten past nine, and the first is half done: nothing is put into its hour, and it is not put off to the afternoon.
    assert_eq!(starts(&plan, &order), ["09:00", "10:00", "11:00", "12:00"]);
    assert_eq!(reasons(piece(&plan, &order[0], "sand", "step")), ["begun"]);
    assert_eq!((&plan["moved"], &plan["unfrozen"]), (&json!(0), &json!([])));
    let page = bench.send(bench.http().get(bench.url("/plan")).header("accept", "text/html")).await.text;
    let done = format!("action=\"/jobs/{}/steps/sand/done\"", order[0]);
    assert!(page.contains("under way, by the plan") && page.contains(&done), "{page}");
    // After a restart, too.
    let bench = bench.restart(false).await;
    assert_eq!(starts(&bench.get("/api/v1/plan").await.good(), &order), ["09:00", "10:00", "11:00", "12:00"]);
    bench.post(&format!("/api/v1/jobs/{}/steps/sand/done", order[0]), json!({})).await.good();
    let plan = planned(&bench).await;
    assert_eq!(starts(&plan, &order[1..]), ["10:00", "11:00", "12:00"]);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_takes_longer_is_followed_by_what_comes_next_and_the_rest_stays_where_it_can() {
    let (bench, order) = morning().await;
    bench.wait_minutes(130);
    let plan = planned(&bench).await;
    // Ten past ten, and the first is done any minute. The last stays as it was told, and leaves less than an hour before it.
    assert_eq!(starts(&plan, &order), ["09:00", "10:10", "14:00", "12:00"]);
    assert_eq!(plan["unfrozen"], json!(["sand"]));
    bench.wait_minutes(10);
    bench.post(&format!("/api/v1/jobs/{}/steps/sand/done", order[0]), json!({})).await.good();
    assert_eq!(starts(&planned(&bench).await, &order[1..])[..1], ["10:10"], "nobody has said that it is not begun");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_follows_work_that_took_longer_comes_before_what_was_told_for_later() {
    let bench = bench(|_| {}).await;
    let two = json!([step("one", "hands_on", 60), step("two", "hands_on", 60)]);
    open(&bench, "a", Some("2026-03-04T10:00:00Z"), two).await;
    planned(&bench).await;
    open(&bench, "x", Some("2026-03-05T10:00:00Z"), json!([step("sand", "hands_on", 60)])).await;
    planned(&bench).await;
    let places = |plan: &Value| {
        let of = |job, step| piece(plan, job, step, "step")["start_at"].as_str().unwrap()[11..16].to_string();
        [of("a", "two"), of("x", "sand")]
    };
    // The first of the two takes ten, then twenty minutes longer.
    for (minutes, expected) in [(130, ["10:10", "11:10"]), (10, ["10:20", "11:20"])] {
        bench.wait_minutes(minutes);
        assert_eq!(places(&planned(&bench).await), expected);
    }
    bench.post("/api/v1/jobs/a/steps/one/done", json!({})).await.good();
    assert_eq!(places(&planned(&bench).await), ["10:20", "11:20"]);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_not_ticked_when_it_should_long_be_done_is_planned_anew() {
    let (bench, order) = morning().await;
    // The second is under way by now; the first was left out, and comes next.
    bench.wait_minutes(60 + 97);
    let plan = planned(&bench).await;
    let (first, second) = (piece(&plan, &order[0], "sand", "step"), piece(&plan, &order[1], "sand", "step"));
    assert_eq!(reasons(second), ["begun"]);
    assert_eq!(start_ms(first), end_ms(second), "{plan:#}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_under_way_is_not_taken_to_be() {
    let bench = bench(|_| {}).await;
    open(&bench, "chain", None, json!([step("one", "hands_on", 30), step("two", "hands_on", 60)])).await;
    open(&bench, "bridge-job", None, json!([glue("close", 30, 3)])).await;
    let plan = planned(&bench).await;
    let two = piece(&plan, "chain", "two", "step");
    // Twenty minutes into the second the first is still not done, which should have taken half an hour.
    bench.wait_minutes((start_ms(two) - bench.now.ms()) / MINUTE_MS + 20);
    let plan = planned(&bench).await;
    let (one, two) = (piece(&plan, "chain", "one", "step"), piece(&plan, "chain", "two", "step"));
    assert!(start_ms(one) >= bench.now.ms() && start_ms(two) >= end_ms(one), "{plan:#}");
    // A glue-up whose time has come, and whose clamps somebody has taken for something else.
    let close = piece(&plan, "bridge-job", "close", "step");
    bench.wait_minutes((start_ms(close) - bench.now.ms()) / MINUTE_MS + 5);
    bench.glue_up("g1").await;
    let plan = planned(&bench).await;
    let close = piece(&plan, "bridge-job", "close", "step");
    assert!(start_ms(close) >= bench.now.ms() && !reasons(close).contains(&"begun"), "{close:#}");
    assert_eq!(plan["cannot"], json!([]));
    bench.stop().await;
}
