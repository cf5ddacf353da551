//! What is said when something cannot be: windows that are missed, work that fits nowhere, and input that cannot be.

use super::*;

fn cannot<'a>(plan: &'a Value, kind: &str) -> &'a Value {
    let all = plan["cannot"].as_array().unwrap();
    all.iter().find(|one| one["kind"] == kind).unwrap_or_else(|| panic!("no {kind} in {all:#?}"))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_window_that_closed_is_named_with_what_it_misses_and_the_rest_is_planned() {
    let bench = bench(|_| {}).await;
    open(&bench, "finish", None, json!([step("prepare", "hands_on", 30), glue("close", 20, 1)])).await;
    let faces = json!([{"id": "plane", "kind": "hands_on", "title": "plane the faces", "work": {"hands_on_min": 30}},
                       {"id": "close", "kind": "glue_up", "title": "close it", "joint": "bridge", "material": "aliphatic-resin",
                        "work": {"hands_on_min": 20, "max_wait_before_min": 60}}]);
    open(&bench, "faces", None, faces).await;
    // Planed at eight; by ten the hour is over.
    bench.post("/api/v1/jobs/faces/steps/plane/done", json!({})).await.good();
    bench.wait_minutes(120);
    let plan = planned(&bench).await;
    let missed = cannot(&plan, "window");
    assert_eq!(
        (&missed["job"], &missed["step"], &missed["after"]),
        (&json!("faces"), &json!("close"), &json!("plane the faces"))
    );
    assert_eq!(missed["by_min"], 60);
    for word in ["says", "mend"] {
        assert!(!missed[word].as_str().unwrap().is_empty());
    }
    // It is still planned, and so is the other job.
    assert!(start_ms(piece(&plan, "faces", "close", "step")) >= bench.now.ms());
    piece(&plan, "finish", "close", "step");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_window_no_shift_can_keep_is_named_the_right_way_round_and_the_job_is_planned_without_it() {
    let bench = bench(|_| {}).await;
    // Four hours in one go fill a shift from its beginning; within half an hour before that the shop is closed.
    let long = json!({"id": "carve", "kind": "hands_on", "title": "carve",
                      "work": {"hands_on_min": 240, "max_wait_before_min": 30}});
    open(&bench, "neck", None, json!([glue("close", 10, 2), long, step("end", "hands_on", 20)])).await;
    let plan = planned(&bench).await;
    let missed = cannot(&plan, "window");
    assert_eq!((&missed["step"], &missed["after"]), (&json!("carve"), &json!("Clamps off: close")), "{missed}");
    let off = piece(&plan, "neck", "close", "clamps_off");
    let (carve, end) = (piece(&plan, "neck", "carve", "step"), piece(&plan, "neck", "end", "step"));
    assert!(start_ms(off) < start_ms(carve) && start_ms(carve) < start_ms(end), "{plan:#}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_window_that_was_only_pushed_on_the_way_and_is_kept_is_not_said_to_be_missed() {
    let bench = bench(|_| {}).await;
    let within = |id: &str, minutes: u32, most: u32| json!({"id": id, "kind": "hands_on", "title": id, "work": {"hands_on_min": minutes, "max_wait_before_min": most}});
    // It is 17:00: planed now, the faces would not be cleaned in time tomorrow; no shift lets carving follow the cleaning.
    bench.wait_minutes(540);
    open(
        &bench,
        "neck",
        None,
        json!([step("plane", "hands_on", 30), within("clean", 20, 880), within("carve", 240, 30)]),
    )
    .await;
    let plan = planned(&bench).await;
    assert_eq!(plan["cannot"].as_array().unwrap().len(), 1, "{:#}", plan["cannot"]);
    let missed = cannot(&plan, "window");
    assert_eq!((&missed["step"], &missed["after"], &missed["by_min"]), (&json!("carve"), &json!("clean"), &json!(30)));
    let (plane, clean) = (piece(&plan, "neck", "plane", "step"), piece(&plan, "neck", "clean", "step"));
    assert!(start_ms(clean) - end_ms(plane) <= 880 * MINUTE_MS, "{plan:#}");
    assert!(clean["window_closes_at"].is_string(), "{clean:#}");
    bench.stop().await;
}

/// Years nobody lives to see are dates like any other.
#[tokio::test(flavor = "multi_thread")]
async fn a_date_in_another_age_stops_nobodys_plan() {
    let bench = bench(|_| {}).await;
    for (id, due) in [("never", "9999-12-31T00:00:00Z"), ("long-ago", "0001-01-01T00:00:00Z")] {
        open(&bench, id, Some(due), json!([step("clean", "hands_on", 30)])).await;
    }
    let plan = planned(&bench).await;
    assert!(start_ms(piece(&plan, "long-ago", "clean", "step")) < start_ms(piece(&plan, "never", "clean", "step")));
    let job = json!({"title": "another", "instrument": "guitar", "steps": [step("work", "hands_on", 30)]});
    let answer = bench.post("/api/v1/plan", json!({"job": job, "due_at": "9999-12-31T00:00:00Z"})).await.good();
    assert_eq!(answer["chance_by_due"], 1.0);
    page(&bench, "/plan").await;
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_window_that_can_be_kept_is_kept() {
    let bench = bench(|_| {}).await;
    let faces = json!([step("plane", "hands_on", 30),
                       {"id": "close", "kind": "glue_up", "title": "close it", "joint": "bridge", "material": "aliphatic-resin",
                        "work": {"hands_on_min": 20, "max_wait_before_min": 45}}]);
    // Another job wants to come between.
    open(&bench, "faces", None, faces).await;
    open(&bench, "urgent", Some("2026-03-02T10:00:00Z"), json!([step("work", "hands_on", 60)])).await;
    let plan = planned(&bench).await;
    assert_eq!(plan["cannot"], json!([]));
    let (plane, close) = (piece(&plan, "faces", "plane", "step"), piece(&plan, "faces", "close", "step"));
    assert!(start_ms(close) - end_ms(plane) <= 45 * MINUTE_MS);
    assert_eq!(piece(&plan, "urgent", "work", "step")["start_at"], "2026-03-02T09:00:00+00:00");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_window_after_a_glue_up_opens_when_its_clamps_are_off() {
    let bench = bench(|_| {}).await;
    let mut next = glue("next", 20, 1);
    next["work"]["max_wait_before_min"] = json!(90);
    open(&bench, "j", None, json!([glue("close", 20, 1), next])).await;
    bench.wait_minutes(60);
    let body = json!({"id": "g1", "job": "j", "step": "close", "zone": "bench", "clamps": ["cam-1"]});
    bench.post("/api/v1/glue-ups", body).await.good();
    // A hundred minutes in the clamps, which have just come off.
    bench.wait_minutes(100);
    bench.alarms().await;
    bench.post("/api/v1/glue-ups/g1/clamps-off", json!({})).await.good();
    let plan = planned(&bench).await;
    assert_eq!(plan["cannot"], json!([]));
    let next = piece(&plan, "j", "next", "step");
    assert_eq!(ms(next["window_closes_at"].as_str().unwrap()), bench.now.ms() + 90 * MINUTE_MS);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn work_that_fits_nowhere_is_said_and_the_other_jobs_keep_their_plan() {
    let bench = bench(|_| {}).await;
    open(&bench, "giant", None, json!([step("long", "hands_on", 600)])).await;
    open(&bench, "wide", None, json!([glue("close", 20, 9)])).await;
    open(&bench, "usual", None, json!([step("work", "hands_on", 60)])).await;
    let plan = planned(&bench).await;
    assert_eq!(cannot(&plan, "hours")["job"], "giant");
    let wide = cannot(&plan, "capacity");
    assert_eq!(wide["job"], "wide");
    assert!(wide["says"].as_str().unwrap().contains("more clamps than the shop has"), "{wide}");
    assert_eq!(piece(&plan, "usual", "work", "step")["start_at"], "2026-03-02T09:00:00+00:00");
    // Split over the shifts it fits.
    let split =
        json!([{"id": "long", "kind": "hands_on", "title": "long", "work": {"hands_on_min": 600, "may_split": true}}]);
    open(&bench, "giant-split", None, split).await;
    let plan = planned(&bench).await;
    assert!(end_ms(piece(&plan, "giant-split", "long", "step")) >= ms("2026-03-03T10:00:00Z"));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_waits_for_an_air_that_never_comes_is_said() {
    let bench = bench(|_| {}).await;
    bench.post("/api/v1/zones", json!({"id": "shed", "name": "Shed", "set_temp_c": 3, "set_rh_pct": 80})).await.good();
    let cold = json!([{"id": "close", "kind": "glue_up", "title": "close", "joint": "bridge", "material": "aliphatic-resin",
                       "work": {"zone": "shed", "clamps": 1}}, step("level", "hands_on", 15)]);
    open(&bench, "cold", None, cold).await;
    let plan = planned(&bench).await;
    let never = cannot(&plan, "never");
    assert_eq!(never["job"], "cold");
    assert!(never["says"].as_str().unwrap().contains("clamp off"), "{never}");
    // Nobody is told to glue there, and nothing is planned after it.
    assert_eq!(plan["steps"], json!([]), "{plan:#}");
    // Glued all the same: its clamp is gone for as long as it lies there.
    let cold = json!({"id": "g1", "job": "cold", "step": "close", "zone": "shed", "clamps": ["cam-1"]});
    bench.post("/api/v1/glue-ups", cold).await.good();
    open(&bench, "warm", None, json!([glue("close", 20, 3)])).await;
    let plan = planned(&bench).await;
    assert_eq!(cannot(&plan, "capacity")["job"], "warm");
    assert_eq!(cannot(&plan, "never")["job"], "cold");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_asked_is_a_problem_that_says_why() {
    let bench = bench(|_| {}).await;
    let with = |work: Value| {
        json!({"id": "j", "title": "j", "instrument": "guitar",
                                    "steps": [{"id": "s", "kind": "hands_on", "title": "s", "work": work}]})
    };
    for (work, field) in [
        (json!({"hands_on_min": 20_000}), "work.hands_on_min"),
        (json!({"people": 0}), "work.people"),
        (json!({"clamps": 1000}), "work.clamps"),
        (json!({"max_wait_before_min": 0}), "work.max_wait_before_min"),
        (json!({"minutes": 20}), "steps[0].work.minutes"),
    ] {
        let problem = bench.post("/api/v1/jobs", with(work)).await.problem(422, "invalid");
        assert_eq!(problem["field"], field, "{problem}");
    }
    bench.post("/api/v1/jobs", with(json!({"zone": "attic"}))).await.problem(422, "unknown-reference");
    let heavy = json!({"id": "j", "title": "j", "instrument": "guitar", "weight": 0});
    bench.post("/api/v1/jobs", heavy).await.problem(422, "invalid");
    let plan = "/api/v1/plan";
    for (body, slug) in [
        (json!({"due_at": "2026-03-06T18:00:00Z"}), "invalid"),
        (json!({"job": {}}), "invalid"),
        (json!({"job": {"steps": [step("s", "hands_on", 30), step("s", "hands_on", 30)]}}), "conflict"),
        (json!({"job": {"schedule": "gilding"}}), "unknown-reference"),
        (json!({"job": {"steps": [step("s", "hands_on", 30)], "instrument": "harp"}}), "unknown-reference"),
        (json!({"job": {"steps": [step("s", "hands_on", 30)], "weight": 1000}}), "invalid"),
        (json!({"job": {"steps": [step("s", "hands_on", 30)], "by": "friday"}}), "invalid"),
    ] {
        let status = if slug == "conflict" { 409 } else { 422 };
        bench.post(plan, body).await.problem(status, slug);
    }
    bench.stop().await;
}
