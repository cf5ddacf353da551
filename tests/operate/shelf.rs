//! The shelf: bottles keep as long as their class, cost their jobs what was taken, and tell what was thrown out.

use bench::Bench;
use serde_json::{Value, json};

const DAY_MINUTES: i64 = 24 * 60;

async fn lot(bench: &Bench, id: &str, ml: f64, cost: f64) {
    let body = json!({"id": id, "material": "aliphatic-resin", "content": {"ml": ml}, "cost": cost});
    bench.post("/api/v1/lots", body).await.good();
}

async fn stock(bench: &Bench) -> Value {
    bench.get("/api/v1/stock").await.good()
}

/// The line of the one material these tests buy.
async fn resin(bench: &Bench) -> Value {
    stock(bench).await["materials"][0].clone()
}

async fn line(bench: &Bench, id: &str) -> Value {
    let stock = stock(bench).await;
    let lots = stock["lots"].as_array().unwrap();
    lots.iter().find(|lot| lot["id"] == id).unwrap_or_else(|| panic!("no {id}: {stock}")).clone()
}

async fn take(bench: &Bench, id: &str, ml: f64) {
    bench.post(&format!("/api/v1/lots/{id}/use"), json!({"used": {"ml": ml}})).await.good();
}

async fn close(bench: &Bench, id: &str, body: Value) {
    bench.post(&format!("/api/v1/lots/{id}/close"), body).await.good();
}

#[tokio::test]
async fn an_opened_bottle_keeps_as_long_as_its_class_or_its_label_whichever_is_shorter() {
    let bench = Bench::small().await;
    bench.furnish().await;
    lot(&bench, "a", 250.0, 12.0).await;
    assert_eq!(line(&bench, "a").await["keeps_until"], Value::Null, "nobody opened it");
    bench.post("/api/v1/lots/a/open", json!({})).await.good();
    let sheet = bench.get("/api/v1/materials/aliphatic-resin").await.good();
    let days = sheet["storage_days"].as_f64().expect("the rule says how long it keeps opened");
    let opened = line(&bench, "a").await;
    let until = bench::ms(opened["keeps_until"].as_str().unwrap());
    assert_eq!(until - bench::ms(bench::BEGIN), (days * 86_400_000.0) as i64);
    // A label that ends sooner counts.
    let soon = json!({"id": "b", "material": "aliphatic-resin", "opened_at": bench::BEGIN, "best_before": "2026-03-20T00:00:00Z"});
    bench.post("/api/v1/lots", soon).await.good();
    assert_eq!(line(&bench, "b").await["keeps_until"], "2026-03-20T00:00:00+00:00");
    bench.wait_minutes(20 * DAY_MINUTES);
    assert_eq!(line(&bench, "b").await["state"], "stale");
    assert_eq!(line(&bench, "a").await["state"], "good");
    bench.post("/api/v1/lots/a/open", json!({})).await.problem(409, "conflict");
    bench.stop().await;
}

#[tokio::test]
async fn a_job_costs_its_share_of_the_bottle() {
    let bench = Bench::small().await;
    bench.furnish().await;
    lot(&bench, "a", 200.0, 16.0).await;
    bench.post("/api/v1/jobs", json!({"id": "job", "title": "bridge", "instrument": "guitar"})).await.good();
    let body = json!({"id": "g-1", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "job": "job", "lot": "a"});
    bench.post("/api/v1/glue-ups", body).await.good();
    let before = line(&bench, "a").await;
    assert_eq!(before["uses_unstated"], 1);
    // Nothing was used: an empty sum of floats is not shown as -0.
    assert!(before["used"].as_f64().unwrap().is_sign_positive(), "{before}");
    bench.post("/api/v1/lots/a/use", json!({"used": {"ml": 5}, "cure": "g-1"})).await.good();
    take(&bench, "a", 2.5).await;
    // 5 of 200 ml at 16 is 0.40, 2.5 of 200 ml 0.20.
    let line = line(&bench, "a").await;
    assert_eq!(line["cost_by_job"], json!([{"job": null, "cost": 0.2}, {"job": "job", "cost": 0.4}]));
    assert_eq!((&line["used"], &line["left"], &line["uses_unstated"]), (&json!(7.5), &json!({"ml": 192.5}), &json!(0)));
    bench.stop().await;
}

#[tokio::test]
async fn what_was_thrown_out_tells_what_a_smaller_container_may_cost() {
    let bench = Bench::small().await;
    bench.furnish().await;
    // A litre for 40 of which 600 ml went bad, and another used up: of 2000 ml for 80 there were 1400 ml used.
    lot(&bench, "a", 1000.0, 40.0).await;
    close(&bench, "a", json!({"left": {"ml": 600}, "reason": "a year open"})).await;
    lot(&bench, "b", 1000.0, 40.0).await;
    close(&bench, "b", json!({"left": {"ml": 0}})).await;
    let waste = resin(&bench).await["waste"].clone();
    assert_eq!((&waste["closed"], &waste["bought"], &waste["thrown_out"]), (&json!(2), &json!(2000.0), &json!(600.0)));
    assert_eq!(waste["wasted_pct"], 30.0);
    // 80 for 1400 ml really used is 5.71 for 100 ml, where the litre looked like 4.00.
    assert_eq!(waste["paid_per_used"], 0.0571);
    // Without a word what is left is what was not said to be used.
    lot(&bench, "c", 500.0, 20.0).await;
    take(&bench, "c", 100.0).await;
    close(&bench, "c", json!({})).await;
    assert_eq!(resin(&bench).await["waste"]["thrown_out"], 1000.0);
    assert_eq!(line(&bench, "c").await["state"], "closed");
    bench.stop().await;
}

#[tokio::test]
async fn it_is_time_to_buy_when_nothing_good_stands_there_or_soon_will_not() {
    let bench = Bench::small().await;
    bench.furnish().await;
    lot(&bench, "a", 100.0, 10.0).await;
    assert_eq!(resin(&bench).await["buy_soon"], Value::Null);
    // 60 ml in 30 days are 2 a day: 40 ml last 20 days, 24 ml 12.
    for _ in 0..30 {
        take(&bench, "a", 2.0).await;
        bench.wait_minutes(DAY_MINUTES);
    }
    let of_now = resin(&bench).await;
    assert_eq!((&of_now["used_per_day"], &of_now["buy_soon"]), (&json!(2.0), &Value::Null));
    for _ in 0..8 {
        take(&bench, "a", 2.0).await;
        bench.wait_minutes(DAY_MINUTES);
    }
    let of_now = resin(&bench).await;
    assert_eq!((&of_now["used_per_day"], &of_now["left"]), (&json!(2.0), &json!(24.0)));
    assert_eq!(of_now["buy_soon"], "at the pace of late, what is left lasts 12 days");
    lot(&bench, "b", 250.0, 20.0).await;
    assert_eq!(resin(&bench).await["buy_soon"], Value::Null);
    close(&bench, "b", json!({})).await;
    close(&bench, "a", json!({})).await;
    assert_eq!(resin(&bench).await["buy_soon"], "no bottle on the shelf is within its time");
    bench.stop().await;
}

#[tokio::test]
async fn what_cannot_be_said_of_a_bottle_is_refused_with_a_sentence() {
    let bench = Bench::small().await;
    bench.furnish().await;
    lot(&bench, "a", 100.0, 10.0).await;
    let coat = json!({"id": "c-1", "instrument": "guitar", "surface": "top", "material": "shellac", "zone": "bench"});
    bench.post("/api/v1/coats", coat).await.good();
    let of_lot = |verb: &str| format!("/api/v1/lots/a/{verb}");
    for (path, body, status, slug) in [
        (of_lot("use"), json!({"used": {"g": 5}}), 409, "conflict"),
        (of_lot("use"), json!({"used": {"ml": -1}}), 422, "invalid"),
        (of_lot("use"), json!({"used": {"spoons": 1}}), 422, "invalid"),
        (of_lot("use"), json!({"used": {"ml": 1}, "cure": "g-404"}), 422, "unknown-reference"),
        (of_lot("use"), json!({"used": {"ml": 1}, "cure": "c-1"}), 409, "conflict"),
        (of_lot("close"), json!({"left": {"ml": 101}}), 409, "conflict"),
        ("/api/v1/lots/b/open".into(), json!({}), 404, "not-found"),
        ("/api/v1/lots".into(), json!({"material": "shellac", "content": {"ml": 0}}), 422, "invalid"),
        ("/api/v1/lots".into(), json!({"material": "shellac", "cost": -1}), 422, "invalid"),
    ] {
        bench.post(&path, body).await.problem(status, slug);
    }
    close(&bench, "a", json!({})).await;
    for verb in ["open", "close"] {
        bench.post(&of_lot(verb), json!({})).await.problem(409, "conflict");
    }
    // The same request again is the same use.
    lot(&bench, "b", 100.0, 10.0).await;
    for _ in 0..2 {
        bench.post_once("key", "/api/v1/lots/b/use", json!({"used": {"ml": 5}})).await.good();
    }
    assert_eq!(line(&bench, "b").await["used"], 5.0);
    bench.stop().await;
}

#[tokio::test]
async fn a_glue_up_says_in_one_request_what_it_took_and_one_withdrawn_took_nothing() {
    let bench = Bench::small().await;
    bench.furnish().await;
    lot(&bench, "a", 250.0, 12.5).await;
    let job = json!({"id": "bridge", "instrument": "guitar", "title": "bridge off", "steps": []});
    bench.post("/api/v1/jobs", job).await.good();
    let glue_up = |id: &str, more: Value| {
        let mut body =
            json!({"id": id, "joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "job": "bridge"});
        body.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        body
    };
    let to = "/api/v1/glue-ups";
    let taken = glue_up("g-1", json!({"lot": "a", "used": {"ml": 10}}));
    for _ in 0..2 {
        assert_eq!(bench.post_once("k-1", to, taken.clone()).await.good()["used"], json!({"ml": 10.0}));
    }
    bench.post(to, glue_up("g-2", json!({"lot": "a", "used": {"ml": 30}}))).await.good();
    // 12.50 for 250 ml: 40 ml are 2.00.
    let both = line(&bench, "a").await;
    assert_eq!(
        (&both["used"], &both["left"], &both["uses_unstated"]),
        (&json!(40.0), &json!({"ml": 210.0}), &json!(0))
    );
    assert_eq!(both["cost_by_job"], json!([{"job": "bridge", "cost": 2.0}]));
    bench.post("/api/v1/glue-ups/g-2/withdraw", json!({"reason": "registered twice"})).await.good();
    let bench = bench.restart(false).await;
    assert_eq!(line(&bench, "a").await["left"], json!({"ml": 240.0}));
    for (wrong, status, slug, word) in [
        (json!({"used": {"ml": 5}}), 409, "conflict", "of no lot"),
        (json!({"lot": "a", "used": {"g": 5}}), 409, "conflict", "counted in ml"),
        (json!({"lot": "a", "used": {"ml": -5}}), 422, "invalid", "used"),
    ] {
        let problem = bench.post(to, glue_up("g-3", wrong)).await.problem(status, slug);
        assert!(problem.to_string().contains(word), "{problem}");
    }
    close(&bench, "a", json!({"left": {"ml": 200}})).await;
    bench.post(to, glue_up("g-3", json!({"lot": "a", "used": {"ml": 5}}))).await.problem(409, "conflict");
    assert_eq!(line(&bench, "a").await["used"], json!(10.0));
    bench.stop().await;
}
