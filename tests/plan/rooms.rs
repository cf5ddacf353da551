//! Places that hold only so much: what lies in them is counted, whoever put it there.

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
