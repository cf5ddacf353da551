//! The wall clock set forward and back while cures are under way, and a machine that slept.

use bench::{BEGIN, ms, until};

use super::{arrived, furnished, once};
use crate::http::{events::Listener, webhooks::Receiver};

const HOUR_MS: i64 = 3_600_000;
const BOTH: [&str; 2] = ["g-1:clamp_off", "g-1:scrape_flush"];
/// The second time a stage was told, after the first was taken back.
const ANEW: [&str; 3] = ["g-1:clamp_off", "g-1:scrape_flush", "g-1:scrape_flush:2"];

/// Which alerts of the glue-up stand, and which were taken back.
async fn standing(bench: &bench::Bench) -> (Vec<String>, Vec<String>) {
    let mut alerts = bench.items("/api/v1/alerts").await;
    alerts.sort_by_key(|alert| alert["id"].as_str().map(str::to_string));
    let (back, stand): (Vec<_>, Vec<_>) = alerts.into_iter().partition(|alert| alert["state"] == "retracted");
    let ids =
        |alerts: Vec<serde_json::Value>| alerts.iter().map(|alert| alert["id"].as_str().unwrap().to_string()).collect();
    (ids(stand), ids(back))
}

/// What a clock that was ahead has told of too early is taken back when the clock is right, since a clamp may hang on it, and
/// told anew at its time. No alert is told twice under its id, and one stands for each stage.
#[tokio::test]
async fn an_alarm_is_told_once_when_the_clock_is_set_forward_an_hour_and_back_again() {
    let (receiver, url) = Receiver::start(&[]);
    let bench = furnished(&url, false).await;
    bench.glue_up("g-1").await;
    // Set forward: what lies in the hour that was leapt over is told at once, once.
    bench.now.set(bench.now.ms() + HOUR_MS);
    let told = bench.alarms().await;
    assert!(told > 0);
    bench.deliveries().await;
    let first = arrived(&receiver);
    assert_eq!(first.len(), told);
    // And back.
    bench.now.set(ms(BEGIN));
    for _ in 0..40 {
        bench.wait_minutes(5);
        bench.read_air("bench", 20.0, 50.0).await;
        bench.alarms().await;
        bench.deliveries().await;
    }
    assert_eq!(arrived(&receiver), once(&ANEW));
    let (stand, back) = standing(&bench).await;
    assert_eq!((&stand[..], &back[..]), (&[ANEW[0].into(), ANEW[2].into()][..], &[ANEW[1].to_string()][..]));
    bench.stop().await;
}

#[tokio::test]
async fn what_was_due_when_the_clock_was_set_back_does_not_wait_until_it_comes_round_again() {
    let (receiver, url) = Receiver::start(&[503]);
    let bench = furnished(&url, false).await;
    bench.glue_up("g-1").await;
    bench.live_minutes("bench", 35, 20.0, 50.0).await;
    // The first try fails; the next is due in five seconds.
    assert_eq!(bench.deliveries().await, 1);
    bench.now.set(bench.now.ms() - HOUR_MS);
    assert_eq!(bench.deliveries().await, 1, "it waits an hour");
    assert_eq!(receiver.got().len(), 2);
    let deliveries = bench.alert("g-1:scrape_flush").await["deliveries"].clone();
    assert_eq!(deliveries[0]["state"], "delivered", "{deliveries}");
    // The other stage keeps its time: it is told by the clock as it is now, and once.
    bench.live_minutes("bench", 4 * 60, 20.0, 50.0).await;
    bench.deliveries().await;
    assert_eq!(arrived(&receiver).keys().collect::<Vec<_>>(), ANEW);
    assert_eq!(standing(&bench).await.0, [ANEW[0], ANEW[2]]);
    bench.stop().await;
}

/// The runtime's timers stand still while a machine sleeps; the wall clock does not. The tasks run with their real timers.
#[tokio::test]
async fn after_six_hours_of_sleep_everything_is_told_once_late_and_soon() {
    let (receiver, url) = Receiver::start(&[]);
    let bench = furnished(&url, true).await;
    let mut listener = Listener::come(&bench, None).await;
    bench.glue_up("g-1").await;
    assert_eq!(listener.fact().await.data["fact"]["kind"], "cure_begun");
    bench.now.set(bench.now.ms() + 6 * HOUR_MS);
    #[expect(clippy::disallowed_methods, reason = "how long it takes to notice, which real timers decide")]
    let woke = std::time::Instant::now();
    let all = async || (arrived(&receiver).len() == 2).then_some(());
    until("both stages are told", all).await;
    // It looks at the wall clock every five seconds; the rest is for a machine that does other things beside.
    assert!(woke.elapsed().as_secs() < 30, "{:?}", woke.elapsed());
    assert_eq!(arrived(&receiver), once(&BOTH));
    for alert in bench.items("/api/v1/alerts").await {
        assert_eq!(alert["late"], true, "{alert}");
    }
    for _ in 0..2 {
        assert_eq!(listener.fact().await.name, "alert");
    }
    // Nothing is told again in what follows.
    bench.wait_minutes(10);
    bench.read_air("bench", 20.0, 50.0).await;
    assert_eq!(bench.alarms().await, 0);
    assert_eq!(arrived(&receiver), once(&BOTH));
    bench.stop().await;
}

#[tokio::test]
async fn a_restart_after_a_step_tells_nothing_twice() {
    let (receiver, url) = Receiver::start(&[]);
    let bench = furnished(&url, false).await;
    bench.glue_up("g-1").await;
    bench.wait_minutes(4 * 60);
    bench.alarms().await;
    bench.deliveries().await;
    assert_eq!(arrived(&receiver), once(&BOTH));
    for minutes in [60, -60, 6 * 60] {
        bench.wait_minutes(minutes);
        assert_eq!((bench.alarms().await, bench.deliveries().await), (0, 0));
    }
    let bench = bench.restart(false).await;
    assert_eq!((bench.alarms().await, bench.deliveries().await), (0, 0));
    assert_eq!(bench.items("/api/v1/alerts").await.len(), 2);
    bench.stop().await;
}
