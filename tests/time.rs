//! Time as machines have it: set forward and back, asleep for hours, in 1970, and on the days when the wall's clock is
//! changed. Alarms are told once, never before their time, and hours of the day are those of the wall.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

mod leapt;
pub(crate) mod local;
mod steps;
mod wrong;

use std::collections::BTreeMap;

use bench::{BEGIN, Bench, Shop, ms};
use benchclock::{Now, Webhook};

use crate::http::webhooks::{Receiver, SECRET};

/// A shop with two rules, a receiver of everything, and a digest that does not come in between.
fn shop(url: &str) -> Shop {
    let mut shop = Shop::small();
    let hook = Webhook { name: "phone".into(), url: url.into(), secret: SECRET.into(), ..Webhook::default() };
    shop.settings.webhooks.push(hook);
    shop.settings.shop.digest_at = "23:59".into();
    shop
}

async fn furnished(url: &str, tasks: bool) -> Bench {
    let bench = Bench::open(shop(url), Now::standing_at(ms(BEGIN)), tasks).await;
    bench.furnish().await;
    bench
}

/// How often each alert arrived.
fn arrived(receiver: &Receiver) -> BTreeMap<String, usize> {
    let mut times = BTreeMap::new();
    for got in receiver.got().into_iter().filter(|got| got.body["type"] != "alert.retracted") {
        *times.entry(got.body["data"]["id"].as_str().unwrap().to_string()).or_default() += 1;
    }
    times
}

/// Ids of alerts, each expected once.
fn once(ids: &[&str]) -> BTreeMap<String, usize> {
    ids.iter().map(|id| ((*id).to_string(), 1)).collect()
}
