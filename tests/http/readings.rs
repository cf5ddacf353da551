//! Readings and zones: what the air was can be told at once, late, in a batch or again; the board follows, and is the
//! same however often the service starts.

use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::{Value, json};

use super::at_ms;

#[tokio::test]
async fn a_batch_keeps_its_good_rows_and_tells_of_the_bad_ones() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let row =
        |minutes: i64, temp_c: f64| json!({"zone": "bench", "minutes_ago": minutes, "temp_c": temp_c, "rh_pct": 50});
    let good = json!({"readings": [row(15, 20.0), row(10, 20.5), row(5, 21.0)]});
    let bad = json!({"readings": [row(4, 20.0), row(3, 72.0), row(2, 20.0)]});
    let taken = bench.post("/api/v1/readings", good).await.good();
    assert_eq!(taken, json!({"taken": 3, "known": 0}));
    let said = bench.post("/api/v1/readings", bad).await.good();
    assert_eq!(
        (&said["taken"], &said["refused"][0]["row"], &said["refused"][0]["field"]),
        (&json!(2), &json!(1), &json!("temp_c"))
    );
    assert!(said["refused"][0]["mend"].as_str().unwrap().contains("22.2"), "{said}");
    let series = bench.get("/api/v1/zones/bench/readings").await.good();
    let recorded: Vec<f64> =
        series["recorded"].as_array().unwrap().iter().map(|s| s["temp_c"].as_f64().unwrap()).collect();
    assert_eq!(recorded, [20.0, 20.5, 21.0, 20.0, 20.0]);
    bench.stop().await;
}

#[tokio::test]
async fn a_reading_that_comes_again_is_known_and_changes_nothing() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    bench.live_minutes("bench", 20, 18.0, 55.0).await;
    let board = bench.board().await;
    let same = json!({"minutes_ago": 5, "temp_c": 18.0, "rh_pct": 55.0});
    let again = bench.post("/api/v1/zones/bench/readings", same.clone()).await.good();
    assert_eq!(again, json!({"taken": 0, "known": 1}));
    assert_eq!(bench.board().await, board);
    assert_eq!(bench.get("/api/v1/zones/bench").await.good()["readings"], 4);
    bench.stop().await;
}

#[tokio::test]
async fn correcting_a_reading_moves_the_milestone_and_correcting_it_back_restores_it() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.read_air("bench", 20.0, 50.0).await;
    bench.glue_up("g-1").await;
    bench.live_minutes("bench", 30, 20.0, 50.0).await;
    let as_read = bench.items("/api/v1/glue-ups/g-1/milestones").await;
    let correct = async |temp_c: f64| {
        let row = json!({"at": "2026-03-02T08:15:00Z", "temp_c": temp_c, "rh_pct": 50});
        assert_eq!(bench.post("/api/v1/zones/bench/readings", row).await.good()["taken"], 1);
        bench.items("/api/v1/glue-ups/g-1/milestones").await
    };
    let clamp_off_ms = |list: &[Value]| at_ms(&list[1]["safe_at"]);
    assert!(clamp_off_ms(&correct(12.0).await) > clamp_off_ms(&as_read));
    assert!(clamp_off_ms(&correct(28.0).await) < clamp_off_ms(&as_read));
    assert_eq!(correct(20.0).await, as_read);
    bench.stop().await;
}

#[tokio::test]
async fn an_alert_that_a_correction_makes_untrue_is_taken_back_and_told_anew() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.read_air("bench", 20.0, 50.0).await;
    bench.glue_up("g-1").await;
    assert_eq!(bench.live_minutes("bench", 65, 20.0, 50.0).await, 2);
    // The sensor lay on the radiator: it was 10.5 °C all the time.
    let rows: Vec<Value> =
        (0..=13).map(|n| json!({"zone": "bench", "minutes_ago": n * 5, "temp_c": 10.5, "rh_pct": 50})).collect();
    bench.post("/api/v1/readings", json!({"readings": rows})).await.good();
    assert_eq!(bench.alarms().await, 1);
    assert_eq!(bench.alert("g-1:clamp_off").await["state"], "retracted");
    assert_eq!(bench.board().await["cures"][0]["take_off"], json!([]));
    let bench = bench.restart(false).await;
    assert_eq!(bench.alarms().await, 0);
    assert!(bench.live_minutes("bench", 60, 20.0, 50.0).await >= 1);
    assert_eq!(bench.alert("g-1:clamp_off:2").await["state"], "open");
    bench.stop().await;
}

#[tokio::test]
async fn a_zone_revised_keeps_its_id_and_moves_the_times_that_rest_on_it() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    let before_ms = at_ms(&bench.milestone("g-1", "clamp_off").await["safe_at"]);
    let colder = json!({"name": "Cold bench", "set_temp_c": 14, "set_rh_pct": 50});
    let zone = bench.put("/api/v1/zones/bench", colder).await.good();
    assert_eq!(
        (&zone["id"], &zone["name"], &zone["set_temp_c"]),
        (&json!("bench"), &json!("Cold bench"), &json!(14.0))
    );
    assert!(at_ms(&bench.milestone("g-1", "clamp_off").await["safe_at"]) > before_ms);
    let again = json!({"id": "bench", "name": "x", "set_temp_c": 14, "set_rh_pct": 50});
    bench.post("/api/v1/zones", again).await.problem(409, "conflict");
    let unknown = json!({"name": "x", "set_temp_c": 14, "set_rh_pct": 50});
    bench.put("/api/v1/zones/attic", unknown).await.problem(404, "not-found");
    bench.stop().await;
}

/// The id in the address is the one that counts; a body that says otherwise is a mistake, not a choice.
#[tokio::test]
async fn a_body_that_names_another_zone_than_the_address_is_refused() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let booth = json!({"id": "booth", "name": "Booth", "set_temp_c": 21, "set_rh_pct": 45});
    bench.post("/api/v1/zones", booth.clone()).await.good();
    let reading = json!({"zone": "booth", "temp_c": 20, "rh_pct": 50});
    let said = bench.post("/api/v1/zones/bench/readings", reading).await.problem(422, "invalid");
    assert_eq!(said["field"], "zone");
    let said = bench.put("/api/v1/zones/bench", booth).await.problem(422, "invalid");
    assert_eq!(said["field"], "id");
    assert_eq!(bench.get("/api/v1/zones/bench").await.good()["name"], "Bench");
    let named = json!({"zone": "bench", "temp_c": 20, "rh_pct": 50});
    bench.post("/api/v1/zones/bench/readings", named).await.good();
    bench.stop().await;
}

#[tokio::test]
async fn a_zone_without_a_sensor_says_that_its_air_is_assumed_and_so_does_a_gap() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    let climate = async || bench.get("/api/v1/glue-ups/g-1").await.good()["climate"]["state"].clone();
    assert_eq!(climate().await, "assumed");
    bench.live_minutes("bench", 30, 20.0, 50.0).await;
    assert_eq!(climate().await, "recorded");
    bench.wait_minutes(119);
    assert_eq!(climate().await, "recorded");
    bench.wait_minutes(2);
    assert_eq!(climate().await, "assumed");
    // A late reading closes the gap.
    let late = json!({"minutes_ago": 60, "temp_c": 20.0, "rh_pct": 50.0});
    bench.post("/api/v1/zones/bench/readings", late).await.good();
    assert_eq!(climate().await, "recorded");
    bench.stop().await;
}

#[tokio::test]
async fn the_board_after_a_restart_is_the_board_before() {
    let shop = Shop::small();
    let bench = Bench::open(shop, Now::system(), false).await;
    let now_ms = bench.now.ms();
    lived(&bench).await;
    bench.now.set(now_ms);
    let board = bench.board().await;
    let (alerts, clamps) = (bench.items("/api/v1/alerts").await, bench.items("/api/v1/clamps").await);
    let (glue_ups, coats) = (bench.items("/api/v1/glue-ups").await, bench.items("/api/v1/coats").await);
    assert!(board["cures"].as_array().is_some_and(|cures| !cures.is_empty()), "{board}");
    let bench = bench.restart(false).await;
    assert_eq!(bench.board().await, board);
    assert_eq!(bench.items("/api/v1/alerts").await, alerts);
    assert_eq!(bench.items("/api/v1/clamps").await, clamps);
    assert_eq!(bench.items("/api/v1/glue-ups").await, glue_ups);
    assert_eq!(bench.items("/api/v1/coats").await, coats);
    bench.stop().await;
}

/// Two days of a shop: a cold night, a correction, a move, a withdrawal, a revision, an answer to an alert.
async fn lived(bench: &Bench) {
    bench.now.set(bench.now.ms() - 48 * 3_600_000);
    bench.furnish().await;
    let warm = json!({"id": "warm-box", "name": "Warm box", "set_temp_c": 32, "set_rh_pct": 35});
    bench.post("/api/v1/zones", warm).await.good();
    bench.glue_up("g-1").await;
    let coat = |id: &str| json!({"id": id, "instrument": "guitar", "surface": id, "material": "shellac", "zone": "bench", "film_um": 60});
    for hour in 0..47 {
        let temp_c = if (14..20).contains(&hour) { 8.0 } else { 20.0 };
        bench.live_minutes("bench", 60, temp_c, 50.0).await;
        let act = match hour {
            2 => Some(("/api/v1/glue-ups/g-1/clamps-off", json!({}))),
            3 => Some(("/api/v1/coats", coat("c-1"))),
            5 => Some(("/api/v1/coats/c-1/move", json!({"zone": "warm-box"}))),
            6 => Some(("/api/v1/alerts/g-1:clamp_off/acknowledge", json!({}))),
            7 => Some(("/api/v1/coats", coat("c-2"))),
            8 => Some(("/api/v1/coats/c-2/withdraw", json!({"reason": "runs"}))),
            30 => Some(("/api/v1/zones/bench/readings", json!({"minutes_ago": 300, "temp_c": 17, "rh_pct": 60}))),
            40 => Some((
                "/api/v1/glue-ups",
                json!({"id": "g-2", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
                       "clamps": ["cam-1"], "minutes_ago": 45}),
            )),
            46 => Some(("/api/v1/alerts/g-2:clamp_off/snooze", json!({"minutes": 600}))),
            _ => None,
        };
        if let Some((path, body)) = act {
            bench.post(path, body).await.good();
        }
    }
    let revised = json!({"name": "Warm box", "set_temp_c": 30, "set_rh_pct": 35});
    bench.put("/api/v1/zones/warm-box", revised).await.good();
}
