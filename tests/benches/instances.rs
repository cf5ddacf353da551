//! Past one machine, on one: `cargo bench -p bench-tests --bench instances`.
//!
//! Durable glue-ups over HTTP on a PostgreSQL server that flushes each commit, by one instance and by three, beside the
//! same on SQLite in the same run; and how long it takes until a listener at another instance hears of a fact. Clients,
//! instances and server share the machine: the shares count, not the absolute figures.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stdout, clippy::disallowed_methods)]

use std::time::{Duration, Instant};

use bench::{Bench, Shop, postgres};
use benchclock::Now;
use futures_util::future::join_all;
use serde_json::json;

const CLIENTS: usize = 64;
const ROUNDS: usize = 3;
const FOR: Duration = Duration::from_secs(4);
/// Facts whose way to the other instance is timed.
const HEARD: usize = 500;

fn main() {
    // `cargo test --benches` only asks whether it runs.
    if std::env::args().any(|arg| arg == "--test") {
        return;
    }
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    let mut figures = [vec![], vec![], vec![]];
    for _ in 0..ROUNDS {
        for (figures, instances) in figures.iter_mut().zip([0, 1, 3]) {
            figures.push(runtime.block_on(glue_ups(instances)));
        }
    }
    let names = ["SQLite, one instance", "PostgreSQL, one instance", "PostgreSQL, three instances"];
    for (name, figures_of) in names.iter().zip(&figures) {
        let shares: Vec<f64> = figures_of.iter().zip(&figures[0]).map(|(figure, sqlite)| figure / sqlite).collect();
        println!("durable glue-ups over HTTP, {CLIENTS} clients, {name}: {:.0}/s {figures_of:.0?}", middle(figures_of));
        println!("  share of SQLite: {:.2} {shares:.2?}", middle(&shares));
    }
    let mut waits = runtime.block_on(heard_elsewhere());
    waits.sort_by(f64::total_cmp);
    let at = |share: f64| waits[((waits.len() - 1) as f64 * share) as usize];
    println!("from the request at one instance to the event at another, {HEARD} one after another:");
    println!("  p50 {:.1} ms, p99 {:.1} ms, max {:.1} ms", at(0.5), at(0.99), at(1.0));
}

fn middle(figures: &[f64]) -> f64 {
    let mut figures = figures.to_vec();
    figures.sort_by(f64::total_cmp);
    figures[figures.len() / 2]
}

/// An instance with its tasks; on the server if there is one.
async fn instance(server: Option<&postgres::Database>) -> Bench {
    let mut shop = Shop::small();
    shop.settings.store.url = server.map(postgres::Database::url).unwrap_or_default();
    Bench::open(shop, Now::system(), true).await
}

/// Waits until an instance has heard of the joint.
async fn furnished(bench: &Bench) {
    bench::until("the joint is known", async || (bench.get("/api/v1/joints/bridge").await.status == 200).then_some(()))
        .await;
}

/// Glue-ups a second that so many instances on PostgreSQL take, or one on SQLite where there are none.
async fn glue_ups(instances: usize) -> f64 {
    let server = (instances > 0).then(postgres::Database::that_flushes);
    let mut benches = Vec::new();
    for _ in 0..instances.max(1) {
        benches.push(instance(server.as_ref()).await);
    }
    benches[0].furnish().await;
    for bench in &benches {
        furnished(bench).await;
    }
    let begun = Instant::now();
    let clients = (0..CLIENTS).map(|client| {
        let bench = &benches[client % benches.len()];
        let (http, url) = (bench.http().clone(), bench.url("/api/v1/glue-ups"));
        tokio::spawn(async move {
            let mut taken = 0;
            while begun.elapsed() < FOR {
                let body = json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
                let answer = http.post(&url).json(&body).send().await.unwrap();
                assert_eq!(answer.status().as_u16(), 201);
                taken += 1;
            }
            taken
        })
    });
    let taken: usize = join_all(clients).await.into_iter().map(Result::unwrap).sum();
    let took_s = begun.elapsed().as_secs_f64();
    for bench in benches {
        bench.stop().await;
    }
    taken as f64 / took_s
}

/// Milliseconds from each request at one instance until the event reached a listener at another.
async fn heard_elsewhere() -> Vec<f64> {
    let server = postgres::Database::that_flushes();
    let (one, other) = (instance(Some(&server)).await, instance(Some(&server)).await);
    one.furnish().await;
    furnished(&other).await;
    let mut stream = other.http().get(other.url("/api/v1/events")).send().await.unwrap();
    let mut heard = String::new();
    let mut waits = Vec::new();
    for n in 0..HEARD {
        let begun = Instant::now();
        one.post("/api/v1/clamps", json!({"id": format!("c-{n}"), "name": "cam"})).await.good();
        while !heard.contains(&format!("\"c-{n}\"")) {
            heard.push_str(std::str::from_utf8(&stream.chunk().await.unwrap().unwrap()).unwrap());
        }
        waits.push(begun.elapsed().as_secs_f64() * 1000.0);
        heard.clear();
    }
    drop(stream);
    one.stop().await;
    other.stop().await;
    waits
}
