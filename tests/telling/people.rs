//! People: who is told by which channel, what hands over, what waits for company and for quiet hours to end.

use bench::{BEGIN, Bench, ms};
use benchclock::Now;
use serde_json::{Value, json};

use super::{hook, last_to, outbox, person, shop, told};
use crate::http::{at_ms, events::Listener, webhooks::Receiver};

#[tokio::test]
async fn each_kind_goes_to_the_first_channel_its_person_chose_for_it() {
    let ((wall, wall_url), (desk, desk_url), (all, all_url)) =
        (Receiver::start(&[]), Receiver::start(&[]), Receiver::start(&[]));
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &wall_url), hook("desk", &desk_url), hook("all", &all_url)];
    let mut mia = person("mia", &["wall", "desk"]);
    mia.tell.insert("digest".into(), vec!["desk".into()]);
    shop.settings.people = vec![mia];
    shop.settings.shop.digest_at = "08:30".into();
    let bench = told(shop).await;
    bench.recurring("digest").await;
    // A webhook that is nobody's channel gets everything, as in a shop without people.
    assert_eq!(outbox(&bench).await, ["all waiting", "mia:wall waiting", "all waiting", "mia:desk waiting"]);
    assert_eq!(bench.deliveries().await, 4);
    let types = |receiver: &Receiver| {
        receiver.got().iter().map(|got| got.body["type"].as_str().unwrap().to_string()).collect::<Vec<_>>()
    };
    assert_eq!((types(&wall), types(&desk)), (vec!["milestone.reached".into()], vec!["digest".to_string()]));
    assert_eq!(all.got().len(), 2);
    let delivered = last_to(&bench, "mia:wall").await;
    assert_eq!((&delivered["state"], &delivered["attempts"]), (&json!("delivered"), &json!(1)));
    assert_eq!(at_ms(&delivered["ended_at"]) / 1000, bench.now.ms() / 1000);
    bench.stop().await;
}

#[tokio::test]
async fn a_channel_that_fails_hands_over_to_the_next_after_half_a_minute_and_says_so() {
    let ((wall, wall_url), (desk, desk_url)) = (Receiver::start(&[500, 500, 500]), Receiver::start(&[]));
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &wall_url), hook("desk", &desk_url)];
    shop.settings.people = vec![person("mia", &["wall", "desk"])];
    let mut bench = told(shop).await;
    for wait in [0, 5, 30] {
        assert!(desk.got().is_empty());
        bench.wait_seconds(wait);
        assert_eq!(bench.deliveries().await, 1);
        // It stands in the outbox, not in memory.
        bench = bench.restart(false).await;
    }
    assert_eq!(outbox(&bench).await, ["mia:wall given_up", "mia:desk waiting"]);
    let error = last_to(&bench, "mia:wall").await["error"].as_str().unwrap().to_string();
    assert!(error.contains("500") && error.contains("mia:desk takes over"), "{error}");
    assert_eq!(bench.deliveries().await, 1);
    assert_eq!((wall.got().len(), desk.got().len()), (3, 1));
    let shown = bench.alert("g-1:scrape_flush").await["deliveries"].clone();
    assert_eq!(shown.as_array().unwrap().len(), 2, "{shown}");
    bench.stop().await;
}

#[tokio::test]
async fn a_page_is_reached_while_somebody_has_it_open_else_the_next_channel_takes_over_at_once() {
    let (wall, wall_url) = Receiver::start(&[]);
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &wall_url)];
    shop.settings.people = vec![person("mia", &["page", "wall"])];
    let bench = told(shop).await;
    assert_eq!((bench.deliveries().await, bench.deliveries().await), (1, 1));
    assert_eq!(outbox(&bench).await, ["mia:page given_up", "mia:wall delivered"]);
    let mut page = Listener::come(&bench, None).await;
    assert_eq!(bench.live_minutes("bench", 30, 20.0, 50.0).await, 1);
    bench.deliveries().await;
    assert_eq!(last_to(&bench, "mia:page").await["state"], "delivered");
    assert_eq!(wall.got().len(), 1);
    assert!(page.event().await.is_some());
    drop(page);
    bench.stop().await;
}

/// Glues five joints two minutes apart, and lives an hour and a half minute by minute.
async fn five_clamps(group_minutes: u32) -> (Bench, Receiver) {
    let (wall, url) = Receiver::start(&[]);
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &url)];
    shop.settings.people = vec![person("mia", &["wall"])];
    shop.settings.alerts.group_minutes = group_minutes;
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    for n in 0..5 {
        let glue_up = json!({"id": format!("g-{n}"), "joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
                             "minutes_ago": 8 - 2 * n});
        bench.post("/api/v1/glue-ups", glue_up).await.good();
    }
    for _ in 0..90 {
        bench.wait_minutes(1);
        bench.read_air("bench", 20.0, 50.0).await;
        bench.alarms().await;
        bench.deliveries().await;
    }
    (bench, wall)
}

#[tokio::test]
async fn five_clamps_within_ten_minutes_are_one_message() {
    let (bench, wall) = five_clamps(10).await;
    let got = wall.got();
    let sizes: Vec<usize> = got.iter().map(|got| got.body["data"].as_array().map_or(1, Vec::len)).collect();
    // "Scrape flush" for all five, then "clamp off" for all five.
    assert_eq!(sizes, [5, 5], "{got:?}");
    assert_eq!(got[1].body["type"], "alerts");
    let told = |n: usize| got[1].body["data"][n]["data"]["id"].as_str().unwrap().to_string();
    let mut ids: Vec<String> = (0..5).map(told).collect();
    ids.sort();
    assert_eq!(ids, (0..5).map(|n| format!("g-{n}:clamp_off")).collect::<Vec<_>>());
    assert_eq!(outbox(&bench).await, ["mia:wall delivered"; 10]);
    bench.stop().await;
}

#[tokio::test]
async fn with_nothing_held_back_each_is_told_when_it_is_so() {
    let (bench, wall) = five_clamps(0).await;
    assert_eq!(wall.got().len(), 10);
    bench.stop().await;
}

#[tokio::test]
async fn what_came_true_while_the_service_was_down_is_one_message() {
    let (wall, url) = Receiver::start(&[]);
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &url)];
    shop.settings.people = vec![person("mia", &["wall"])];
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    for n in 0..70 {
        let glue_up =
            json!({"id": format!("g-{n}"), "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
        bench.post("/api/v1/glue-ups", glue_up).await.good();
    }
    let (shop, now) = bench.stop().await;
    now.set(now.ms() + 5 * 3_600_000);
    let bench = Bench::open(shop, now, false).await;
    assert_eq!(bench.alarms().await, 140);
    while bench.deliveries().await > 0 {}
    assert_eq!(wall.got().len(), 1);
    assert_eq!(wall.got()[0].body["data"].as_array().unwrap().len(), 140);
    bench.stop().await;
}

#[tokio::test]
async fn nothing_is_sent_in_quiet_hours_and_all_that_waited_is_one_message_at_their_end() {
    let (wall, url) = Receiver::start(&[]);
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &url)];
    let mut mia = person("mia", &["wall"]);
    mia.quiet = "07:00-12:00".into();
    shop.settings.people = vec![mia];
    let bench = told(shop).await;
    assert_eq!(bench.live_minutes("bench", 60, 20.0, 50.0).await, 1);
    assert_eq!(bench.deliveries().await, 0);
    assert_eq!(at_ms(&last_to(&bench, "mia:wall").await["next_at"]), ms("2026-03-02T12:00:00Z"));
    bench.now.set(ms("2026-03-02T11:59:59Z"));
    let bench = bench.restart(false).await;
    assert_eq!(bench.deliveries().await, 0);
    bench.wait_seconds(1);
    assert_eq!(bench.deliveries().await, 2);
    let got = wall.got();
    assert_eq!((got.len(), got[0].body["data"].as_array().map(Vec::len)), (1, Some(2)));
    bench.stop().await;
}

#[tokio::test]
async fn what_somebody_has_acknowledged_is_sent_to_nobody_else() {
    let (wall, url) = Receiver::start(&[500]);
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &url)];
    shop.settings.people = vec![person("mia", &["wall"])];
    let bench = told(shop).await;
    bench.deliveries().await;
    bench.post("/api/v1/alerts/g-1:scrape_flush/acknowledge", json!({})).await.good();
    bench.wait_seconds(5);
    bench.deliveries().await;
    let ended = last_to(&bench, "mia:wall").await;
    assert_eq!(ended["state"], "given_up");
    assert!(ended["error"].as_str().unwrap().contains("acknowledged"), "{ended}");
    assert_eq!(wall.got().len(), 1);
    bench.stop().await;
}

#[tokio::test]
async fn the_parts_of_the_deliveries_join_without_loss_newest_first() {
    let mut shop = shop("");
    let (_wall, url) = Receiver::start(&[]);
    shop.settings.webhooks = vec![hook("wall", &url)];
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    for n in 0..70 {
        let body = json!({"id": format!("g-{n}"), "joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
                          "minutes_ago": 14_400});
        bench.post("/api/v1/glue-ups", body).await.good();
    }
    assert_eq!(bench.alarms().await, 210);
    let (mut joined, mut before): (Vec<Value>, String) = (Vec::new(), String::new());
    loop {
        let part = bench.get(&format!("/api/v1/deliveries?state=waiting{before}")).await.good();
        joined.extend(part["items"].as_array().unwrap().clone());
        let Some(next) = part["next"].as_str() else { break };
        before = format!("&before={next}");
    }
    let ids: Vec<i64> = joined.iter().map(|d| d["id"].as_i64().unwrap()).collect();
    assert!(ids.len() == 210 && ids.is_sorted_by(|a, b| a > b), "{ids:?}");
    bench.get("/api/v1/deliveries?state=lost").await.problem(422, "invalid");
    bench.stop().await;
}

/// The shop's own script chooses among people and webhooks that belong to nobody.
#[tokio::test]
async fn a_shop_script_chooses_among_people() {
    let (wall, url) = Receiver::start(&[]);
    let mut shop = shop("");
    shop.settings.webhooks = vec![hook("wall", &url), hook("all", &url)];
    shop.settings.people = vec![person("mia", &["page"]), person("ben", &["wall"])];
    let folder = shop.settings.scripts.folder.join("shop");
    std::fs::create_dir_all(&folder).unwrap();
    std::fs::write(folder.join("a.rhai"), "fn tell(alert) { [\"ben\"] }").unwrap();
    let bench = told(shop).await;
    assert_eq!(outbox(&bench).await, ["ben:wall waiting"]);
    bench.deliveries().await;
    assert_eq!(wall.got().len(), 1);
    bench.stop().await;
}
