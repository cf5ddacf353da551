//! Every reader, with what is thrown at it and what must come of that (`bench::thrown`).

use bench::{Bench, thrown};
use serde_json::Value;

use super::{Seeds, said, times};
use crate::telling::peer::ask;

/// A bench with what the bodies of the corpus name.
async fn lived() -> Bench {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("glue-1").await;
    let coat = serde_json::json!({"id": "coat-1", "instrument": "guitar", "surface": "top", "material": "shellac",
                                  "zone": "bench"});
    bench.post("/api/v1/coats", coat).await.good();
    bench
}

/// It goes on as if nothing had been: the board is there, and is the one the journal gives.
async fn unharmed(bench: Bench) {
    let board = bench.board().await;
    let bench = bench.restart(false).await;
    assert_eq!(bench.board().await, board, "a board made from the journal is another");
    bench.stop().await;
}

#[tokio::test]
async fn bodies() {
    let (bench, n) = (lived().await, times(2500));
    let (mut seeds, mut good) = (Seeds::addressed("json"), 0);
    for _ in 0..n {
        good += usize::from(thrown::body(&bench, &seeds.next(), "application/json").await);
    }
    said("JSON bodies", n, good);
    unharmed(bench).await;
}

#[tokio::test(flavor = "multi_thread")]
async fn files_of_rows() {
    let (bench, n) = (lived().await, times(800));
    let (mut seeds, mut good) = (Seeds::of("csv"), 0);
    for _ in 0..n {
        good +=
            usize::from(thrown::readings(&bench, "/api/v1/zones/bench/readings/csv", "text/csv", &seeds.next()).await);
    }
    said("files of rows", n, good);
    unharmed(bench).await;
}

#[tokio::test]
async fn packs() {
    let (bench, n) = (lived().await, times(1500));
    let (mut seeds, mut good) = (Seeds::of("senml"), 0);
    for _ in 0..n {
        let address = "/api/v1/readings/senml?zone=bench&sensor=north";
        good += usize::from(thrown::readings(&bench, address, "application/senml+json", &seeds.next()).await);
    }
    said("SenML packs", n, good);
    unharmed(bench).await;
}

#[test]
fn messages() {
    let (mut seeds, n) = (Seeds::of("message"), times(20_000));
    let good = (0..n).filter(|_| thrown::message(&seeds.next())).count();
    said("MQTT messages", n, good);
}

#[test]
fn settings() {
    let (mut seeds, n) = (Seeds::of("settings").and("config/benchclock.toml"), times(4000));
    let good = (0..n).filter(|_| thrown::settings(&seeds.next())).count();
    said("settings files", n, good);
}

#[test]
fn scripts() {
    let (mut seeds, n) = (Seeds::of("scripts").and("scripts/materials/foam-tape.rhai"), times(400));
    let good = (0..n).filter(|_| thrown::script(&String::from_utf8_lossy(&seeds.next()))).count();
    said("scripts", n, good);
}

/// What is written into a calendar is what Python's icalendar reads out of it. RFC 5545 has no way to write a control
/// character other than the tab, and none but a line feed for the end of a line.
#[test]
fn calendars() {
    let (mut seeds, n) = (Seeds::of("calendar"), times(3000));
    let texts: Vec<String> = (0..n).map(|_| String::from_utf8_lossy(&seeds.next()).into_owned()).collect();
    let read = ask("summaries_reader.py", &[], &thrown::calendar(&texts));
    let read: Vec<&str> = read.as_array().unwrap().iter().filter_map(Value::as_str).collect();
    assert_eq!(read.len(), n);
    for (text, read) in texts.iter().zip(read) {
        let written: String = text.chars().filter(|c| *c == '\n' || !c.is_control()).collect();
        assert_eq!(read, written);
    }
    println!("calendar summaries: {n} written and read again");
}
