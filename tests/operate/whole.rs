//! Everything out and in again: an export of what was imported is the export, byte for byte.

use bench::{Bench, Shop, program};
use benchclock::Now;
use proptest::prelude::*;
use serde_json::{Value, json};

use super::measures::a_day_at_the_bench;

/// The lines of a shop's export, as they came.
async fn lines(bench: &Bench) -> String {
    let answer = bench.get("/api/v1/export").await;
    assert_eq!((answer.status, answer.media.as_str()), (200, "application/x-ndjson"));
    answer.text
}

/// Fills an empty shop with lines, by the real program.
async fn import(lines: &str) -> (Shop, program::Done) {
    let shop = Shop::small();
    let (file, config) = (shop.folder().join("shop.jsonl"), shop.folder().join("benchclock.toml"));
    std::fs::write(&file, lines).unwrap();
    std::fs::write(&config, format!("[store]\npath = {:?}\n", shop.settings.store.path)).unwrap();
    let done = program::command(["import".as_ref(), file.as_os_str(), "--config".as_ref(), config.as_os_str()]).await;
    (shop, done)
}

#[tokio::test]
async fn an_imported_shop_exports_the_same_to_the_byte_and_goes_on_from_there() {
    let bench = Bench::small().await;
    a_day_at_the_bench(&bench).await;
    // Enough old readings that the oldest become means, and one that waits in the quarantine.
    bench.post("/api/v1/glue-ups/g-1/withdraw", json!({"reason": "taken apart again"})).await.good();
    bench.now.set(bench.now.ms() + 386 * 24 * 3_600_000);
    bench.read_air("bench", 21.1, 47.3).await;
    // A fortnight later nobody doubts the clock any more.
    bench.now.set(bench.now.ms() + 15 * 24 * 3_600_000);
    bench.recurring("retention").await;
    bench.read_air("bench", 21.3, 47.1).await;
    let hot = json!({"temp_c": 68, "rh_pct": 45});
    bench.post("/api/v1/zones/bench/readings", hot).await.problem(422, "invalid");
    let (all, board) = (lines(&bench).await, bench.board().await);
    for kind in ["fact", "reading", "mean", "held"] {
        assert!(all.lines().any(|line| line.starts_with(&format!("{{\"{kind}\":"))), "no {kind}");
    }
    let (_, now) = bench.stop().await;

    let (shop, done) = import(&all).await;
    let said = done.good();
    assert!(said.contains(&format!("{} rows", all.lines().count() - 2)), "{said}");
    let again = Bench::open(shop, now, false).await;
    assert_eq!(lines(&again).await, all);
    assert_eq!(again.board().await, board);
    again.read_air("bench", 21.0, 48.0).await;
    again.stop().await;
}

#[tokio::test]
async fn a_shop_is_filled_whole_or_not_at_all() {
    let bench = Bench::small().await;
    a_day_at_the_bench(&bench).await;
    let all = lines(&bench).await;
    bench.stop().await;
    let n = all.lines().count();
    let broken_off: String = all.lines().take(n - 2).map(|line| format!("{line}\n")).collect();
    let (shop, done) = import(&broken_off).await;
    assert_eq!(done.code, Some(1));
    assert!(done.complained.contains(&format!("breaks off after line {}", n - 2)), "{}", done.complained);
    assert!(!shop.settings.store.path.exists(), "an empty journal is left in the way");
    // A shop that is not empty is left as it is.
    let (shop, done) = import(&all).await;
    done.good();
    let before = std::fs::read(&shop.settings.store.path).unwrap();
    let (file, config) = (shop.folder().join("shop.jsonl"), shop.folder().join("benchclock.toml"));
    let done = program::command(["import".as_ref(), file.as_os_str(), "--config".as_ref(), config.as_os_str()]).await;
    assert_eq!(done.code, Some(1));
    assert!(done.complained.contains("is not empty"), "{}", done.complained);
    assert_eq!(std::fs::read(&shop.settings.store.path).unwrap(), before);
}

#[tokio::test]
async fn the_tables_are_csv_with_a_row_for_each_line() {
    let bench = Bench::small().await;
    a_day_at_the_bench(&bench).await;
    let all = lines(&bench).await;
    for table in ["facts", "readings", "means", "held"] {
        let answer = bench.get(&format!("/api/v1/export/{table}.csv")).await;
        assert_eq!(answer.media, "text/csv; charset=utf-8");
        assert!(answer.text.ends_with("\r\n"));
        let kind = format!("{{\"{}\":", table.trim_end_matches('s'));
        let rows = all.lines().filter(|line| line.starts_with(&kind)).count();
        assert_eq!(answer.text.matches("\r\n").count(), rows + 1, "{table}");
    }
    let readings = bench.get("/api/v1/export/readings.csv").await.text;
    assert!(readings.starts_with("zone,sensor,at,recorded_at,temp_c,rh_pct\r\nbench,,2026-03-02T08:"), "{readings}");
    bench.get("/api/v1/export/letters.csv").await.problem(404, "not-found");
    bench.stop().await;
}

/// SQLite keeps eight-byte floats and JSON is text: every one must come back as the same bits.
fn same_to_the_last_bit(readings: &[(f64, f64)]) {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let bench = Bench::small().await;
        bench.furnish().await;
        for (i, (temp_c, rh_pct)) in readings.iter().enumerate() {
            let body = json!({"temp_c": temp_c, "rh_pct": rh_pct, "minutes_ago": i, "sensor": format!("s-{i}")});
            bench.post("/api/v1/zones/bench/readings", body).await.good();
        }
        let all = lines(&bench).await;
        let there: Vec<Value> = all.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
        for (i, (temp_c, rh_pct)) in readings.iter().enumerate() {
            let sensor = format!("s-{i}");
            let row = there.iter().find(|row| row["reading"]["sensor"] == sensor).unwrap_or_else(|| panic!("{sensor}"));
            assert_eq!(row["reading"]["temp_c"].as_f64().map(f64::to_bits), Some(temp_c.to_bits()));
            assert_eq!(row["reading"]["rh_pct"].as_f64().map(f64::to_bits), Some(rh_pct.to_bits()));
        }
        bench.stop().await;
        let (shop, done) = import(&all).await;
        done.good();
        let again = Bench::open(shop, Now::standing_at(bench::ms(bench::BEGIN)), false).await;
        assert_eq!(lines(&again).await, all);
        again.stop().await;
    });
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 4, ..ProptestConfig::default() })]
    #[test]
    fn a_reading_comes_back_to_the_last_bit(readings in prop::collection::vec((5.0..35.0, 10.0..90.0), 40)) {
        same_to_the_last_bit(&readings);
    }
}
