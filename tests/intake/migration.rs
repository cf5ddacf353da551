//! A journal written before readings named their sensor is brought up to date and still holds what it held.

use bench::{Bench, Shop, ms, root};
use benchclock::Now;
use serde_json::json;

/// The first schema, as that version of benchclock wrote it. Kept here because the program's own list may only grow.
const FIRST: &str = include_str!("first_schema.sql");

#[tokio::test(flavor = "multi_thread")]
async fn a_file_of_the_first_version_is_migrated_and_its_readings_are_still_there() {
    let shop = Shop::small();
    {
        let file = rusqlite::Connection::open(&shop.settings.store.path).expect("a file");
        file.execute_batch(FIRST).expect("the first schema");
        let zone = r#"{"kind":"zone_set","id":"bench","name":"Bench","set_temp_c":20.0,"set_rh_pct":50.0}"#;
        let begin_ms = ms(bench::BEGIN);
        let add = "INSERT INTO journal (shop, kind, happened_ms, recorded_ms, by_whom, body) \
                   VALUES ('shop', 'zone_set', ?1, ?1, 'bench', ?2)";
        file.execute(add, (begin_ms, zone)).expect("a fact");
        let add =
            "INSERT INTO reading (zone, at_ms, recorded_ms, n, temp_c, rh_pct) VALUES ('bench', ?1, ?1, 0, 19.5, 47)";
        file.execute(add, [begin_ms]).expect("a reading");
    }
    let bench = Bench::open(shop, Now::standing_at(ms(bench::BEGIN)), false).await;
    let zone = bench.get("/api/v1/zones/bench").await.good();
    assert_eq!((&zone["readings"], &zone["temp_c"]), (&json!(1), &json!(19.5)));
    let reading = json!({"zone": "bench", "sensor": "north", "temp_c": 20.5, "rh_pct": 49});
    bench.wait_minutes(1);
    bench.post("/api/v1/readings", json!({"readings": [reading]})).await.good();
    let bench = bench.restart(false).await;
    let sensors = bench.items("/api/v1/zones/bench/sensors").await;
    let named: Vec<_> = sensors.iter().map(|sensor| sensor["sensor"].clone()).collect();
    assert_eq!(named, [json!(null), json!("north")]);
    bench.stop().await;
}

#[test]
fn the_first_schema_is_still_the_first_step() {
    let steps = std::fs::read_to_string(root().join("service/store/src/schema.rs")).expect("the schema");
    let table = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let reading = FIRST.split("CREATE TABLE answer").next().expect("tables");
    assert!(table(&steps).contains(table(reading).trim()), "a step that was taken is never changed");
}
