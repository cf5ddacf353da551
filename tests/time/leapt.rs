//! A clock that leaps by decades, with a battery that is flat and a network that comes days later: nothing that is kept
//! may be taken for old by it.

use bench::{BEGIN, Bench, Shop, ms};
use benchclock::Now;
use serde_json::{Value, json};

const DAY_MS: i64 = 86_400_000;

/// Readings, means, answers kept for repeated requests, and deliveries, as they lie in the journal, up to an instant.
fn kept(bench: &Bench, until_ms: i64) -> Vec<String> {
    let journal = rusqlite::Connection::open(&bench.shop.settings.store.path).unwrap();
    let rows = |sql: &str| -> Vec<String> {
        let mut rows = journal.prepare(sql).unwrap();
        let rows = rows.query_map([until_ms], |row| row.get::<_, String>(0)).unwrap();
        rows.collect::<rusqlite::Result<_>>().unwrap()
    };
    [
        "SELECT json_array('reading', zone, at_ms, recorded_ms, temp_c, rh_pct) FROM reading WHERE recorded_ms <= ?1",
        "SELECT json_array('mean', zone, from_ms, n, temp_c, rh_pct) FROM reading_mean WHERE from_ms <= ?1",
        "SELECT json_array('answer', key, body) FROM answer WHERE recorded_ms <= ?1",
        "SELECT json_array('delivery', id, alert, channel) FROM delivery WHERE since_ms <= ?1",
    ]
    .into_iter()
    .flat_map(rows)
    .collect()
}

async fn asked_about(bench: &Bench) -> Vec<Value> {
    let mut alerts = bench.items("/api/v1/alerts").await;
    alerts.retain(|alert| alert["kind"] == "clock_leapt");
    alerts
}

fn copies(bench: &Bench) -> Vec<String> {
    let folder = std::fs::read_dir(&bench.shop.settings.store.backups).unwrap();
    let mut names: Vec<String> = folder.map(|file| file.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

#[tokio::test]
async fn a_clock_that_leaps_by_twenty_years_costs_nothing_and_is_asked_about_once() {
    let mut shop = Shop::small();
    (shop.settings.store.keep_readings_days, shop.settings.store.keep_means_days) = (14, 30);
    shop.settings.store.keep_backups = 2;
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    let day = async |bench: &Bench| {
        bench.read_air("bench", 20.0, 50.0).await;
        bench.recurring("retention").await;
        bench.recurring("backup").await;
    };
    for _ in 0..40 {
        bench.wait_minutes(24 * 60);
        day(&bench).await;
    }
    let body = json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
    let first = bench.post_once("key", "/api/v1/glue-ups", body.clone()).await.good();
    bench
        .post(&format!("/api/v1/glue-ups/{}/withdraw", first["id"].as_str().unwrap()), json!({"reason": "x"}))
        .await
        .good();
    let (right_ms, before) = (bench.now.ms(), kept(&bench, bench.now.ms()));
    for what in ["reading", "mean", "answer"] {
        assert!(before.iter().any(|row| row.starts_with(&format!("[\"{what}\""))), "no {what} is kept");
    }

    // Thirteen days in 2046, a day at the bench each, and a restart in between.
    let mut bench = bench;
    for n in 0..13 {
        bench.now.set(right_ms + (20 * 365 + n) * DAY_MS);
        if n == 5 {
            bench = bench.restart(false).await;
        }
        day(&bench).await;
        assert_eq!(kept(&bench, right_ms), before, "on day {n} behind the leap");
    }
    let asked = asked_about(&bench).await;
    assert_eq!(asked.len(), 1, "{asked:?}");
    let body_said = asked[0]["body"].as_str().unwrap();
    assert!(body_said.contains("between 11 April 2026 and 6 April 2046"), "{body_said}");

    // Set right, with the word that it is the record that is wrong (it was started in 2046), it is as if nothing had been: what
    // is repeated is known, and what gets old is tidied away.
    let (mut shop, now) = bench.stop().await;
    now.set(right_ms + DAY_MS);
    shop.settings.server.believe_clock = true;
    let bench = Bench::open(shop, now, false).await;
    assert_eq!(bench.post_once("key", "/api/v1/glue-ups", body).await.good()["id"], first["id"]);
    day(&bench).await;
    let copies = copies(&bench);
    assert!(copies.contains(&"benchclock-2026-04-12.db".into()), "the copy of today is gone: {copies:?}");
    let after = kept(&bench, right_ms);
    let readings = |rows: &[String]| rows.iter().filter(|row| row.starts_with("[\"reading\"")).count();
    assert_eq!(readings(&after), readings(&before) - 1, "one day more, one reading less");
    assert_eq!(asked_about(&bench).await.len(), 1);
    bench.stop().await;
}

/// Nobody set it: it was right, and the shop had a long rest.
#[tokio::test]
async fn a_leap_is_believed_when_a_fortnight_was_lived_behind_it() {
    let mut shop = Shop::small();
    (shop.settings.store.keep_readings_days, shop.settings.store.keep_means_days) = (14, 30);
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    bench.read_air("bench", 19.0, 50.0).await;
    bench.wait_minutes(60);
    bench.read_air("bench", 20.0, 50.0).await;
    let before = kept(&bench, bench.now.ms());
    bench.now.set(bench.now.ms() + 60 * DAY_MS);
    for n in 0..=14 {
        bench.read_air("bench", 20.0, 50.0).await;
        bench.recurring("retention").await;
        let as_it_was = kept(&bench, ms(BEGIN) + DAY_MS) == before;
        assert_eq!(as_it_was, n < 14, "on day {n}");
        bench.wait_minutes(24 * 60);
    }
    bench.stop().await;
}
