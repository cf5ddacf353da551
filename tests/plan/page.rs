//! The plan as a page, in the morning's digest and in the calendar.

use super::*;

/// Presses a button of a page: a form with these fields, followed to where it leads.
#[tokio::test(flavor = "multi_thread")]
async fn today_is_a_list_to_tick_and_the_week_a_bar_for_each_job() {
    let bench = bench(|_| {}).await;
    open(
        &bench,
        "bridge-job",
        Some("2026-03-02T10:00:00Z"),
        json!([step("clean", "hands_on", 30), glue("close", 20, 2), step("level", "hands_on", 15)]),
    )
    .await;
    let shown = page(&bench, "/plan").await;
    for words in [
        "09:00–09:30",
        "<strong>clean</strong>",
        "Clamps off: close",
        "late by",
        "class=\"clamps\"",
        "class=\"work\"",
        "aria-current=\"page\">Plan<",
        "data-follow",
        "src=\"/follow.js\"",
        "action=\"/jobs/bridge-job/steps/clean/done\"",
    ] {
        assert!(shown.contains(words), "no {words}: {shown}");
    }
    // Nothing in the page itself that its policy forbids.
    assert!(!shown.contains("style=") && !shown.contains("<script>") && !shown.contains("onclick"), "{shown}");
    let after = press(&bench, "/jobs/bridge-job/steps/clean/done", "from=plan&key=once").await;
    assert_eq!(after.status, 200, "{}", after.text);
    assert!(after.text.contains("<h1>Plan</h1>") && !after.text.contains("<strong>clean</strong>"), "{}", after.text);
    assert!(after.text.contains("/glue-up?step=bridge-job+close"), "it is next: {}", after.text);
    // Clamps are ticked off once their time has come.
    let body = json!({"id": "g1", "job": "bridge-job", "step": "close", "zone": "bench", "clamps": ["cam-1", "cam-2"]});
    bench.post("/api/v1/glue-ups", body).await.good();
    planned(&bench).await;
    assert!(!page(&bench, "/plan").await.contains("/cures/g1/clamps-off"));
    bench.wait_minutes(180);
    bench.alarms().await;
    planned(&bench).await;
    assert!(page(&bench, "/plan").await.contains("/cures/g1/clamps-off"));
    let after = press(&bench, "/cures/g1/clamps-off", "from=plan&key=twice").await;
    assert!(after.text.contains("<h1>Plan</h1>") && !after.text.contains("Clamps off: close"), "{}", after.text);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn days_are_named_where_an_hour_alone_could_be_another() {
    let bench = bench(|_| {}).await;
    let long = json!({"id": "refret", "kind": "hands_on", "title": "refret",
                      "work": {"hands_on_min": 500, "may_split": true}});
    open(&bench, "neck", Some("2026-02-26T17:00:00Z"), json!([long])).await;
    // Nine hours less twenty minutes on Monday, the rest on Tuesday; it was due on the Thursday before.
    let shown = page(&bench, "/plan").await;
    assert!(shown.contains("09:00–Tue 09:20") && shown.contains("due Thu 26 Feb 17:00"), "{shown}");
    // Before noon, after it, and on Tuesday.
    assert_eq!(shown.matches("<rect class=\"work\"").count(), 3, "{shown}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_job_that_cannot_be_planned_stands_in_the_week_all_the_same() {
    let bench = bench(|_| {}).await;
    open(&bench, "impossible", None, json!([step("carve", "hands_on", 300)])).await;
    let shown = page(&bench, "/plan").await;
    assert!(shown.contains("aria-label=\"impossible: nothing this week; not all of it can be planned\""), "{shown}");
    // One of which only a coat is still curing has nothing to be done.
    open(&bench, "polish", None, json!([coat("last", 20)])).await;
    let body =
        json!({"id": "c1", "job": "polish", "step": "last", "instrument": "guitar", "surface": "top", "zone": "bench"});
    bench.post("/api/v1/coats", body).await.good();
    planned(&bench).await;
    let shown = page(&bench, "/plan").await;
    assert!(!shown.contains("aria-label=\"polish:"), "{shown}");
    bench.stop().await;
}

/// A plan asks for what nobody ticked; that something lies in its clamps already is said beside it.
#[tokio::test(flavor = "multi_thread")]
async fn work_that_was_overtaken_is_asked_for_and_doubted() {
    let bench = bench(|_| {}).await;
    open(&bench, "bridge-job", None, json!([step("plane", "hands_on", 30), glue("close", 20, 1)])).await;
    let body = json!({"id": "g1", "job": "bridge-job", "step": "close", "zone": "bench", "clamps": ["cam-1"]});
    bench.post("/api/v1/glue-ups", body).await.good();
    let plan = planned(&bench).await;
    piece(&plan, "bridge-job", "plane", "step");
    let assumed = plan["assumed"].to_string();
    assert!(assumed.contains("plane") && assumed.contains("tick it if it is done"), "{assumed}");
    bench.post("/api/v1/jobs/bridge-job/steps/plane/done", json!({})).await.good();
    assert!(!planned(&bench).await["assumed"].to_string().contains("tick it"));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_coat_of_the_plan_leads_to_its_form_and_is_off_the_plan_when_it_is_laid() {
    let bench = bench(|_| {}).await;
    let coat = json!({"id": "first", "kind": "coat", "title": "First coat", "material": "shellac"});
    open(&bench, "polish", None, json!([coat])).await;
    planned(&bench).await;
    let shown = page(&bench, "/plan").await;
    assert!(shown.contains("href=\"/coat?step=polish+first\""), "{shown}");
    let form = page(&bench, "/coat?step=polish+first").await;
    assert!(form.contains("polish: First coat") && form.contains("name=\"step\" value=\"polish first\""), "{form}");
    let laid = "key=c&step=polish+first&instrument=guitar&surface=top&zone=bench&started=0";
    assert_eq!(press(&bench, "/coat", laid).await.status, 200);
    planned(&bench).await;
    let shown = page(&bench, "/plan").await;
    assert!(!shown.contains("/coat?step=polish+first"), "{shown}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_bench_has_a_page_and_what_cannot_be_stands_on_it() {
    let bench = bench(|_| {}).await;
    assert!(page(&bench, "/plan").await.contains("Nothing is planned for today."));
    open(&bench, "giant", None, json!([step("long", "hands_on", 600)])).await;
    planned(&bench).await;
    let shown = page(&bench, "/plan").await;
    assert!(shown.contains("Cannot be kept") && shown.contains("finds no place in the shop&#39;s hours"), "{shown}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_form_asks_what_a_job_would_do_and_says_what_is_wrong_with_it() {
    let bench = bench(|settings| {
        settings.shop.procedures = bench::root().join("config/procedures");
    })
    .await;
    let shown = page(&bench, "/plan?job=procedure:frets&by=2026-03-06").await;
    assert!(shown.contains("In time with a chance of") && shown.contains("done by"), "{shown}");
    assert!(shown.contains("No other job would be done later."), "{shown}");
    // The answer stands where it was asked, far down on a phone; and it says in how many samples the chances are counted.
    assert!(shown.contains("action=\"/plan#ask\"") && shown.contains(" samples. The bench is planned anew"), "{shown}");
    // What was answered is not worked out again whenever something happens at the bench.
    assert!(!shown.contains("follow.js"), "{shown}");
    let shown = page(&bench, "/plan?job=procedure:frets&by=friday").await;
    assert!(shown.contains("role=\"alert\"") && shown.contains("is no day"), "{shown}");
    let shown = page(&bench, "/plan?job=procedure:gilding&by=").await;
    assert!(shown.contains("role=\"alert\""), "{shown}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_digest_tells_the_day_as_it_is_planned() {
    let bench = bench(|_| {}).await;
    open(&bench, "bridge-job", None, json!([step("clean", "hands_on", 30), step("level", "hands_on", 30)])).await;
    open(&bench, "giant", None, json!([step("long", "hands_on", 600)])).await;
    bench.recurring("digest").await;
    let told = bench.alert("digest-2026-03-02").await["body"].as_str().unwrap().to_string();
    for line in [
        "planned 09:00, clean (bridge-job): as the shop opens",
        "planned 09:30, level (bridge-job)",
        "look out: \"long\" of \"giant\"",
    ] {
        assert!(told.contains(line), "no {line}: {told}");
    }
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_window_is_said_once_on_the_page() {
    let bench = bench(|_| {}).await;
    let mut close = glue("close", 20, 1);
    close["work"]["max_wait_before_min"] = json!(60);
    open(&bench, "faces", None, json!([step("plane", "hands_on", 30), close])).await;
    let plan = planned(&bench).await;
    assert!(reasons(piece(&plan, "faces", "close", "step")).contains(&"window_closes"));
    let shown = page(&bench, "/plan").await;
    assert!(shown.contains("start before 10:30") && !shown.contains("window closes"), "{shown}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_wait_is_over_by_itself_and_nobody_is_told_to_do_it() {
    let bench = bench(|_| {}).await;
    let rest = json!({"id": "rest", "kind": "wait", "title": "Let it rest"});
    open(&bench, "rests", None, json!([step("look", "check", 10), rest])).await;
    bench.recurring("digest").await;
    let told = bench.alert("digest-2026-03-02").await["body"].as_str().unwrap().to_string();
    assert!(told.contains("planned 09:00, look") && !told.contains("Let it rest"), "{told}");
    let path = bench.items("/api/v1/calendars").await[0]["path"].as_str().unwrap().to_string();
    let feed = bench.get(&path).await.text;
    assert!(feed.contains("UID:rests.look.planned@") && !feed.contains("UID:rests.rest.planned@"), "{feed}");
    // On the page it stands as what it is.
    let shown = page(&bench, "/plan").await;
    assert!(shown.contains(">until 09:10<") && shown.contains("Let it rest"), "{shown}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_calendar_follows_the_plan_under_the_same_names() {
    let bench = bench(|settings| settings.plan.freeze_hours = 0).await;
    open(&bench, "bridge-job", None, json!([step("clean", "hands_on", 30)])).await;
    planned(&bench).await;
    let path = bench.items("/api/v1/calendars").await[0]["path"].as_str().unwrap().to_string();
    let feed = async || {
        // Unfolded (RFC 5545, 3.1).
        bench.get(&path).await.text.replace("\r\n ", "")
    };
    let event = |text: &str| {
        let of_it = text.split("BEGIN:VEVENT").find(|event| event.contains("UID:bridge-job.clean.planned@")).unwrap();
        of_it.to_string()
    };
    let first = event(&feed().await);
    assert!(first.contains("DTSTART:20260302T090000Z") && first.contains("DTEND:20260302T093000Z"), "{first}");
    assert!(first.contains("SUMMARY:Planned: clean (bridge-job)") && !first.contains("VALARM"), "{first}");
    // Two hours gone and nothing done: the event moves, and its name stays.
    bench.wait_minutes(120);
    planned(&bench).await;
    let moved = event(&feed().await);
    assert!(moved.contains("DTSTART:20260302T100000Z"), "{moved}");
    let sequence = |event: &str| {
        event.lines().find_map(|line| line.strip_prefix("SEQUENCE:")?.trim().parse::<i64>().ok()).unwrap()
    };
    assert!(sequence(&moved) > sequence(&first));
    bench.stop().await;
}
