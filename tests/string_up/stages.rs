//! Half tension, full pitch and a look a day after: each told once when it may be done, and taken back when it may not.

use bench::{BEGIN, Bench, Shop, ms};
use benchclock::Now;
use serde_json::{Value, json};

use super::http::{answer, glue_bridge, hours, strung_guitar};

async fn alerts(bench: &Bench) -> Vec<Value> {
    bench.recurring("string-up").await;
    let all = bench.items("/api/v1/alerts").await;
    all.into_iter().filter(|alert| alert["kind"] == "string_up").collect()
}

fn stages(alerts: &[Value], state: &str) -> Vec<String> {
    let mut of: Vec<String> =
        alerts.iter().filter(|a| a["state"] == state).map(|a| a["stage"].as_str().unwrap().into()).collect();
    of.sort();
    of
}

#[tokio::test]
async fn each_stage_is_told_once_in_its_turn() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let staged = json!({"family": "steel_string_guitar", "half_tension_h": 12});
    bench.post("/api/v1/instruments/guitar/strings", staged).await.good();
    bench.post("/api/v1/joints/bridge/load", json!({"path": "bridge_foot"})).await.good();
    glue_bridge(&bench).await;
    let up = answer(&bench).await;
    let due: Vec<f64> = up["stages"].as_array().unwrap().iter().map(|stage| hours(&stage["due_at"])).collect();
    assert_eq!(due, [48.0, 60.0, 84.0]);
    assert!(alerts(&bench).await.is_empty());
    for _ in 0..49 {
        bench.live_minutes("bench", 60, 20.0, 50.0).await;
    }
    for _ in 0..2 {
        let told = alerts(&bench).await;
        assert_eq!(stages(&told, "open"), ["half_tension"]);
        assert!(told[0]["body"].as_str().unwrap().contains("eye protection"), "{}", told[0]);
    }
    bench.post("/api/v1/instruments/guitar/string-stages", json!({"stage": "half_tension"})).await.good();
    for _ in 0..11 {
        bench.live_minutes("bench", 60, 20.0, 50.0).await;
        assert_eq!(alerts(&bench).await.len(), 1);
    }
    bench.live_minutes("bench", 65, 20.0, 50.0).await;
    assert_eq!(stages(&alerts(&bench).await, "open"), ["full_pitch", "half_tension"]);
    let up = bench.post("/api/v1/instruments/guitar/string-stages", json!({"stage": "full_pitch"})).await.good();
    assert_eq!(up["state"], "strung");
    assert_eq!(up["says"], "It is at pitch.");
    // Restarted, nothing is told twice and nothing is lost.
    let bench = bench.restart(false).await;
    assert_eq!(alerts(&bench).await.len(), 2);
    bench.wait_minutes(24 * 60 + 1);
    assert_eq!(stages(&alerts(&bench).await, "open"), ["full_pitch", "half_tension", "rechecked"]);
    bench.post("/api/v1/instruments/guitar/string-stages", json!({"stage": "rechecked"})).await.good();
    bench.wait_minutes(24 * 60);
    assert_eq!(alerts(&bench).await.len(), 3);
    bench.stop().await;
}

#[tokio::test]
async fn the_digest_names_the_stage_whose_time_comes_that_day() {
    let mut shop = Shop::small();
    shop.settings.shop.digest_at = "06:00".into();
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    let staged = json!({"family": "steel_string_guitar", "half_tension_h": 12});
    bench.post("/api/v1/instruments/guitar/strings", staged).await.good();
    bench.post("/api/v1/joints/bridge/load", json!({"path": "bridge_foot"})).await.good();
    glue_bridge(&bench).await;
    let digest = async |day: &str| {
        bench.recurring("digest").await;
        bench.alert(&format!("digest-{day}")).await["body"].as_str().unwrap().to_string()
    };
    let body = digest("2026-03-02").await;
    assert!(!body.contains("half tension"), "it is two days ahead: {body}");
    for _ in 0..46 {
        bench.live_minutes("bench", 60, 20.0, 50.0).await;
    }
    let due_at = answer(&bench).await["stages"][0]["due_at"].as_str().unwrap().to_string();
    assert!(due_at.starts_with("2026-03-04T"), "{due_at}");
    let body = digest("2026-03-04").await;
    assert!(body.contains(&format!("{}: half tension, ", &due_at[11..16])), "{due_at}: {body}");
    bench.stop().await;
}

#[tokio::test]
async fn a_stage_that_may_not_be_done_any_more_is_taken_back_and_told_again() {
    let bench = Bench::small().await;
    strung_guitar(&bench).await;
    assert_eq!(stages(&alerts(&bench).await, "open"), ["full_pitch"]);
    glue_bridge(&bench).await;
    let told = alerts(&bench).await;
    assert_eq!(stages(&told, "retracted"), ["full_pitch"]);
    assert_eq!(told.len(), 1);
    bench.wait_minutes(49 * 60);
    let told = alerts(&bench).await;
    assert_eq!(
        (stages(&told, "open"), stages(&told, "retracted")),
        (vec!["full_pitch".to_string()], vec!["full_pitch".to_string()])
    );
    // Strings said anew begin anew.
    bench
        .post("/api/v1/instruments/guitar/strings", json!({"family": "steel_string_guitar", "scale_mm": 630}))
        .await
        .good();
    assert_eq!(stages(&alerts(&bench).await, "open").len(), 2);
    bench.stop().await;
}

#[tokio::test]
async fn stages_come_in_order() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let to = "/api/v1/instruments/guitar/string-stages";
    let none = bench.post(to, json!({"stage": "full_pitch"})).await.problem(409, "conflict");
    assert!(none["mend"].as_str().unwrap().contains("/strings"), "{none}");
    bench.post("/api/v1/instruments/guitar/strings", json!({"family": "steel_string_guitar"})).await.good();
    bench.post(to, json!({"stage": "rechecked"})).await.problem(409, "conflict");
    bench.post(to, json!({"stage": "full_pitch", "minutes_ago": 60})).await.problem(409, "conflict");
    bench.post(to, json!({"stage": "full_pitch"})).await.good();
    bench.post(to, json!({"stage": "half_tension"})).await.problem(409, "conflict");
    bench.stop().await;
}

/// What happened is recorded; that it happened too soon is said, in the answer, its cautions and on the pages, until the
/// joint is ready.
#[tokio::test]
async fn pitch_before_a_joint_was_ready_is_recorded_and_said_until_it_is() {
    let bench = Bench::small().await;
    strung_guitar(&bench).await;
    glue_bridge(&bench).await;
    let to = "/api/v1/instruments/guitar/string-stages";
    let up = bench.post(to, json!({"stage": "full_pitch"})).await.good();
    assert_eq!(up["state"], "slack_off");
    let says = up["says"].as_str().unwrap();
    assert!(says.starts_with("It is at pitch before bridge was ready: slack it off. Joint, bridge:"), "{says}");
    assert_eq!(up["cautions"][0], up["says"]);
    assert!(bench.get("/").await.text.contains("at pitch too soon: slack it off"));
    for page in ["/instruments/guitar/strings", "/instruments/guitar/string-up-sheet"] {
        let page = bench.get(page).await.text;
        assert!(page.contains("class=\"wrong\"><strong>It is at pitch before bridge was ready"), "{page}");
    }
    for _ in 0..49 {
        bench.live_minutes("bench", 60, 20.0, 50.0).await;
    }
    let up = answer(&bench).await;
    assert_eq!((&up["state"], &up["says"]), (&json!("strung"), &json!("It is at pitch.")));
    bench.stop().await;
}

#[tokio::test]
async fn pitch_before_its_hold_was_over_is_said_until_it_would_have_been() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let staged = json!({"family": "steel_string_guitar", "half_tension_h": 12});
    bench.post("/api/v1/instruments/guitar/strings", staged).await.good();
    let to = "/api/v1/instruments/guitar/string-stages";
    let half = bench.post(to, json!({"stage": "half_tension"})).await.good();
    // Before that both times are said: when strings may go on, and when they may be brought to pitch.
    assert!(half["says"].as_str().unwrap().contains("after the hold at half tension"), "{half}");
    let up = bench.post(to, json!({"stage": "full_pitch"})).await.good();
    assert!(
        up["says"].as_str().unwrap().starts_with("It is at pitch before its hold at half tension was over"),
        "{up}"
    );
    bench.wait_minutes(12 * 60 + 1);
    assert_eq!(answer(&bench).await["says"], "It is at pitch.");
    bench.stop().await;
}
