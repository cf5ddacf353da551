//! The page of alerts: what became of each delivery, who is told and how, and a browser that asks to be told.

use bench::{Bench, Shop};
use benchclock::{Now, Person, Webhook};
use serde_json::json;

use super::{
    driver::{Browser, PHONE},
    forms::send,
};
use crate::http::webhooks::{Receiver, SECRET};

fn hook(name: &str, url: &str) -> Webhook {
    Webhook { name: name.into(), url: url.into(), secret: SECRET.into(), ..Webhook::default() }
}

/// A shop whose Mia is told by a webhook nobody listens at, then on the pages; and by push message.
fn shop() -> Shop {
    let mut shop = Shop::small();
    shop.settings.shop.digest_at = "23:59".into();
    shop.settings.webhooks = vec![hook("wall", "http://127.0.0.1:9/")];
    let mut mia = Person { name: "mia".into(), quiet: "22:00-07:00".into(), ..Person::default() };
    mia.tell.insert("else".into(), vec!["wall".into(), "page".into(), "push".into()]);
    shop.settings.people = vec![mia];
    shop
}

#[tokio::test]
async fn what_became_of_each_delivery_is_said_with_its_reason() {
    let (log, url) = Receiver::start(&[]);
    let mut shop = shop();
    shop.settings.webhooks.push(hook("log", &url));
    let bench = Bench::open(shop, Now::standing_at(bench::ms(bench::BEGIN)), false).await;
    bench.furnish().await;
    let before = bench.get("/alerts").await.text;
    assert!(before.contains("Nothing has been told") && before.contains("on; nothing has gone by it yet"), "{before}");
    bench.glue_up("g-1").await;
    assert_eq!(bench.live_minutes("bench", 35, 20.0, 50.0).await, 1);
    let told = bench.get("/alerts").await.text;
    assert!(told.contains("mia by the webhook wall: <span>not tried yet, goes at"), "{told}");
    for _ in 0..6 {
        bench.deliveries().await;
        bench.wait_seconds(30);
    }
    let items = bench.items("/api/v1/deliveries?channel=mia:wall").await;
    let (tries, why) = (items[0]["attempts"].as_i64().unwrap(), items[0]["error"].as_str().unwrap());
    assert_eq!((&items[0]["state"], tries), (&json!("given_up"), 3), "{items:?}");
    let told = bench.get("/alerts").await.text;
    let gone = format!("tried {tries} times: {why}");
    assert!(told.contains(&gone) && told.contains("class=\"warn\">given up"), "no {gone}: {told}");
    // Nobody has a page open, so the next takes over; and what was taken is said to be.
    let page = bench.items("/api/v1/deliveries?channel=mia:page").await[0].clone();
    let why = page["error"].as_str().unwrap();
    assert!(told.contains("mia on the pages: <span class=\"warn\">given up") && told.contains(why), "no {why}: {told}");
    assert!(told.contains("webhook log: <span>delivered") && told.contains("Webhooks that get every alert"), "{told}");
    assert_eq!(log.got().len(), 1);
    assert!(told.contains("left alone 22:00-07:00"), "{told}");
    // A test is sent and its end said; the same form twice is one test.
    for said in ["the test was not taken: ", "this test was sent before"] {
        let tested = send(&bench, "/channels/mia:wall/test", &[("key", "once")]).await;
        assert!(tested.status == 200 && tested.text.contains(said), "no {said}: {}", tested.text);
    }
    let tested = send(&bench, "/channels/log/test", &[("key", "log")]).await;
    assert!(tested.text.contains("webhook log: the test was taken"), "{}", tested.text);
    assert_eq!(log.got().len(), 2);
    assert_eq!(send(&bench, "/channels/ben:page/test", &[]).await.status, 404);
    bench.stop().await;
}

#[tokio::test]
async fn a_shop_without_people_says_where_its_alerts_stand() {
    let bench = Bench::small().await;
    let shown = bench.get("/alerts").await.text;
    assert!(shown.contains("Nobody is named in the settings") && !shown.contains("data-push="), "{shown}");
    bench.stop().await;
}

/// The push service stands outside; what the browser would get from it is put in its place (W3C Push API).
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_browser_asks_to_be_told_and_each_state_is_said_in_words() {
    let bench = Bench::open(shop(), Now::system(), true).await;
    let browser = Browser::open(PHONE).await;
    browser.goto(bench.url("/alerts")).await;
    browser.until_said("It is not told yet").await;
    let put = "PushManager.prototype.subscribe = async function () { ARGUMENT };";
    browser.run(&put.replace("ARGUMENT", "throw new Error('no push service')")).await;
    browser.click("[data-push=mia]").await;
    browser.until_said("It did not work: no push service").await;
    let gives = "return {endpoint: 'https://push.example.org/1', keys: {auth: 'BTBZMqHH6r4Tts7J_aSIgg', p256dh:
        'BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4'}}";
    browser.run(&put.replace("ARGUMENT", gives)).await;
    browser.click("[data-push=mia]").await;
    browser.until_said("This browser is told from now on").await;
    assert_eq!(browser.run("return document.querySelector('[data-push]').checkVisibility()").await, false);
    let all = bench.items("/api/v1/push-subscriptions").await;
    assert_eq!((all.len(), &all[0]["person"], &all[0]["service"]), (1, &json!("mia"), &json!("push.example.org")));
    // It stands in the list, and is told no more when somebody says so.
    browser.goto(bench.url("/alerts")).await;
    browser.until_said("by push.example.org").await;
    browser.click("form[action$='/drop'] button").await;
    browser.until("return !document.body.innerText.includes('push.example.org')").await;
    assert!(bench.items("/api/v1/push-subscriptions").await.is_empty());
    browser.close().await;
    bench.stop().await;
}
