//! Recurring work, run step by step with a set clock: the digest, the backup, retention, and readiness that names what
//! is overdue.

use bench::{BEGIN, Bench, Shop, ms};
use benchclock::Now;
use serde_json::json;

use crate::time::local::digests;

const HOUR_MS: i64 = 3_600_000;
const DAY_MS: i64 = 24 * HOUR_MS;

#[tokio::test]
async fn the_digest_is_told_once_a_local_day_at_the_shops_hour_over_a_change_of_the_clock() {
    for (digest_at, from, told) in [
        (
            "07:30",
            "2026-03-28T00:00:00+01:00",
            ["2026-03-28T07:30:00+01:00", "2026-03-29T07:30:00+02:00", "2026-03-30T07:30:00+02:00"],
        ),
        (
            "07:30",
            "2026-10-24T00:00:00+02:00",
            ["2026-10-24T07:30:00+02:00", "2026-10-25T07:30:00+01:00", "2026-10-26T07:30:00+01:00"],
        ),
        // 02:30 is not there on the one day, and there twice on the other.
        (
            "02:30",
            "2026-03-28T00:00:00+01:00",
            ["2026-03-28T02:30:00+01:00", "2026-03-29T03:00:00+02:00", "2026-03-30T02:30:00+02:00"],
        ),
        (
            "02:30",
            "2026-10-24T00:00:00+02:00",
            ["2026-10-24T02:30:00+02:00", "2026-10-25T02:30:00+02:00", "2026-10-26T02:30:00+01:00"],
        ),
    ] {
        let got = digests("Europe/Berlin", digest_at, from, 73).await;
        assert_eq!(got[..3], told, "{digest_at} from {from}");
        // The fourth day has just begun: nothing is told before its hour.
        assert_eq!(got.len(), 3, "{got:?}");
    }
}

#[tokio::test]
async fn the_digest_says_what_the_day_brings() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let step = json!({"id": "fret", "kind": "hands_on", "title": "Level the frets"});
    let job = json!({"instrument": "guitar", "title": "Fret work", "steps": [step]});
    bench.post("/api/v1/jobs", job).await.good();
    bench.glue_up("g-1").await;
    bench.recurring("digest").await;
    let body = bench.alert("digest-2026-03-02").await["body"].as_str().unwrap().to_string();
    for part in ["clamp off, bridge of the guitar", "planned 09:27, Level the frets (Fret work)", "An estimate"] {
        assert!(body.contains(part), "no {part} in: {body}");
    }
    bench.recurring("digest").await;
    assert_eq!(bench.items("/api/v1/alerts").await.len(), 1);
    bench.stop().await;
}

#[tokio::test]
async fn a_backup_is_a_sound_copy_that_opens_and_replays() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    bench.live_minutes("bench", 65, 20.0, 50.0).await;
    let board = bench.board().await;
    bench.recurring("backup").await;
    let folder = bench.shop.settings.store.backups.clone();
    let names = || {
        let mut names: Vec<_> =
            std::fs::read_dir(&folder).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
        names.sort();
        names
    };
    assert_eq!(names(), ["benchclock-2026-03-02.db"]);
    let copy = folder.join(&names()[0]);
    let sound: String =
        rusqlite::Connection::open(&copy).unwrap().query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    assert_eq!(sound, "ok");
    let mut shop = Shop::small();
    std::fs::copy(&copy, &shop.settings.store.path).unwrap();
    shop.settings.store.backups = shop.folder().join("others");
    let restored = Bench::open(shop, bench.now.clone(), false).await;
    assert_eq!(restored.board().await, board);
    assert_eq!(restored.alarms().await, 0);
    restored.stop().await;

    // A second one on the same day takes the place of the first; the oldest go.
    bench.recurring("backup").await;
    let (mut shop, now) = bench.stop().await;
    shop.settings.store.keep_backups = 2;
    let bench = Bench::open(shop, now, false).await;
    for _ in 0..3 {
        bench.wait_minutes(24 * 60);
        bench.recurring("backup").await;
    }
    assert_eq!(names(), ["benchclock-2026-03-04.db", "benchclock-2026-03-05.db"]);
    bench.stop().await;
}

#[tokio::test]
async fn a_backup_that_fails_is_written_down_and_leaves_the_copies_there_are() {
    let bench = Bench::small().await;
    bench.recurring("backup").await;
    let folder = bench.shop.settings.store.backups.clone();
    // Where the next copy would be made something else stands in the way.
    std::fs::create_dir(folder.join("benchclock-2026-03-02.part")).unwrap();
    let failed = benchclock::Service::recurring_step(bench.state(), "backup").await.unwrap_err();
    assert!(failed.mend.contains("store.backups"), "{failed}");
    let ready = bench.get("/health/ready").await.json;
    let jobs = ready["jobs"].as_array().unwrap();
    let backup = jobs.iter().find(|job| job["name"] == "backup").unwrap();
    assert!(backup["error"].as_str().is_some_and(|error| error.contains("backup folder")), "{ready}");
    let sound: String = rusqlite::Connection::open(folder.join("benchclock-2026-03-02.db"))
        .unwrap()
        .query_row("PRAGMA integrity_check", [], |row| row.get(0))
        .unwrap();
    assert_eq!(sound, "ok");
    bench.stop().await;
}

/// Readings are forgotten after 14 days here, but not those an open cure rests on, be they ever so old.
#[tokio::test]
async fn retention_keeps_what_open_cures_need_and_forgets_the_rest() {
    let mut shop = Shop::small();
    shop.settings.store.keep_readings_days = 14;
    // A sensor that speaks every three days: the last reading before a cure may be older than a day.
    shop.settings.climate.bridge_minutes = 1440;
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    let booth = json!({"id": "booth", "name": "Booth", "set_temp_c": 30, "set_rh_pct": 20});
    bench.post("/api/v1/zones", booth).await.good();
    for day in 0..40 {
        if day % 3 == 0 {
            bench.read_air("bench", 13.0 + f64::from(day) * 0.1, 50.0).await;
            bench.read_air("booth", 20.0, 50.0).await;
        }
        if day == 10 {
            // Dense faces and a wide gap: full strength takes weeks, so it is open all the while.
            let body = json!({"id": "g-1", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
                              "gap_um": 1000, "porosity": "sealed", "clamps": ["cam-1"]});
            bench.post("/api/v1/glue-ups", body).await.good();
        }
        bench.wait_minutes(24 * 60);
    }
    let seen = async |bench: &Bench| {
        let cure = bench.get("/api/v1/glue-ups/g-1").await.good();
        (cure["age_h"].clone(), cure["milestones"].clone(), cure["climate"].clone())
    };
    let before = seen(&bench).await;
    bench.recurring("retention").await;
    assert_eq!(seen(&bench).await, before);
    let kept = async |bench: &Bench, zone: &str| {
        bench.get(&format!("/api/v1/zones/{zone}")).await.good()["readings"].as_u64().unwrap()
    };
    assert!(kept(&bench, "booth").await <= 6, "the booth needs no more than its last fortnight");
    let bench = bench.restart(false).await;
    assert_eq!(seen(&bench).await, before, "after a restart");
    // Once it is over, its readings go as well.
    bench.post("/api/v1/glue-ups/g-1/withdraw", json!({"reason": "done"})).await.good();
    bench.recurring("retention").await;
    assert!(kept(&bench, "bench").await <= 6);
    bench.stop().await;
}

#[tokio::test]
async fn retention_forgets_old_answers_but_not_facts() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let body = json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
    let first = bench.post_once("key", "/api/v1/glue-ups", body.clone()).await.good();
    bench.now.set(bench.now.ms() + 13 * DAY_MS);
    bench.recurring("retention").await;
    assert_eq!(bench.post_once("key", "/api/v1/glue-ups", body.clone()).await.good()["id"], first["id"]);
    bench.now.set(bench.now.ms() + 2 * DAY_MS);
    bench.recurring("retention").await;
    assert_ne!(bench.post_once("key", "/api/v1/glue-ups", body).await.good()["id"], first["id"]);
    assert_eq!(bench.items("/api/v1/glue-ups").await.len(), 2);
    bench.stop().await;
}

#[tokio::test]
async fn readiness_names_the_job_that_is_overdue() {
    let bench = Bench::small().await;
    let ready = bench.get("/health/ready").await.good();
    assert_eq!((&ready["ready"], &ready["store"]["ok"]), (&json!(true), &json!(true)));
    let overdue = async |hours: i64| {
        bench.now.set(bench.now.ms() + hours * HOUR_MS);
        let answer = bench.get("/health/ready").await;
        let named: Vec<String> = answer.json["jobs"]
            .as_array()
            .unwrap()
            .iter()
            .filter(|job| job["overdue"] == true)
            .map(|job| job["name"].as_str().unwrap().into())
            .collect();
        assert_eq!(answer.status, if named.is_empty() { 200 } else { 503 });
        named.join(" ")
    };
    assert_eq!(overdue(1).await, "forecast plan digest silence climate string-up");
    bench.recurring("digest").await;
    bench.recurring("plan").await;
    bench.recurring("silence").await;
    bench.recurring("climate").await;
    bench.recurring("string-up").await;
    assert_eq!(overdue(0).await, "forecast");
    bench.recurring("forecast").await;
    assert_eq!(overdue(0).await, "");
    assert_eq!(overdue(26).await, "forecast plan digest silence climate string-up calibration backup retention");
    let metrics = bench.get("/metrics").await.text;
    assert!(metrics.contains("benchclock_job_overdue"), "{metrics}");
    assert_eq!(bench.get("/health/live").await.status, 200);
    bench.stop().await;
}
