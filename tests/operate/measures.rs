//! What the service says of itself: Prometheus text that Prometheus' own checker takes, health that tells the truth.

use std::{
    io::Write,
    process::{Command, Stdio},
};

use bench::{
    Bench,
    program::{self, Home, Program},
    until,
};
use serde_json::{Value, json};

/// Something of everything: readings, a told glue-up, a coat, a bottle.
pub(super) async fn a_day_at_the_bench(bench: &Bench) {
    bench.furnish().await;
    bench
        .post("/api/v1/lots", json!({"id": "resin", "material": "aliphatic-resin", "content": {"ml": 250}, "cost": 12}))
        .await
        .good();
    bench.glue_up("g-1").await;
    bench.post("/api/v1/lots/resin/use", json!({"used": {"ml": 4}, "cure": "g-1"})).await.good();
    bench.live_minutes("bench", 90, 20.3, 49.7).await;
    let named = json!({"sensor": "north", "temp_c": 20.31, "rh_pct": 49.87});
    bench.post("/api/v1/zones/bench/readings", named).await.good();
}

/// `promtool check metrics` of Prometheus 2.42 (Debian 12): the text parses, and names, units and help are as the
/// conventions of Prometheus have them.
#[tokio::test]
async fn promtool_finds_nothing_to_mend_in_the_metrics() {
    let bench = Bench::small().await;
    a_day_at_the_bench(&bench).await;
    let text = bench.get("/metrics").await.text;
    bench.stop().await;
    for (series, least) in [
        ("benchclock_alert_lateness_seconds_count ", 2.0),
        ("benchclock_commit_seconds_count ", 20.0),
        ("benchclock_script_seconds_count{asked=\"application\"} ", 1.0),
        ("benchclock_script_seconds_count{asked=\"check\"} ", 2.0),
        ("benchclock_sensor_age_seconds{zone=\"bench\",sensor=\"north\"} ", 0.0),
    ] {
        let line =
            text.lines().find_map(|line| line.strip_prefix(series)).unwrap_or_else(|| panic!("no {series}: {text}"));
        assert!(line.parse::<f64>().unwrap() >= least, "{series}{line}");
    }
    let mut check = Command::new(program::tool("promtool"));
    check.args(["check", "metrics"]).stdin(Stdio::piped()).stdout(Stdio::piped()).stderr(Stdio::piped());
    let mut check = check.spawn().unwrap();
    check.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
    let output = check.wait_with_output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout) + String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success() && said.trim().is_empty(), "{said}");
}

#[tokio::test]
async fn a_service_that_stops_or_cannot_write_is_not_ready_and_still_lives() {
    let bench = Bench::small().await;
    assert_eq!(bench.get("/health/ready").await.good()["ready"], true);
    // Another process holds the journal: nothing can be written while it does.
    let other = rusqlite::Connection::open(&bench.shop.settings.store.path).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let answer = bench.get("/health/ready").await;
    assert_eq!(
        (answer.status, &answer.json["ready"], &answer.json["store"]["ok"]),
        (503, &json!(false), &json!(false))
    );
    assert!(answer.json["why"][0].as_str().unwrap().contains("locked by another process"), "{}", answer.text);
    assert_eq!(bench.get("/health/live").await.status, 200);
    other.execute_batch("ROLLBACK").unwrap();
    assert_eq!(bench.get("/health/ready").await.good()["ready"], true);
    bench.stop().await;
}

/// Without the certificates of any authority no HTTPS can be spoken: whoever is to be told must not learn it by silence.
#[tokio::test]
async fn a_service_that_can_tell_nobody_is_not_ready_if_somebody_is_to_be_told() {
    let home = Home::new();
    let settings = std::fs::read_to_string(home.config()).unwrap();
    let none = [("SSL_CERT_FILE", "/nowhere"), ("SSL_CERT_DIR", "/nowhere")];
    for (hook, ready) in [
        ("", true),
        ("[[webhooks]]\nname = \"a\"\nurl = \"https://a.example/\"\nsecret = \"sixteen and more of them\"\n", false),
    ] {
        home.write(&format!("{settings}{hook}"));
        let program = Program::serve_with(&home, &none, &[]).await;
        let said = until("it has found out", async || {
            let answer = program.http().get(program.url("/health/ready")).send().await.unwrap();
            let said: Value = answer.json().await.unwrap();
            (said["ready"] == ready).then_some(said)
        })
        .await;
        assert_eq!(said["why"].to_string().contains("nothing is delivered"), !ready, "{said}");
        // Asking it over plain HTTP needs no certificates.
        let health = program::command_with(["health".to_string(), "--url".into(), program.url("")], &none).await;
        assert_eq!(health.code, Some(if ready { 0 } else { 4 }), "{}", health.complained);
        assert_eq!(health.complained.contains("nothing is delivered"), !ready, "{}", health.complained);
        program.terminate().await;
    }
}
