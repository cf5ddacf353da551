//! What there is only so much of: places, where what lies in them is counted, whoever put it there; and people.

use super::*;

/// A shop with a booth that holds one and a bench beside it, both of even air.
async fn with_booth() -> Bench {
    let place = r#"{"zone": "booth", "holds": 1}"#;
    let bench = bench(|settings| settings.plan.places = vec![serde_json::from_str(place).unwrap()]).await;
    let zone = json!({"id": "booth", "name": "Booth", "set_temp_c": 22, "set_rh_pct": 50});
    bench.post("/api/v1/zones", zone).await.good();
    bench
}

fn in_booth(step: Value) -> Value {
    let mut step = step;
    step["work"]["zone"] = json!("booth");
    json!([step])
}

#[tokio::test(flavor = "multi_thread")]
async fn a_joint_that_cures_in_the_box_keeps_its_room_until_its_clamps_are_off() {
    let bench = with_booth().await;
    for job in ["one", "two"] {
        open(&bench, job, None, in_booth(glue("close", 20, 1))).await;
    }
    bench.wait_minutes(60);
    let body = json!({"id": "g1", "job": "one", "step": "close", "zone": "booth", "clamps": ["cam-1"]});
    bench.post("/api/v1/glue-ups", body).await.good();
    let plan = planned(&bench).await;
    let (off, two) = (piece(&plan, "one", "close", "clamps_off"), piece(&plan, "two", "close", "step"));
    assert_eq!(start_ms(two), end_ms(off), "{plan:#}");
    assert!(two["why"].to_string().contains("waits for room in booth"), "{two:#}");
    // Carried out of it, it leaves room; its clamps come off where it is.
    let there = json!({"zone": "bench"});
    bench.post("/api/v1/glue-ups/g1/move", there).await.good();
    let plan = planned(&bench).await;
    assert_eq!(piece(&plan, "one", "close", "clamps_off")["zone"], "bench");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_lies_in_the_box_without_a_job_or_clamps_keeps_its_room_too() {
    let bench = with_booth().await;
    bench.wait_minutes(60);
    // Held by a weight.
    let body = json!({"id": "g1", "joint": "bridge", "material": "aliphatic-resin", "zone": "booth"});
    bench.post("/api/v1/glue-ups", body).await.good();
    open(&bench, "two", None, in_booth(glue("close", 20, 1))).await;
    let plan = planned(&bench).await;
    let lets_go_ms = ms(bench.milestone("g1", "clamp_off").await["safe_at"].as_str().unwrap());
    let two = start_ms(piece(&plan, "two", "close", "step"));
    assert!((0..2 * MINUTE_MS).contains(&(two - lets_go_ms)), "{plan:#}");
    // It asks nothing of anybody.
    assert_eq!(plan["jobs"].as_array().unwrap().len(), 1, "{plan:#}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_coat_counts_where_it_was_laid_and_not_where_it_was_planned() {
    let bench = with_booth().await;
    let coat =
        json!({"id": "coat", "kind": "coat", "title": "coat", "material": "shellac", "work": {"hands_on_min": 20}});
    open(&bench, "one", None, in_booth(coat.clone())).await;
    open(&bench, "two", None, in_booth(coat)).await;
    bench.wait_minutes(60);
    let laid =
        |zone: &str| json!({"id": format!("c-{zone}"), "job": "one", "step": "coat", "surface": "top", "zone": zone});
    bench.post("/api/v1/coats", laid("bench")).await.good();
    let plan = planned(&bench).await;
    assert_eq!(start_ms(piece(&plan, "two", "coat", "step")), bench.now.ms(), "the booth is free: {plan:#}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn joints_planned_for_the_box_take_turns_with_clamps_and_without() {
    for clamps in [0, 1] {
        let bench = with_booth().await;
        for job in ["one", "two"] {
            open(&bench, job, None, in_booth(glue("close", 20, clamps))).await;
        }
        let plan = planned(&bench).await;
        assert_eq!(plan["cannot"], json!([]));
        let starts = ["one", "two"].map(|job| start_ms(piece(&plan, job, "close", "step")));
        // The resin lets go after an hour at the soonest; hands alone would be free after twenty minutes.
        assert!((starts[0] - starts[1]).abs() > 60 * MINUTE_MS, "{clamps} clamps: {plan:#}");
        bench.stop().await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn two_that_lie_where_one_was_thought_to_have_room_take_no_plan_from_anybody() {
    let bench = with_booth().await;
    bench.wait_minutes(60);
    for (id, clamp) in [("g1", "cam-1"), ("g2", "cam-2")] {
        let body =
            json!({"id": id, "joint": "bridge", "material": "aliphatic-resin", "zone": "booth", "clamps": [clamp]});
        bench.post("/api/v1/glue-ups", body).await.good();
    }
    open(&bench, "three", None, in_booth(glue("close", 20, 1))).await;
    let plan = planned(&bench).await;
    assert_eq!(plan["cannot"], json!([]));
    let off = |cure: &str| end_ms(plan["steps"].as_array().unwrap().iter().find(|s| s["cure"] == cure).unwrap());
    assert!(start_ms(piece(&plan, "three", "close", "step")) >= off("g1").max(off("g2")), "{plan:#}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_joint_that_never_lets_go_keeps_its_room_and_that_is_said() {
    let place = r#"{"zone": "shed", "holds": 1}"#;
    let bench = bench(|settings| settings.plan.places = vec![serde_json::from_str(place).unwrap()]).await;
    bench.post("/api/v1/zones", json!({"id": "shed", "name": "Shed", "set_temp_c": 3, "set_rh_pct": 80})).await.good();
    let body = json!({"id": "g1", "joint": "bridge", "material": "aliphatic-resin", "zone": "shed"});
    bench.post("/api/v1/glue-ups", body).await.good();
    let mut fit = step("fit", "hands_on", 30);
    fit["work"]["zone"] = json!("shed");
    open(&bench, "there", None, json!([fit])).await;
    let cannot = planned(&bench).await["cannot"].to_string();
    for words in ["which the air expected there never brings", "takes more room in shed than the shop has"] {
        assert!(cannot.contains(words), "no {words}: {cannot}");
    }
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_nobody_has_listed_is_not_counted_and_that_is_said() {
    let place = r#"{"zone": "boooth", "holds": 1}"#;
    let mut shop = Shop::small();
    shop.settings.plan.places = vec![serde_json::from_str(place).unwrap()];
    let bench = Bench::open(shop, benchclock::Now::standing_at(ms(BEGIN)), false).await;
    bench
        .post("/api/v1/zones", json!({"id": "bench", "name": "Bench", "set_temp_c": 20, "set_rh_pct": 50}))
        .await
        .good();
    bench.post("/api/v1/instruments", json!({"id": "guitar", "name": "the guitar"})).await.good();
    let close = json!({"id": "close", "kind": "glue_up", "title": "close", "material": "aliphatic-resin", "work": {"clamps": 2}});
    open(&bench, "first", None, json!([close])).await;
    // A new shop has no list of its clamps yet: its plan is not taken from it.
    let plan = planned(&bench).await;
    assert_eq!(plan["cannot"], json!([]));
    piece(&plan, "first", "close", "step");
    let assumed = plan["assumed"].to_string();
    for words in ["no clamp is listed in the shop", "which is no zone: nothing is counted in it"] {
        assert!(assumed.contains(words), "no {words}: {assumed}");
    }
    // With one on the list they are counted.
    bench.post("/api/v1/clamps", json!({"id": "cam-1", "name": "cam-1"})).await.good();
    assert_eq!(planned(&bench).await["cannot"][0]["kind"], "capacity");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn work_for_two_waits_for_both_and_where_there_is_one_it_is_said() {
    for people in [1, 2] {
        let bench = bench(|settings| settings.plan.people = people).await;
        open(&bench, "alone", Some("2026-03-02T09:30:00Z"), json!([step("work", "hands_on", 60)])).await;
        let mut lift = step("lift", "hands_on", 30);
        lift["work"]["people"] = json!(2);
        open(&bench, "heavy", None, json!([lift])).await;
        let plan = planned(&bench).await;
        if people == 1 {
            let says = plan["cannot"][0]["says"].as_str().unwrap();
            assert!(says.contains("takes more hands than the shop has"), "{says}");
        } else {
            assert_eq!(start_ms(piece(&plan, "heavy", "lift", "step")), end_ms(piece(&plan, "alone", "work", "step")));
        }
        bench.stop().await;
    }
}
