//! Being told: by which channel, when, again, and by whom instead; with real peers at the other end.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

mod calendar;
mod email;
mod insist;
mod mqtt;
pub(crate) mod peer;
mod people;
mod push;
mod receivers;
mod taken_back;

use bench::{BEGIN, Bench, Shop, ms};
use benchclock::{Now, Person, Webhook};
use serde_json::Value;

use crate::http::webhooks::SECRET;

/// A webhook of a name.
fn hook(name: &str, url: &str) -> Webhook {
    Webhook { name: name.into(), url: url.into(), secret: SECRET.into(), ..Webhook::default() }
}

/// Somebody who is told everything by these channels in order.
fn person(name: &str, channels: &[&str]) -> Person {
    let mut person = Person { name: name.into(), email: format!("{name}@example.org"), ..Person::default() };
    person.tell.insert("else".into(), channels.iter().map(ToString::to_string).collect());
    person
}

/// A small shop without a digest of its own, with one more rule if wanted.
fn shop(rule: &str) -> Shop {
    let mut shop = Shop::small();
    if !rule.is_empty() {
        let file = format!("materials/{rule}.rhai");
        let to = shop.settings.scripts.folder.join(&file);
        std::fs::copy(bench::root().join("scripts").join(&file), to).unwrap();
    }
    shop.settings.shop.digest_at = "23:59".into();
    shop
}

/// A furnished bench with the first alert of a glue-up told and nothing delivered yet.
async fn told(shop: Shop) -> Bench {
    let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    assert_eq!(bench.live_minutes("bench", 35, 20.0, 50.0).await, 1);
    bench
}

/// Every delivery, oldest first, as "channel state".
async fn outbox(bench: &Bench) -> Vec<String> {
    let mut items = bench.items("/api/v1/deliveries").await;
    items.reverse();
    items.iter().map(|d| format!("{} {}", d["channel"].as_str().unwrap(), d["state"].as_str().unwrap())).collect()
}

/// The newest delivery to a channel.
async fn last_to(bench: &Bench, channel: &str) -> Value {
    let items = bench.items(&format!("/api/v1/deliveries?channel={channel}")).await;
    items.first().unwrap_or_else(|| panic!("nothing was sent to {channel}")).clone()
}
