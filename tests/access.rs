//! Who may do what: roles and addresses, the way in, tokens, what stands between, what goes out.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

mod framing;
mod inside;
mod login;
mod proxies;
mod receivers;
pub(crate) mod roles;
mod secrets;
mod start;
mod tls;
mod tokens;

use bench::{Answer, BEGIN, Bench, Shop, ms};
use benchclock::Now;
use reqwest::{Method, RequestBuilder};
use serde_json::{Value, json};

/// A shop that asks everybody for a token, and a token of each role.
pub(crate) struct Guarded {
    pub(crate) bench: Bench,
    pub(crate) owner: String,
    pub(crate) worker: String,
    pub(crate) sensor: String,
    pub(crate) viewer: String,
}

/// Makes a token; gives its secret.
pub(crate) async fn token(bench: &Bench, made: Value) -> String {
    bench.post("/api/v1/tokens", made).await.good()["token"].as_str().unwrap().to_string()
}

impl Guarded {
    pub(crate) async fn start() -> Self {
        Self::of(Shop::small()).await
    }

    /// The tokens are made from the machine itself; then it asks there, too.
    pub(crate) async fn of(shop: Shop) -> Self {
        let bench = Bench::open(shop, Now::standing_at(ms(BEGIN)), false).await;
        bench.furnish().await;
        let booth = json!({"id": "booth", "name": "Booth", "set_temp_c": 20, "set_rh_pct": 50});
        bench.post("/api/v1/zones", booth).await.good();
        let owner = token(&bench, json!({"id": "olga", "role": "owner"})).await;
        let worker = token(&bench, json!({"id": "mia-phone", "role": "bench"})).await;
        let sensor = token(&bench, json!({"id": "north-wall", "role": "sensor", "zones": ["bench"]})).await;
        let viewer = token(&bench, json!({"id": "wall", "role": "viewer"})).await;
        let (mut shop, now) = bench.stop().await;
        shop.settings.access.login_here = true;
        let bench = Bench::open(shop, now, false).await;
        Self { bench, owner, worker, sensor, viewer }
    }

    /// A request; with a token or without.
    pub(crate) fn request(&self, method: Method, path: &str, token: Option<&str>) -> RequestBuilder {
        let request = self.bench.http().request(method, self.bench.url(path));
        token.into_iter().fold(request, |request, token| request.bearer_auth(token))
    }

    pub(crate) async fn get(&self, path: &str, token: Option<&str>) -> Answer {
        self.bench.send(self.request(Method::GET, path, token)).await
    }

    pub(crate) async fn post(&self, path: &str, token: Option<&str>, body: Value) -> Answer {
        self.bench.send(self.request(Method::POST, path, token).json(&body)).await
    }
}

/// A client that follows nothing, so that where it is sent is seen.
pub(crate) fn browser() -> reqwest::Client {
    benchclock::Service::provide_tls();
    reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).build().unwrap()
}
