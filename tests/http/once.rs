//! A repeated request has one effect: the same key and body give the same thing again, and a key cannot be used twice.

use bench::Bench;
use serde_json::{Value, json};
use tokio_util::task::TaskTracker;

/// Every POST that makes or changes something, in an order in which they can be done.
fn posts() -> Vec<(&'static str, Value)> {
    vec![
        ("/api/v1/zones", json!({"id": "booth", "name": "Booth", "set_temp_c": 21, "set_rh_pct": 45})),
        ("/api/v1/zones", json!({"name": "Attic", "set_temp_c": 21, "set_rh_pct": 45})),
        ("/api/v1/instruments", json!({"name": "the lute"})),
        ("/api/v1/instruments", json!({"id": "lute", "name": "the lute"})),
        ("/api/v1/joints", json!({"instrument": "lute", "name": "rose"})),
        ("/api/v1/clamps", json!({"name": "spool"})),
        ("/api/v1/lots", json!({"material": "shellac"})),
        (
            "/api/v1/jobs",
            json!({"id": "job", "instrument": "guitar", "title": "job",
                   "steps": [{"id": "clean", "kind": "hands_on", "title": "clean"}]}),
        ),
        ("/api/v1/jobs/job/steps/clean/done", json!({})),
        ("/api/v1/readings", json!({"readings": [{"zone": "bench", "temp_c": 20, "rh_pct": 50}]})),
        ("/api/v1/zones/bench/readings", json!({"temp_c": 21, "rh_pct": 51, "minutes_ago": 5})),
        (
            "/api/v1/coats",
            json!({"instrument": "guitar", "surface": "top", "material": "shellac", "zone": "bench", "minutes_ago": 30}),
        ),
        ("/api/v1/glue-ups/g-1/move", json!({"zone": "booth"})),
        ("/api/v1/glue-ups/g-1/clamps-off", json!({})),
        ("/api/v1/alerts/c-1:dust_free/snooze", json!({"minutes": 30})),
        ("/api/v1/alerts/c-1:dust_free/acknowledge", json!({})),
        ("/api/v1/glue-ups/g-1/withdraw", json!({"reason": "a test"})),
        ("/api/v1/jobs/job/close", json!({})),
    ]
}

#[tokio::test]
async fn the_same_request_under_the_same_key_has_one_effect_and_gives_the_same_thing() {
    let mut bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    let coat = json!({"id": "c-1", "instrument": "guitar", "surface": "back", "material": "shellac", "zone": "bench",
                      "minutes_ago": 30});
    bench.post("/api/v1/coats", coat).await.good();
    bench.alarms().await;
    let mut first = Vec::new();
    for (n, (path, body)) in posts().into_iter().enumerate() {
        let answer = bench.post_once(&format!("key-{n}"), path, body.clone()).await;
        first.push(answer.clone().good());
        let board = bench.board().await;
        let again = bench.post_once(&format!("\"key-{n}\""), path, body.clone()).await;
        assert_eq!((again.status, &again.json), (answer.status, &answer.json), "{path}");
        assert_eq!(bench.board().await, board, "{path}");
        let mut other = body;
        other["minutes_ago"] = json!(1);
        let reused = bench.post_once(&format!("key-{n}"), path, other).await;
        // A body of another shape is refused for its shape first.
        assert_eq!(reused.status, 422, "{path}: {}", reused.text);
    }
    bench = bench.restart(false).await;
    for (n, (path, body)) in posts().into_iter().enumerate() {
        let again = bench.post_once(&format!("key-{n}"), path, body).await.good();
        for field in ["id", "taken"] {
            assert_eq!(again[field], first[n][field], "{path} after a restart");
        }
    }
    assert_eq!(bench.items("/api/v1/coats").await.len(), 2);
    assert_eq!(bench.items("/api/v1/instruments").await.len(), 3);
    bench.stop().await;
}

#[tokio::test]
async fn a_key_used_for_another_request_is_refused() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let one = json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
    bench.post_once("key", "/api/v1/glue-ups", one.clone()).await.good();
    let mut other = one.clone();
    other["minutes_ago"] = json!(5);
    let said = bench.post_once("key", "/api/v1/glue-ups", other).await.problem(422, "key-reused");
    assert_eq!(said["field"], "Idempotency-Key");
    let instrument = json!({"name": "the lute"});
    bench.post_once("key", "/api/v1/instruments", instrument).await.problem(422, "key-reused");
    let batch = json!({"readings": [{"zone": "bench", "temp_c": 20, "rh_pct": 50}]});
    bench.post_once("key", "/api/v1/readings", batch).await.problem(422, "key-reused");
    assert_eq!(bench.items("/api/v1/glue-ups").await.len(), 1);
    assert_eq!(bench.get("/api/v1/zones/bench").await.good()["readings"], 0);
    bench.stop().await;
}

#[tokio::test]
async fn fifty_identical_requests_at_once_make_one_glue_up() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let tracker = TaskTracker::new();
    let sent: Vec<_> = (0..50)
        .map(|_| {
            let body = json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
                              "clamps": ["cam-1", "cam-2"]});
            let request = bench.http().post(bench.url("/api/v1/glue-ups")).header("idempotency-key", "one").json(&body);
            tracker.spawn(async move {
                let answer = request.send().await.unwrap();
                (answer.status().as_u16(), answer.json::<Value>().await.unwrap()["id"].clone())
            })
        })
        .collect();
    let glue_ups = async || bench.items("/api/v1/glue-ups").await;
    let mut ids = Vec::new();
    for answer in sent {
        let (status, id) = answer.await.unwrap();
        assert_eq!(status, 201);
        ids.push(id);
    }
    let all = glue_ups().await;
    assert_eq!(all.len(), 1);
    assert!(ids.iter().all(|id| *id == all[0]["id"]), "{ids:?}");
    bench.stop().await;
}

#[tokio::test]
async fn of_many_who_want_the_same_clamp_at_once_one_gets_it() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let tracker = TaskTracker::new();
    let sent: Vec<_> = (0..20)
        .map(|_| {
            let body = json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "clamps": ["cam-3"]});
            let request = bench.http().post(bench.url("/api/v1/glue-ups")).json(&body);
            tracker.spawn(async move { request.send().await.unwrap().status().as_u16() })
        })
        .collect();
    let mut statuses = Vec::new();
    for answer in sent {
        statuses.push(answer.await.unwrap());
    }
    statuses.sort_unstable();
    assert_eq!(statuses[0], 201);
    assert!(statuses[1..].iter().all(|status| *status == 409), "{statuses:?}");
    assert_eq!(bench.items("/api/v1/glue-ups").await.len(), 1);
    bench.stop().await;
}

#[tokio::test]
async fn of_two_zones_with_one_id_set_up_at_once_one_is_refused() {
    let bench = Bench::small().await;
    let tracker = TaskTracker::new();
    let sent: Vec<_> = (0..12)
        .map(|n| {
            let body = json!({"id": "booth", "name": "Booth", "set_temp_c": 10 + n, "set_rh_pct": 45});
            let request = bench.http().post(bench.url("/api/v1/zones")).json(&body);
            tracker.spawn(async move { request.send().await.unwrap().status().as_u16() })
        })
        .collect();
    let mut made = 0;
    for answer in sent {
        match answer.await.unwrap() {
            201 => made += 1,
            status => assert_eq!(status, 409),
        }
    }
    assert_eq!(made, 1);
    bench.stop().await;
}
