//! Files as loggers write them: understood, looked at without a change, taken in parts, reported by row.

use bench::{Answer, BEGIN, Bench, ms};
use serde_json::{Value, json};

use super::{held, n_readings};

async fn send(bench: &Bench, query: &str, body: impl Into<reqwest::Body>) -> Answer {
    let url = bench.url(&format!("/api/v1/zones/bench/readings/csv{query}"));
    bench.send(bench.http().post(url).header("content-type", "text/csv").body(body)).await
}

async fn shop() -> Bench {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.wait_minutes(24 * 60);
    bench
}

#[tokio::test(flavor = "multi_thread")]
async fn a_dry_run_shows_what_it_understood_and_changes_nothing() {
    let bench = shop().await;
    let file = "\u{feff}Datum;Uhrzeit;Temperatur (°F);Feuchte\n\
                02.03.2026;10:00;68,0;50,5\n\
                02.03.2026;10:05;68,9;50,6\n\
                02.03.2026;10:10;schön;50,6\n";
    let seen = send(&bench, "?dry_run=true&time_zone=Europe/Paris&sensor=north", file).await;
    assert_eq!(seen.status, 200, "{}", seen.text);
    let seen = seen.good();
    let understood = &seen["understood"];
    assert_eq!((&understood["delimiter"], &understood["decimal"]), (&json!("semicolon"), &json!("comma")));
    assert_eq!((&understood["date"]["name"], &understood["time"]["number"]), (&json!("Datum"), &json!(2)));
    assert_eq!((&understood["temp_unit"], &understood["rh_unit"]), (&json!("F"), &json!("percent")));
    let first =
        json!({"line": 2, "at": "2026-03-02T09:00:00+00:00", "temp_c": 20.0, "rh_pct": 50.5, "sensor": "north"});
    assert_eq!(understood["first"][0], first);
    assert_eq!((&seen["rows"], &seen["taken"], &seen["dry_run"]), (&json!(3), &json!(2), &json!(true)));
    assert_eq!((&seen["refused"][0]["row"], &seen["refused"][0]["field"]), (&json!(4), &json!("temp")));
    assert_eq!((n_readings(&bench).await, held(&bench).await.len()), (0, 0));
    let taken = send(&bench, "?time_zone=Europe/Paris&sensor=north", file).await;
    assert_eq!(taken.status, 201, "{}", taken.text);
    assert_eq!(n_readings(&bench).await, 2);
    let sensors = bench.items("/api/v1/zones/bench/sensors").await;
    assert_eq!((&sensors[0]["sensor"], &sensors[0]["readings"]), (&json!("north"), &json!(2)));
    bench.stop().await;
}

/// Rows every minute before the bench's now.
fn rows(n: i64, temp_c: impl Fn(i64) -> f64) -> String {
    let mut file = "time,temp_c,rh_pct\n".to_string();
    for i in 0..n {
        let at = chrono::DateTime::from_timestamp_millis(ms(BEGIN) + (i - n) * 60_000).expect("an instant");
        file.push_str(&format!("{},{:.1},50\n", at.format("%Y-%m-%d %H:%M"), temp_c(i)));
    }
    file
}

#[tokio::test(flavor = "multi_thread")]
async fn a_long_file_is_taken_in_parts_and_sending_it_again_changes_nothing() {
    let bench = shop().await;
    let file = rows(12_345, |i| 20.0 + (i % 11) as f64 * 0.1);
    let taken = send(&bench, "", file.clone()).await.good();
    assert_eq!((&taken["rows"], &taken["taken"], &taken["known"]), (&json!(12_345), &json!(12_345), &json!(0)));
    let again = send(&bench, "", file).await.good();
    assert_eq!((&again["taken"], &again["known"]), (&json!(0), &json!(12_345)));
    let bench = bench.restart(false).await;
    assert_eq!(n_readings(&bench).await, 12_345);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn rows_in_another_unit_are_suspected_and_reported_by_line() {
    let bench = shop().await;
    // From the hundredth row on somebody had set the logger to °F; rows 110 to 119 are 55 °F in a room of 12.8 °C.
    let file = rows(200, |i| match i {
        100..110 => 68.2,
        110..120 => 55.0,
        _ => 13.0,
    });
    let tally = send(&bench, "", file).await.good();
    assert_eq!(tally["taken"], 180);
    let refused = tally["refused"].as_array().expect("a list");
    let lines: Vec<_> = refused.iter().filter_map(|refused| refused["row"].as_i64()).collect();
    assert_eq!(lines, (102..122).collect::<Vec<_>>());
    assert!(refused.iter().all(|refused| refused["quarantined"] == "unit"), "{refused:?}");
    assert_eq!(held(&bench).await.len(), 20);
    // The other way round: the file is said to be in °F, and ten rows are in °C.
    let file = rows(150, |i| if (50..60).contains(&i) { 20.0 } else { 68.0 });
    let tally = send(&bench, "?temp_unit=F&sensor=south", file).await.good();
    assert_eq!(tally["taken"], 140);
    assert_eq!(tally["refused"].as_array().map(Vec::len), Some(10));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_jump_at_the_seam_of_two_parts_is_confirmed_across_it() {
    let bench = shop().await;
    let file = rows(5_010, |i| if i >= 4_999 { 5.0 } else { 20.0 });
    let tally = send(&bench, "", file).await.good();
    assert_eq!((&tally["taken"], &tally["refused"]), (&json!(5_010), &Value::Null));
    assert_eq!(held(&bench).await.len(), 0);
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn what_cannot_be_understood_says_how_to_say_it() {
    let bench = shop().await;
    for (query, file, slug, field) in [
        ("", "", "invalid", Value::Null),
        ("", "2026-03-02 10:00,20,50\n", "invalid", json!("time_column")),
        ("?time_column=9&temp_column=2&rh_column=3", "2026-03-02 10:00,20,50\n", "invalid", json!("time_column")),
        ("?time_zone=Middle/Earth", "time,temp,rh\n", "invalid", json!("time_zone")),
        ("", "time,temp,rh\n02/03/2026 10:00,20,50\n", "invalid", json!("line 2: time")),
        ("", "\u{0}", "invalid", json!("temp_column")),
    ] {
        let answer = send(&bench, query, file).await;
        let problem = answer.problem(422, slug);
        assert!(problem["field"] == field || file == "\u{0}", "{file:?}: {problem}");
    }
    send(&bench, "?sheet=1", "time,temp,rh\n").await.problem(400, "malformed");
    send(&bench, "", vec![0xff_u8, 0xfe, 0x74, 0x00]).await.problem(400, "malformed");
    let url = bench.url("/api/v1/zones/bench/readings/csv");
    bench.send(bench.http().post(url).json(&json!({}))).await.problem(415, "media-type");
    let form = "?time_format=%25d/%25m/%25Y%20%25H:%25M";
    assert_eq!(send(&bench, form, "time,temp,rh\n02/03/2026 10:00,20,50\n").await.good()["taken"], 1);
    bench.stop().await;
}

/// Whoever sends a line of a megabyte is told what is wrong with it, and not sent it back.
#[tokio::test(flavor = "multi_thread")]
async fn what_is_wrong_with_an_endless_line_is_said_in_short() {
    let bench = shop().await;
    let long = "ü".repeat(512 * 1024);
    for file in [
        format!("time,temp,rh\n2026-03-02 10:00,20,50\n2026-03-02 10:05,{long},50\n{long},20,50\n"),
        format!("{long},temp,rh\n2026-03-02 10:00,20,50\n"),
        format!("time,temp,rh\n{long}"),
    ] {
        let answer = send(&bench, "?dry_run=true", file).await;
        assert!(answer.text.len() < 8 * 1024, "{} bytes came back", answer.text.len());
        if answer.status == 200 && answer.json["taken"] == 1 {
            let details: Vec<&str> =
                answer.json["refused"].as_array().unwrap().iter().map(|one| one["detail"].as_str().unwrap()).collect();
            assert!(details[0].ends_with("ü\" is no temperature"), "{}", details[0]);
            assert!(details.len() == 2 && details[1].contains("characters left out"), "{}", details[1]);
        }
    }
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_file_above_the_limit_is_refused() {
    let mut shop = bench::Shop::small();
    shop.settings.server.import_limit_mib = 1;
    let bench = Bench::open(shop, benchclock::Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    let file = format!("time,temp,rh\n{}", "x".repeat(1024 * 1024));
    send(&bench, "", file).await.problem(413, "too-large");
    bench.stop().await;
}
