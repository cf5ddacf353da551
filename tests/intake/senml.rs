//! SenML packs over HTTP end where every reading ends.

use bench::{Answer, BEGIN, Bench, ms};
use serde_json::{Value, json};

use super::{held, n_readings};

async fn send(bench: &Bench, query: &str, pack: &Value) -> Answer {
    let url = bench.url(&format!("/api/v1/readings/senml{query}"));
    let request = bench.http().post(url).header("content-type", "application/senml+json");
    bench.send(request.body(pack.to_string())).await
}

#[tokio::test(flavor = "multi_thread")]
async fn a_pack_with_relative_times_is_laid_to_its_zone_and_sensor() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let pack = json!([
        {"bn": "bench/north/", "bt": -600, "n": "temp", "u": "Cel", "v": 20.5},
        {"n": "rh", "u": "%RH", "v": 50},
        {"t": 300, "n": "temp", "u": "Cel", "v": 20.6},
        {"t": 300, "n": "rh", "u": "%RH", "v": 50.5},
        {"t": 600, "n": "temp", "u": "Cel", "v": 690.0},
        {"t": 600, "n": "rh", "u": "%RH", "v": 50.5},
        {"n": "battery", "u": "%EL", "v": 80},
    ]);
    let tally = send(&bench, "", &pack).await.good();
    assert_eq!(tally["taken"], 2);
    let told: Vec<_> = tally["refused"].as_array().expect("a list").iter().map(|r| r["row"].clone()).collect();
    assert_eq!(told, [4, 6]);
    let series = bench.get("/api/v1/zones/bench/readings").await.good()["recorded"].clone();
    assert_eq!(series[0]["at"], "2026-03-02T07:50:00+00:00");
    assert_eq!(series[1]["at"], "2026-03-02T07:55:00+00:00");
    assert_eq!(bench.items("/api/v1/zones/bench/sensors").await[0]["sensor"], "north");
    assert_eq!(held(&bench).await.len(), 1);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_absolute_pack_sent_twice_is_known_and_a_key_stands_for_a_relative_one() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let at_s = ms(BEGIN) / 1000 - 60;
    let pack = json!([{"bn": "x", "bt": at_s, "u": "Cel", "v": 20.5}, {"u": "%RH", "v": 50}]);
    assert_eq!(send(&bench, "?zone=bench&sensor=north", &pack).await.good()["taken"], 1);
    assert_eq!(send(&bench, "?zone=bench&sensor=north", &pack).await.good()["known"], 1);
    let relative = json!([{"n": "bench/temp", "u": "Cel", "v": 20.5}, {"n": "bench/rh", "u": "%RH", "v": 50}]);
    for _ in 0..2 {
        let url = bench.url("/api/v1/readings/senml");
        let request = bench.http().post(url).header("content-type", "application/senml+json");
        bench.send(request.header("idempotency-key", "k1").body(relative.to_string())).await.good();
        bench.wait_minutes(1);
    }
    assert_eq!(n_readings(&bench).await, 2);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn packs_that_break_the_format_are_problems() {
    let bench = Bench::small().await;
    bench.furnish().await;
    send(&bench, "", &json!({"n": "a"})).await.problem(400, "malformed");
    send(&bench, "", &json!([{"n": "bench/t", "u": "Cel", "v": 1, "must_": 1}])).await.problem(400, "malformed");
    let lone = json!([{"n": "bench/t", "u": "Cel", "v": 20}]);
    assert_eq!(send(&bench, "", &lone).await.problem(422, "invalid")["field"], "[0].u");
    let url = bench.url("/api/v1/readings/senml");
    bench.send(bench.http().post(url).json(&lone)).await.problem(415, "media-type");
    bench.stop().await;
}
