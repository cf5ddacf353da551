//! What insists: a window that closes is told again, by the next channel, then to whoever stands in, until somebody
//! acknowledges it or it has closed.

use bench::{BEGIN, Bench, ms};
use benchclock::Now;
use serde_json::json;

use super::{hook, last_to, outbox, person, shop};
use crate::http::webhooks::Receiver;

/// A shop with slow epoxy mixed: its assembly time closes. Mia has two channels, Ben stands in with one.
async fn mixed() -> (Bench, [Receiver; 3]) {
    let receivers = [(); 3].map(|()| Receiver::start(&[]));
    let mut shop = shop("slow-epoxy");
    let named = ["wall", "desk", "bell"].into_iter().zip(&receivers);
    shop.settings.webhooks = named.map(|(name, (_, url))| hook(name, url)).collect();
    let mut mia = person("mia", &["wall", "desk"]);
    mia.then = "ben".into();
    let mut ben = person("ben", &["bell"]);
    // Ben hears of nothing that does not insist.
    ben.tell = [("closing".to_string(), vec!["bell".to_string()])].into();
    shop.settings.people = vec![mia, ben];
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    let epoxy = json!({"id": "g-1", "joint": "bridge", "material": "slow-epoxy", "zone": "bench"});
    bench.post("/api/v1/glue-ups", epoxy).await.good();
    (bench, receivers.map(|(receiver, _)| receiver))
}

/// Lives until the window's alert is told.
async fn closing(bench: &Bench) {
    for _ in 0..200 {
        if bench.live_minutes("bench", 5, 20.0, 50.0).await > 0 {
            return;
        }
    }
    panic!("the window never closes");
}

fn counts(receivers: &[Receiver; 3]) -> [usize; 3] {
    [0, 1, 2].map(|n| receivers[n].got().len())
}

#[tokio::test]
async fn a_closing_window_climbs_the_ladder_and_stops_when_it_is_acknowledged() {
    let (bench, receivers) = mixed().await;
    closing(&bench).await;
    // Mia's first channel, and Ben's: he chose to hear of what closes himself.
    assert_eq!(bench.deliveries().await, 2);
    assert_eq!(counts(&receivers), [1, 0, 1]);
    assert_eq!(receivers[0].got()[0].body["data"]["stage"], "assembly_closes");
    let mut bench = bench;
    for expected in [[1, 1, 2], [1, 1, 3]] {
        bench.wait_minutes(9);
        assert_eq!(bench.deliveries().await, 0);
        // What is still to be told stands on disk.
        bench = bench.restart(false).await;
        bench.wait_minutes(1);
        assert!(bench.deliveries().await > 0);
        assert_eq!(counts(&receivers), expected);
    }
    bench.post("/api/v1/alerts/g-1:assembly_closes/acknowledge", json!({})).await.good();
    for _ in 0..3 {
        bench.wait_minutes(10);
        bench.deliveries().await;
    }
    assert_eq!(counts(&receivers), [1, 1, 3]);
    assert!(!outbox(&bench).await.iter().any(|row| row.ends_with("waiting")), "{:?}", outbox(&bench).await);
    bench.stop().await;
}

#[tokio::test]
async fn a_window_that_has_closed_is_told_no_more() {
    let (bench, receivers) = mixed().await;
    closing(&bench).await;
    bench.deliveries().await;
    let closes = bench.milestone("g-1", "assembly_closes").await;
    let closed_ms = ms(closes["safe_at"].as_str().unwrap());
    assert!(closed_ms > bench.now.ms() + 20 * 60_000, "{closes}");
    while bench.now.ms() <= closed_ms {
        bench.wait_minutes(1);
        bench.deliveries().await;
    }
    let before = counts(&receivers);
    for _ in 0..30 {
        bench.wait_minutes(1);
        bench.deliveries().await;
    }
    assert_eq!(counts(&receivers), before);
    let last = last_to(&bench, "ben:bell").await;
    assert_eq!(last["state"], "given_up");
    assert!(last["error"].as_str().unwrap().contains("of no use"), "{last}");
    bench.stop().await;
}

#[tokio::test]
async fn a_closing_window_wakes_only_who_wants_to_be_woken() {
    let ((wall, wall_url), (bell, bell_url)) = (Receiver::start(&[]), Receiver::start(&[]));
    let mut shop = shop("slow-epoxy");
    shop.settings.webhooks = vec![hook("wall", &wall_url), hook("bell", &bell_url)];
    let (mut mia, mut ben) = (person("mia", &["wall"]), person("ben", &["bell"]));
    (mia.quiet, ben.quiet) = ("00:00-23:59".into(), "00:00-23:59".into());
    ben.wake_for = vec!["closing".into()];
    shop.settings.people = vec![mia, ben];
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    let epoxy = json!({"id": "g-1", "joint": "bridge", "material": "slow-epoxy", "zone": "bench"});
    bench.post("/api/v1/glue-ups", epoxy).await.good();
    closing(&bench).await;
    bench.deliveries().await;
    assert_eq!((wall.got().len(), bell.got().len()), (0, 1));
    bench.stop().await;
}

/// Mia sleeps until long after it has closed; Ben, who stands in for her, does not.
#[tokio::test]
async fn who_is_left_alone_until_it_has_closed_is_passed_over_for_whoever_stands_in() {
    let receivers = [(); 2].map(|()| Receiver::start(&[]));
    let mut shop = shop("slow-epoxy");
    shop.settings.webhooks = vec![hook("wall", &receivers[0].1), hook("bell", &receivers[1].1)];
    let (mut mia, mut ben) = (person("mia", &["wall"]), person("ben", &["bell"]));
    (mia.quiet, mia.then) = ("00:00-23:59".into(), "ben".into());
    // He hears of what closes himself too: it is one message all the same.
    ben.tell = [("closing".to_string(), vec!["bell".to_string()])].into();
    shop.settings.people = vec![mia, ben];
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    let epoxy = json!({"id": "g-1", "joint": "bridge", "material": "slow-epoxy", "zone": "bench"});
    bench.post("/api/v1/glue-ups", epoxy).await.good();
    closing(&bench).await;
    assert_eq!(bench.deliveries().await, 1);
    assert_eq!(outbox(&bench).await[0], "ben:bell delivered");
    // And it goes on with him.
    bench.wait_minutes(10);
    assert_eq!(bench.deliveries().await, 1);
    assert_eq!((receivers[0].0.got().len(), receivers[1].0.got().len()), (0, 2));
    bench.stop().await;
}

#[tokio::test]
async fn the_digest_names_a_window_by_when_it_may_close_first_and_one_that_was_missed() {
    let mut shop = shop("slow-epoxy");
    shop.settings.shop.digest_at = "08:00".into();
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    let epoxy = json!({"id": "g-1", "joint": "bridge", "material": "slow-epoxy", "zone": "bench"});
    bench.post("/api/v1/glue-ups", epoxy).await.good();
    bench.recurring("digest").await;
    let closes = bench.milestone("g-1", "assembly_closes").await;
    let hour = &closes["earliest_at"].as_str().unwrap()[11..16];
    let body = bench.alert("digest-2026-03-02").await["body"].as_str().unwrap().to_string();
    assert!(body.contains(&format!("{hour}: assembly closes, bridge of the guitar")), "{hour}: {body}");
    // It closed and nobody answered: the next morning says so, and the one after that does not.
    closing(&bench).await;
    for (day, says) in [("2026-03-03", true), ("2026-03-04", false)] {
        bench.now.set(ms(&format!("{day}T08:00:00Z")));
        bench.recurring("digest").await;
        let body = bench.alert(&format!("digest-{day}")).await["body"].as_str().unwrap().to_string();
        let missed = "not acknowledged: Closing, assembly closes: bridge of the guitar";
        assert_eq!(body.contains(missed), says, "{day}: {body}");
    }
    bench.stop().await;
}
