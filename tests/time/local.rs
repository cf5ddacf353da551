//! Hours of the day on the days when the clock is changed, by the IANA time zone database: Berlin, New York, Lord Howe by
//! half an hour, Apia without 30 December 2011, Pyongyang whose own offset changed on 4 May 2018, and a leap day. What a
//! local time is on such a day is held against Python's zoneinfo quarter by quarter in `service/server/src/wall.rs`.

use bench::{Bench, Shop, ms};
use benchclock::Now;
use serde_json::json;

/// Lives so many hours, looking every quarter of an hour; when each digest was told.
pub(crate) async fn digests(zone: &str, digest_at: &str, from: &str, hours: usize) -> Vec<String> {
    let mut shop = Shop::small();
    shop.settings.shop.time_zone = zone.into();
    shop.settings.shop.digest_at = digest_at.into();
    let bench = Bench::open(shop, Now::standing_at(ms(from)), false).await;
    for _ in 0..hours * 4 {
        bench.recurring("digest").await;
        bench.wait_minutes(15);
    }
    let mut told: Vec<String> =
        bench.items("/api/v1/alerts").await.iter().map(|a| a["due_at"].as_str().unwrap().into()).collect();
    told.reverse();
    bench.stop().await;
    told
}

#[tokio::test]
async fn the_digest_comes_once_a_day_that_is_whatever_the_clock_does() {
    for (zone, at, from, hours, told) in [
        // Left out is the first minute after; shown twice is the first.
        (
            "America/New_York",
            "02:30",
            "2026-03-08T00:00:00-05:00",
            26,
            ["2026-03-08T03:00:00-04:00", "2026-03-09T02:30:00-04:00"],
        ),
        (
            "America/New_York",
            "01:30",
            "2026-11-01T00:00:00-04:00",
            27,
            ["2026-11-01T01:30:00-04:00", "2026-11-02T01:30:00-05:00"],
        ),
        (
            "Australia/Lord_Howe",
            "02:15",
            "2026-10-04T00:00:00+10:30",
            26,
            ["2026-10-04T02:30:00+11:00", "2026-10-05T02:15:00+11:00"],
        ),
        (
            "Australia/Lord_Howe",
            "01:45",
            "2026-04-05T00:00:00+11:00",
            27,
            ["2026-04-05T01:45:00+11:00", "2026-04-06T01:45:00+10:30"],
        ),
        (
            "Pacific/Apia",
            "07:30",
            "2011-12-29T06:00:00-10:00",
            26,
            ["2011-12-29T07:30:00-10:00", "2011-12-31T07:30:00+14:00"],
        ),
        (
            "Asia/Pyongyang",
            "07:30",
            "2018-05-04T06:00:00+08:30",
            26,
            ["2018-05-04T07:30:00+08:30", "2018-05-05T07:30:00+09:00"],
        ),
        (
            "Europe/Berlin",
            "07:30",
            "2028-02-28T08:00:00+01:00",
            48,
            ["2028-02-28T08:00:00+01:00", "2028-02-29T07:30:00+01:00"],
        ),
    ] {
        let got = digests(zone, at, from, hours).await;
        assert_eq!(got[..2], told, "{at} in {zone} from {from}");
    }
}

/// A wait is a stretch of time, not of the wall: an hour more or less on the clock changes nothing of it.
#[tokio::test]
async fn a_cure_takes_as_long_over_a_night_with_another_hour_and_over_a_leap_day() {
    let mut waits = Vec::new();
    for (zone, begun) in [
        ("Europe/Berlin", "2026-03-10T23:30:00+01:00"),
        ("Europe/Berlin", "2026-03-28T23:30:00+01:00"),
        ("Europe/Berlin", "2026-10-25T00:30:00+02:00"),
        ("America/New_York", "2026-03-08T00:30:00-05:00"),
        ("America/New_York", "2026-11-01T00:30:00-04:00"),
        ("Australia/Lord_Howe", "2026-04-05T00:30:00+11:00"),
        ("Pacific/Apia", "2011-12-29T22:30:00-10:00"),
        ("Asia/Pyongyang", "2018-05-04T22:30:00+08:30"),
        ("UTC", "2028-02-28T23:30:00Z"),
    ] {
        let mut shop = Shop::small();
        shop.settings.shop.time_zone = zone.into();
        shop.settings.shop.digest_at = "23:59".into();
        let bench = Bench::open(shop, Now::standing_at(ms(begun)), false).await;
        bench.furnish().await;
        bench.read_air("bench", 20.0, 50.0).await;
        bench.glue_up("g-1").await;
        bench.live_minutes("bench", 4 * 60, 20.0, 50.0).await;
        let told = bench.alert("g-1:clamp_off").await["due_at"].as_str().unwrap().to_string();
        waits.push(((ms(&told) - ms(begun)) / 1000, zone, begun));
        bench.stop().await;
    }
    assert!(waits.iter().all(|(wait_s, ..)| *wait_s == waits[0].0), "{waits:?}");
}

/// A logger that writes the wall's time writes an hour twice in one night and another never.
#[tokio::test]
async fn readings_by_the_wall_are_asked_about_where_the_hour_is_there_twice() {
    let mut shop = Shop::small();
    shop.settings.shop.time_zone = "America/New_York".into();
    let bench = Bench::open(shop, Now::standing_at(ms("2026-11-02T12:00:00-05:00")), false).await;
    bench.furnish().await;
    let send = async |rows: &str| {
        let request =
            bench.http().post(bench.url("/api/v1/zones/bench/readings/csv")).header("content-type", "text/csv");
        bench.send(request.body(format!("time,temp,rh\n{rows}"))).await
    };
    // In order the two halves past one tell themselves apart; one that was never shown is refused by its line.
    let fold =
        send("2026-11-01 00:30,20,50\n2026-11-01 01:30,20,50\n2026-11-01 01:30,20.1,50\n2026-11-01 02:30,20,50\n");
    let fold = fold.await.good();
    let gap = send("2026-03-08 01:30,20,50\n2026-03-08 02:30,20,50\n2026-03-08 03:30,20,50\n").await.good();
    assert_eq!(gap["taken"], 2, "{gap}");
    assert_eq!(gap["refused"][0]["row"], 3, "{gap}");
    assert_eq!(fold["taken"], json!(4));
    bench.stop().await;
}
