//! The main job: a glue-up or coat is registered, cures in the air there is, and the shop is told what to do next.

use bench::{BEGIN, Bench, ms};
use serde_json::{Value, json};

use super::{at_ms, each};

const MINUTE_MS: i64 = 60_000;

/// The job of the walk: clean, glue the bridge, string up.
async fn open_job(bench: &Bench) {
    let job = json!({"id": "bridge", "instrument": "guitar", "title": "Re-glue the bridge", "steps": [
        {"id": "clean", "kind": "hands_on", "title": "Clean both faces"},
        {"id": "glue", "kind": "glue_up", "title": "Glue the bridge", "joint": "bridge", "material": "aliphatic-resin"},
        {"id": "string", "kind": "check", "title": "String up and check the action"}]});
    bench.post("/api/v1/jobs", job).await.good();
}

async fn step_states(bench: &Bench) -> Vec<String> {
    let job = bench.get("/api/v1/jobs/bridge").await.good();
    job["steps"].as_array().unwrap().iter().map(|step| step["state"].as_str().unwrap().into()).collect()
}

#[tokio::test]
async fn a_glue_up_is_followed_from_the_bottle_to_the_next_step() {
    let bench = Bench::start().await;
    bench.furnish().await;
    open_job(&bench).await;
    let lot = json!({"id": "bottle", "material": "aliphatic-resin", "opened_at": "2026-02-20T08:00:00Z"});
    bench.post("/api/v1/lots", lot).await.good();
    assert_eq!(step_states(&bench).await, ["ready", "waiting", "waiting"]);
    bench.post("/api/v1/jobs/bridge/steps/clean/done", json!({})).await.good();

    let body = json!({"id": "g-1", "job": "bridge", "step": "glue", "zone": "bench", "lot": "bottle",
                      "clamps": ["cam-1", "cam-2"]});
    let begun = bench.post("/api/v1/glue-ups", body).await;
    assert_eq!(begun.status, 201);
    let begun = begun.good();
    assert_eq!((&begun["joint"]["id"], &begun["material"]["id"]), (&json!("bridge"), &json!("aliphatic-resin")));
    assert!(begun["cautions"].as_array().is_some_and(|cautions| !cautions.is_empty()), "{begun}");
    assert_eq!(step_states(&bench).await, ["done", "curing", "waiting"]);

    // In the air its hours hold for, clamps come off after 0.75 h x 1.34, the safe end of the spread.
    assert_eq!(bench.live_minutes("bench", 65, 20.0, 50.0).await, 2);
    let told = bench.alert("g-1:clamp_off").await;
    assert_eq!(told["title"], "Clamps can come off: bridge of the guitar");
    let body = told["body"].as_str().unwrap();
    for part in ["cam-1, cam-2", "Take the clamps off", "Next step of the job: String up and check", "An estimate"] {
        assert!(body.contains(part), "no {part} in: {body}");
    }
    let safe_ms = ms(BEGIN) + (1.005 * 3_600_000.0) as i64;
    assert!((at_ms(&told["due_at"]) - safe_ms).abs() <= 1000, "{told}");
    let board = bench.board().await;
    assert_eq!(board["cures"][0]["take_off"], json!(["cam-1", "cam-2"]));
    assert_eq!(board["cures"][0]["climate"]["state"], "recorded");

    let off = bench.post("/api/v1/glue-ups/g-1/clamps-off", json!({})).await.good();
    assert_eq!((&off["clamps_on"], &off["next_step"]), (&json!([]), &json!("String up and check the action")));
    assert_eq!(step_states(&bench).await, ["done", "done", "ready"]);
    let board = bench.board().await;
    assert_eq!(board["next_steps"][0]["step"], "string");
    assert_eq!(board["clamps_free"], json!(["cam-1", "cam-2", "cam-3"]));
    bench.post("/api/v1/jobs/bridge/close", json!({})).await.good();
    assert_eq!(bench.get("/api/v1/jobs/bridge").await.good()["state"], "closed");
    bench.stop().await;
}

#[tokio::test]
async fn what_is_left_out_is_taken_from_the_step_and_then_from_the_joint() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let joint = json!({"id": "wide", "instrument": "guitar", "name": "wide", "gap_um": 500, "porosity": "sealed"});
    bench.post("/api/v1/joints", joint).await.good();
    open_job(&bench).await;
    // Likely clamp time, hours: 0.75 for a good fit, x 4 at 500 µm, x 6 when sealed.
    let check = async |given: Value, joint: &str, likely_h: f64| {
        let mut body = json!({"zone": "bench"});
        body.as_object_mut().unwrap().extend(given.as_object().unwrap().clone());
        let begun = bench.post("/api/v1/glue-ups", body).await.good();
        let clamp_off = &begun["milestones"].as_array().unwrap()[1];
        assert_eq!((&begun["joint"]["id"], &clamp_off["stage"]), (&json!(joint), &json!("clamp_off")), "{given}");
        let got_h = clamp_off["target_ages_h"][1].as_f64().unwrap();
        assert!((got_h - likely_h).abs() < 1e-9, "{given}: {got_h}");
    };
    check(json!({"job": "bridge", "step": "glue"}), "bridge", 0.75).await;
    check(json!({"job": "bridge", "step": "glue", "joint": "wide"}), "wide", 18.0).await;
    check(json!({"joint": "wide", "material": "aliphatic-resin"}), "wide", 18.0).await;
    check(json!({"joint": "wide", "material": "aliphatic-resin", "gap_um": 100}), "wide", 4.5).await;
    check(json!({"joint": "wide", "material": "aliphatic-resin", "porosity": "normal"}), "wide", 3.0).await;
    bench.stop().await;
}

#[tokio::test]
async fn a_glue_up_told_after_the_fact_has_the_times_it_would_have_had() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.read_air("bench", 20.0, 50.0).await;
    bench.glue_up("then").await;
    bench.live_minutes("bench", 20, 20.0, 50.0).await;
    let then = bench.items("/api/v1/glue-ups/then/milestones").await;
    for (id, when) in [("ago", json!({"minutes_ago": 20})), ("at", json!({"started_at": BEGIN}))] {
        let mut body = json!({"id": id, "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
        body.as_object_mut().unwrap().extend(when.as_object().unwrap().clone());
        assert_eq!(at_ms(&bench.post("/api/v1/glue-ups", body).await.good()["started_at"]), ms(BEGIN));
        assert_eq!(bench.items(&format!("/api/v1/glue-ups/{id}/milestones")).await, then, "{id}");
    }
    bench.stop().await;
}

#[tokio::test]
async fn a_coat_tells_its_stages_and_a_thicker_one_takes_longer() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let steps = json!([{"id": "first", "kind": "coat", "title": "First coat", "material": "shellac"},
                       {"id": "level", "kind": "hands_on", "title": "Level it"}]);
    let job = json!({"id": "polish", "instrument": "guitar", "title": "Polish the top", "steps": steps});
    bench.post("/api/v1/jobs", job).await.good();
    let coat = json!({"id": "c-1", "job": "polish", "step": "first", "surface": "top", "zone": "bench", "film_um": 50});
    let begun = bench.post("/api/v1/coats", coat).await.good();
    assert_eq!((&begun["kind"], &begun["instrument"]["id"]), (&json!("coat"), &json!("guitar")));
    let thick = json!({"id": "c-2", "instrument": "guitar", "surface": "back", "zone": "bench", "material": "shellac",
                       "film_um": 100});
    bench.post("/api/v1/coats", thick).await.good();
    let stages = bench.items("/api/v1/coats/c-1/milestones").await;
    assert!(each(&stages, "stage").starts_with(&["set_to_touch", "dust_free", "tack_free", "dry_to_touch"]));
    assert_eq!(each(&bench.items("/api/v1/coats").await, "id"), ["c-1", "c-2"]);
    assert!(bench.items("/api/v1/glue-ups").await.is_empty());
    let (thin, thick) = (bench.milestone("c-1", "recoat_opens").await, bench.milestone("c-2", "recoat_opens").await);
    assert!(at_ms(&thick["safe_at"]) > at_ms(&thin["safe_at"]), "{thin} {thick}");
    // 1.5 h x 1.6 is the safe end; the film of the second coat is timed by its thickness to the power 1.5.
    assert!(bench.live_minutes("bench", 150, 20.0, 50.0).await >= 4);
    let told = bench.alert("c-1:recoat_opens").await;
    assert_eq!(told["title"], "Ready, recoat opens: top of the guitar");
    assert!(told["body"].as_str().unwrap().contains("Next step of the job: Level it"), "{told}");
    bench.stop().await;
}

#[tokio::test]
async fn a_glue_up_carried_to_a_warm_box_is_ready_sooner_and_says_where_it_is() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let warm = json!({"id": "warm-box", "name": "Warm box", "set_temp_c": 35, "set_rh_pct": 40});
    bench.post("/api/v1/zones", warm).await.good();
    bench.glue_up("stays").await;
    let carried = json!({"id": "carried", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
    bench.post("/api/v1/glue-ups", carried).await.good();
    let same = bench.milestone("carried", "clamp_off").await["likely_at"].clone();
    assert_eq!(same, bench.milestone("stays", "clamp_off").await["likely_at"]);
    bench.live_minutes("bench", 10, 20.0, 50.0).await;
    let moved = bench.post("/api/v1/glue-ups/carried/move", json!({"zone": "warm-box"})).await.good();
    assert_eq!(moved["zone"], "warm-box");
    assert_eq!(moved["climate"]["state"], "assumed");
    let stays = bench.milestone("stays", "clamp_off").await;
    let carried = bench.milestone("carried", "clamp_off").await;
    assert!(at_ms(&carried["likely_at"]) < at_ms(&stays["likely_at"]), "{carried} {stays}");
    // What it aged on the bench is kept: it cannot be ready before ten minutes of the bench have passed.
    assert!(at_ms(&carried["earliest_at"]) > ms(BEGIN) + 10 * MINUTE_MS, "{carried}");
    bench.stop().await;
}

#[tokio::test]
async fn a_withdrawn_glue_up_frees_its_clamps_and_tells_nothing_more() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    let gone = bench.post("/api/v1/glue-ups/g-1/withdraw", json!({"reason": "starved joint"})).await.good();
    assert_eq!((&gone["state"], &gone["withdrawn"]), (&json!("withdrawn"), &json!("starved joint")));
    assert_eq!(bench.live_minutes("bench", 90, 20.0, 50.0).await, 0);
    let board = bench.board().await;
    assert_eq!((&board["cures"], &board["clamps_free"]), (&json!([]), &json!(["cam-1", "cam-2", "cam-3"])));
    bench.glue_up("g-2").await;
    bench.post("/api/v1/glue-ups/g-1/withdraw", json!({"reason": "again"})).await.problem(409, "conflict");
    bench.stop().await;
}

#[tokio::test]
async fn the_inventory_says_where_each_clamp_is_and_when_it_is_free() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    let safe_at = bench.milestone("g-1", "clamp_off").await["safe_at"].clone();
    let clamps = bench.items("/api/v1/clamps").await;
    assert_eq!((&clamps[0]["on"], &clamps[0]["free_at"]), (&json!("g-1"), &safe_at));
    assert_eq!((&clamps[2]["id"], &clamps[2]["on"]), (&json!("cam-3"), &json!(null)));
    bench.wait_minutes(20);
    let some = json!({"clamps": ["cam-1"], "minutes_ago": 5});
    let left = bench.post("/api/v1/glue-ups/g-1/clamps-off", some).await.good();
    assert_eq!(left["clamps_on"], json!(["cam-2"]));
    assert_eq!(bench.get("/api/v1/clamps/cam-1").await.good()["on"], json!(null));
    assert_eq!(bench.get("/api/v1/clamps/cam-2").await.good()["on"], "g-1");
    bench.stop().await;
}

#[tokio::test]
async fn a_bottle_past_its_time_is_pointed_out_at_the_glue_up() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let check = async |id: &str, lot: Value, said: Option<&str>| {
        let mut body = json!({"id": id, "material": "aliphatic-resin"});
        body.as_object_mut().unwrap().extend(lot.as_object().unwrap().clone());
        bench.post("/api/v1/lots", body).await.good();
        let glue_up = json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "lot": id});
        let findings = bench.post("/api/v1/glue-ups", glue_up).await.good()["findings"].clone();
        let what = findings[0]["what"].as_str();
        assert_eq!(what.map(|what| said.is_some_and(|said| what.contains(said))), said.map(|_| true), "{findings}");
    };
    check("fresh", json!({"opened_at": "2026-02-01T08:00:00Z"}), None).await;
    check("old", json!({"opened_at": "2024-02-01T08:00:00Z"}), Some("has been open for 760 days")).await;
    check("dated", json!({"best_before": "2026-01-31T00:00:00Z"}), Some("was good until 2026-01-31")).await;
    bench.stop().await;
}
