//! "What if I take this job by Friday?"

use super::*;

async fn asked(bench: &Bench, minutes: u32, due_at: &str) -> Value {
    let job = json!({"title": "another", "instrument": "guitar", "steps": [step("work", "hands_on", minutes)]});
    bench.post("/api/v1/plan", json!({"job": job, "due_at": due_at})).await.good()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_small_job_is_safe_by_friday_and_a_big_one_is_not() {
    let bench = bench(|_| {}).await;
    open(
        &bench,
        "here",
        Some("2026-03-03T18:00:00Z"),
        json!([step("work", "hands_on", 240), step("more", "hands_on", 240)]),
    )
    .await;
    let before = planned(&bench).await;
    let small = asked(&bench, 60, "2026-03-06T18:00:00Z").await;
    assert_eq!(small["chance_by_due"], 1.0);
    assert!(ms(small["done_at"].as_str().unwrap()) <= ms("2026-03-03T18:00:00Z"));
    assert!(small["samples"].as_u64().unwrap() > 0 && !small["how"].as_str().unwrap().is_empty());
    // Four hours that begin on Tuesday morning at the soonest are not done that day at noon.
    let tight = asked(&bench, 200, "2026-03-02T12:00:00Z").await;
    assert!(tight["chance_by_due"].as_f64().unwrap() < 0.9, "{}", tight["chance_by_due"]);
    // Dates are the later the surer they are.
    let dates: Vec<i64> =
        tight["promise"].as_array().unwrap().iter().map(|p| ms(p["done_by"].as_str().unwrap())).collect();
    assert!(dates.is_sorted() && dates.len() == 3, "{dates:?}");
    // Nothing of it is kept.
    assert_eq!(bench.items("/api/v1/jobs").await.len(), 1);
    let after = bench.get("/api/v1/plan").await.good();
    assert_eq!(before["steps"], after["steps"]);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn who_would_be_done_later_is_named() {
    let bench = bench(|_| {}).await;
    open(
        &bench,
        "here",
        Some("2026-03-03T13:00:00Z"),
        json!([step("work", "hands_on", 200), step("more", "hands_on", 200)]),
    )
    .await;
    let job = json!({"title": "pressing", "weight": 100, "steps": [step("work", "hands_on", 230)]});
    let answer = bench.post("/api/v1/plan", json!({"job": job, "due_at": "2026-03-02T13:00:00Z"})).await.good();
    let later = answer["others_later"].as_array().unwrap();
    assert_eq!(later.len(), 1, "{answer:#}");
    assert_eq!(later[0]["job"], "here");
    assert!(later[0]["later_min"].as_i64().unwrap() > 60, "{later:?}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_finish_schedule_is_promised_with_its_cures_in_it() {
    let shop_schedule = bench::root().join("scripts/schedules/french-polish.toml");
    let bench = bench(|settings| {
        let folder = settings.scripts.folder.join("schedules");
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::copy(&shop_schedule, folder.join("french-polish.toml")).unwrap();
    })
    .await;
    bench.read_air("bench", 20.0, 50.0).await;
    let answer = bench.post("/api/v1/plan", json!({"job": {"schedule": "french-polish"}})).await.good();
    let done_ms = ms(answer["done_at"].as_str().unwrap());
    // Nine coats, a rest and rubbing out: never done on the day it comes in.
    assert!(done_ms > ms(BEGIN) + 24 * 60 * MINUTE_MS, "{}", answer["done_at"]);
    let dates: Vec<i64> =
        answer["promise"].as_array().unwrap().iter().map(|p| ms(p["done_by"].as_str().unwrap())).collect();
    // The plan waits for the safe time of each cure; half of the samples are done sooner, and the surest date is near.
    assert!(dates[0] <= done_ms && dates.is_sorted(), "{dates:?} and {done_ms}");
    assert_eq!(answer["chance_by_due"], Value::Null);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_planned_whole_is_promised_for_no_day() {
    let bench = bench(|_| {}).await;
    bench.post("/api/v1/zones", json!({"id": "shed", "name": "Shed", "set_temp_c": 3, "set_rh_pct": 80})).await.good();
    open(&bench, "here", None, json!([step("long", "hands_on", 600)])).await;
    let mut close = glue("close", 20, 1);
    close["work"]["zone"] = json!("shed");
    let steps = json!([step("prepare", "hands_on", 30), close, step("level", "hands_on", 15)]);
    let job = json!({"title": "cold", "instrument": "guitar", "steps": &steps});
    let answer = bench.post("/api/v1/plan", json!({"job": job, "due_at": "2026-03-06T18:00:00Z"})).await.good();
    // Its first half hour has a place; the joint would never let go in that air.
    assert_eq!((&answer["done_at"], &answer["chance_by_due"]), (&Value::Null, &Value::Null), "{answer:#}");
    assert!(answer["promise"].as_array().unwrap().iter().all(|one| one["done_by"].is_null()), "{answer:#}");
    // What stands against it is said; what stood against another job before is not its doing.
    let cannot = answer["cannot"].as_array().unwrap();
    assert_eq!(cannot.len(), 1, "{cannot:#?}");
    assert_eq!((&cannot[0]["kind"], &cannot[0]["title"]), (&json!("never"), &json!("close")));
    // The same of a job that is open.
    open(&bench, "cold", Some("2026-03-06T18:00:00Z"), steps).await;
    let plan = planned(&bench).await;
    let line = plan["jobs"].as_array().unwrap().iter().find(|line| line["job"] == "cold").unwrap();
    assert_eq!(line["done_at"], Value::Null, "{line}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn asked_without_a_day_nothing_is_late_and_what_cures_on_is_said() {
    let bench = bench(|_| {}).await;
    let answer =
        bench.post("/api/v1/plan", json!({"job": {"title": "varnish", "steps": [coat("one", 20)]}})).await.good();
    let plan = &answer["plan"];
    assert_eq!(plan["jobs"][0]["due_at"], Value::Null, "{plan:#}");
    assert!(!reasons(&plan["steps"][0]).contains(&"late"), "{plan:#}");
    // It is done when it is laid, and nobody can take it away then.
    let assumed = answer["assumed"].as_array().unwrap();
    assert!(
        assumed.iter().any(|line| line.as_str().unwrap().contains("\"one\" is the last work and cures on")),
        "{assumed:?}"
    );
    let rest = json!({"id": "rest", "kind": "wait", "title": "rest"});
    let job = json!({"title": "varnish", "steps": [coat("one", 20), rest]});
    let answer = bench.post("/api/v1/plan", json!({"job": job})).await.good();
    assert_eq!(answer["assumed"], json!([]));
    bench.stop().await;
}
