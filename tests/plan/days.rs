//! Days that are not as usual and clamps that are out of use, said at the bench: the plan goes by them at once.

use super::*;

#[tokio::test(flavor = "multi_thread")]
async fn a_day_said_to_be_closed_is_planned_around_and_is_as_usual_again() {
    let bench = bench(|_| {}).await;
    open(&bench, "bridge-job", None, json!([step("clean", "hands_on", 30)])).await;
    let plan = planned(&bench).await;
    let monday = start_ms(piece(&plan, "bridge-job", "clean", "step"));
    assert_eq!(monday, ms("2026-03-02T09:00:00+00:00"));
    // Ill today: though the next hours of a plan stay as they were told, nobody is there.
    let day = bench.put("/api/v1/days/2026-03-02", json!({"hours": []})).await.good();
    assert_eq!(day, json!({"date": "2026-03-02", "hours": [], "said": true}));
    let plan = planned(&bench).await;
    assert_eq!(start_ms(piece(&plan, "bridge-job", "clean", "step")), ms("2026-03-03T09:00:00+00:00"));
    // Back for an hour in the evening.
    bench.put("/api/v1/days/2026-03-02", json!({"hours": ["19:00-20:00"]})).await.good();
    bench.put("/api/v1/days/2026-03-03", json!({"hours": []})).await.good();
    let plan = planned(&bench).await;
    assert_eq!(start_ms(piece(&plan, "bridge-job", "clean", "step")), ms("2026-03-02T19:00:00+00:00"));
    // It is kept, and a restart knows it.
    let (shop, now) = bench.stop().await;
    let bench = Bench::open(shop, now, false).await;
    let days = bench.get("/api/v1/days").await.good();
    let dates: Vec<_> = days["items"].as_array().unwrap().iter().map(|day| day["date"].as_str().unwrap()).collect();
    assert_eq!(dates, ["2026-03-02", "2026-03-03"]);
    let day = bench.put("/api/v1/days/2026-03-02", json!({})).await.good();
    assert_eq!(day, json!({"date": "2026-03-02", "hours": ["09:00-13:00", "14:00-18:00"], "said": false}));
    for (date, body, status, says) in [
        ("2026-03-02", json!({"hours": ["9 to 5"]}), 422, "9 to 5"),
        ("2026-03-02", json!({"hours": ["14:00-18:00", "09:00-13:00"]}), 422, "09:00-13:00"),
        ("2025-12-24", json!({"hours": []}), 422, "2025-12-24"),
        ("christmas", json!({"hours": []}), 404, "christmas"),
    ] {
        let answer = bench.put(&format!("/api/v1/days/{date}"), body).await;
        assert!(answer.status == status && answer.text.contains(says), "{date}: {} {}", answer.status, answer.text);
    }
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn nobody_stands_idle_on_a_day_that_is_open_after_all() {
    let bench = bench(|_| {}).await;
    bench.put("/api/v1/days/2026-03-02", json!({"hours": []})).await.good();
    open(&bench, "bridge-job", None, json!([step("clean", "hands_on", 30), glue("close", 20, 2)])).await;
    let starts = async || {
        let plan = planned(&bench).await;
        let of = |step: &str, part: &str| start_ms(piece(&plan, "bridge-job", step, part));
        [of("clean", "step"), of("close", "step"), of("close", "clamps_off")]
    };
    let told = starts().await;
    assert_eq!(told[0], ms("2026-03-03T09:00:00+00:00"));
    // Nothing asks for haste, but what is ready is done today.
    bench.put("/api/v1/days/2026-03-02", json!({})).await.good();
    assert_eq!(starts().await, told.map(|at| at - 24 * 60 * MINUTE_MS));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_day_of_the_settings_is_listed_and_what_is_said_of_it_counts_before() {
    let closed = |settings: &mut benchclock::Settings| {
        settings.shop.hours.exceptions.insert("2026-03-02".into(), vec![]);
    };
    let bench = bench(closed).await;
    open(&bench, "bridge-job", None, json!([step("clean", "hands_on", 30)])).await;
    let first = &bench.get("/api/v1/days").await.good()["items"][0];
    assert_eq!(*first, json!({"date": "2026-03-02", "hours": [], "said": false}));
    assert_eq!(start_ms(piece(&planned(&bench).await, "bridge-job", "clean", "step")), ms("2026-03-03T09:00:00+00:00"));
    bench.put("/api/v1/days/2026-03-02", json!({"hours": ["10:00-12:00"]})).await.good();
    // Nobody has read where it stands now.
    let (shop, now) = bench.stop().await;
    std::fs::remove_file(shop.folder().join("plan-places.json")).unwrap();
    let bench = Bench::open(shop, now, false).await;
    assert_eq!(start_ms(piece(&planned(&bench).await, "bridge-job", "clean", "step")), ms("2026-03-02T10:00:00+00:00"));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clamp_put_away_is_not_counted_on_and_no_glue_up_takes_it() {
    let bench = bench(|_| {}).await;
    open(&bench, "bridge-job", None, json!([glue("close", 20, 3)])).await;
    assert_eq!(planned(&bench).await["cannot"], json!([]));
    let clamp = bench.post("/api/v1/clamps/cam-3/put-away", json!({})).await.good();
    assert_eq!((&clamp["away"], &clamp["on"]), (&json!(true), &json!(null)));
    let cannot = planned(&bench).await["cannot"].to_string();
    assert!(cannot.contains("clamps"), "{cannot}");
    let body =
        json!({"id": "g1", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "clamps": ["cam-3"]});
    bench.post("/api/v1/glue-ups", body.clone()).await.problem(409, "conflict");
    bench.post("/api/v1/clamps/cam-3/put-away", json!({})).await.problem(409, "conflict");
    let free = bench.get("/api/v1/board").await.good()["clamps_free"].clone();
    assert_eq!(free, json!(["cam-1", "cam-2"]));
    bench.post("/api/v1/clamps/cam-3/bring-back", json!({})).await.good();
    assert_eq!(planned(&bench).await["cannot"], json!([]));
    bench.post("/api/v1/glue-ups", body).await.good();
    // One that holds something stays where it is.
    bench.post("/api/v1/clamps/cam-3/put-away", json!({})).await.problem(409, "conflict");
    bench.post("/api/v1/clamps/none/put-away", json!({})).await.problem(404, "not-found");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn both_are_said_on_the_pages() {
    let bench = bench(|_| {}).await;
    open(&bench, "bridge-job", None, json!([step("clean", "hands_on", 30)])).await;
    assert!(page(&bench, "/plan").await.contains("Every day is as usual."));
    assert_eq!(press(&bench, "/days", "key=a&date=2026-03-02&hours=10:00-11:00,+15:00-16:00").await.status, 200);
    let shown = page(&bench, "/plan").await;
    assert!(shown.contains("Monday 2 March: 10:00-11:00, 15:00-16:00") && shown.contains(">10:00–10:30<"), "{shown}");
    assert_eq!(press(&bench, "/days", "key=b&date=2026-03-02&hours=").await.status, 200);
    assert!(page(&bench, "/plan").await.contains("Monday 2 March: closed"));
    // As a phone writes it.
    assert_eq!(press(&bench, "/days", "key=b2&date=2026-03-02&hours=9%E2%80%9312").await.status, 200);
    assert!(page(&bench, "/plan").await.contains("Monday 2 March: 09:00-12:00"));
    assert_eq!(press(&bench, "/days", "key=b3&date=2026-03-02&hours=Closed").await.status, 200);
    assert!(page(&bench, "/plan").await.contains("Monday 2 March: closed"));
    assert_eq!(press(&bench, "/days", "key=c&date=2026-03-02&usual=yes").await.status, 200);
    assert!(page(&bench, "/plan").await.contains("Every day is as usual."));
    // A fortnight is said at once, and unsaid at once.
    assert_eq!(press(&bench, "/days", "key=e1&date=2026-03-02&until=2026-03-15&hours=").await.status, 200);
    let shown = page(&bench, "/plan").await;
    assert!(shown.contains("Monday 2 March to Sunday 15 March: closed"), "{shown}");
    assert_eq!(bench.get("/api/v1/days").await.good()["items"].as_array().unwrap().len(), 14);
    assert_eq!(start_ms(piece(&planned(&bench).await, "bridge-job", "clean", "step")), ms("2026-03-16T09:00:00+00:00"));
    assert_eq!(press(&bench, "/days", "key=e2&date=2026-03-04&until=2026-03-15&usual=yes").await.status, 200);
    assert!(page(&bench, "/plan").await.contains("Monday 2 March to Tuesday 3 March: closed"));
    assert_eq!(press(&bench, "/days", "key=e3&date=2026-03-02&until=2026-03-03&usual=yes").await.status, 200);
    assert!(page(&bench, "/plan").await.contains("Every day is as usual."));
    for fields in [
        "key=e4&date=2026-03-03&until=2026-03-02",
        "key=e5&date=2026-03-03&until=2026-09-03",
        "key=e6&date=2026-03-03&until=x",
    ] {
        assert_eq!(press(&bench, "/days", &format!("{fields}&hours=")).await.status, 422, "{fields}");
    }
    assert_eq!(press(&bench, "/days", "key=d&date=someday&hours=").await.status, 422);
    assert_eq!(press(&bench, "/clamps/cam-1/put-away", "key=e").await.status, 200);
    let shown = page(&bench, "/materials").await;
    assert!(shown.contains("<td>put away</td>") && shown.contains("/clamps/cam-1/bring-back"), "{shown}");
    assert_eq!(press(&bench, "/clamps/cam-1/bring-back", "key=f").await.status, 200);
    assert!(!page(&bench, "/materials").await.contains("/clamps/cam-1/bring-back"));
    bench.stop().await;
}
