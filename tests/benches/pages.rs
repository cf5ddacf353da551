//! The board with 500 open glue-ups begun over a day, half of their alerts told and not yet seen, in a zone read every five
//! minutes for two days: `cargo bench -p bench-tests --bench pages`. How long the service takes for it, beside a bare route
//! that sends the same text compressed the same way, and how large it is on the way. The least of many requests stands
//! beside the median: it is what other work on the machine disturbs least. Figures in DEVELOPERS.md.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stdout, clippy::disallowed_methods)]

use std::{net::TcpListener, time::Instant};

use actix_web::{App, HttpResponse, HttpServer, middleware::Compress, web};
use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::json;

const OPEN: usize = 500;
const TIMES: usize = 200;
/// Days of readings, five minutes apart.
const DAYS: i64 = 3;

fn main() {
    // `cargo test --benches` only asks whether it runs.
    if std::env::args().any(|arg| arg == "--test") {
        return;
    }
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
    runtime.block_on(board());
}

async fn board() {
    let bench = Bench::open(Shop::small(), Now::system(), false).await;
    bench.furnish().await;
    // Three days of air behind it, which every glue-up is looked at over, and an instrument that waits for its strings.
    let reading =
        |n: i64| json!({"zone": "bench", "minutes_ago": n * 5, "temp_c": 20.0 + (n % 9) as f64 / 10.0, "rh_pct": 50});
    let readings: Vec<_> = (0..DAYS * 288).rev().map(reading).collect();
    bench.post("/api/v1/readings", json!({"readings": readings})).await.good();
    bench.post("/api/v1/instruments/guitar/strings", json!({"family": "steel_string_guitar"})).await.good();
    bench.post("/api/v1/joints/bridge/load", json!({"path": "bridge_foot"})).await.good();
    for n in 0..OPEN {
        let body = json!({"id": format!("g-{n}"), "joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
                          "minutes_ago": (n as i64 * DAYS * 1440 / OPEN as i64)});
        bench.post("/api/v1/glue-ups", body).await.good();
    }
    let told = bench.alarms().await;
    let ([least, median], text, bytes) = timed(&bench.url("/")).await;
    let ([bare_least, bare_median], ..) = timed(&bare(text.clone())).await;
    println!(
        "board with {OPEN} open glue-ups, {told} alerts told: {median:.2} ms (median of {TIMES}), {least:.2} ms (least)"
    );
    println!("  bare route with the same text: {bare_median:.2} ms (median), {bare_least:.2} ms (least)");
    println!("page: {} bytes as text, {bytes} bytes on the way", text.len());
    bench.stop().await;
}

/// Least and median time of one request after the other, the text, and its size as it is sent.
async fn timed(url: &str) -> ([f64; 2], String, usize) {
    let client = bench::client();
    let get = || client.get(url).header("accept-encoding", "gzip").send();
    let mut figures = Vec::new();
    let mut bytes = 0;
    for _ in 0..TIMES {
        let begun = Instant::now();
        bytes = get().await.unwrap().bytes().await.unwrap().len();
        figures.push(begun.elapsed().as_secs_f64() * 1e3);
    }
    figures.sort_by(f64::total_cmp);
    let text = client.get(url).send().await.unwrap().text().await.unwrap();
    ([figures[0], figures[TIMES / 2]], text, bytes)
}

/// A service that does nothing but send a text, compressed as the pages are.
fn bare(text: String) -> String {
    let listener = TcpListener::bind("127.0.0.1:0").unwrap();
    let url = format!("http://{}/", listener.local_addr().unwrap());
    let app = move || {
        let text = text.clone();
        let send = move || {
            let text = text.clone();
            async move { HttpResponse::Ok().content_type("text/html; charset=utf-8").body(text) }
        };
        App::new().wrap(Compress::default()).route("/", web::get().to(send))
    };
    let server = HttpServer::new(app).workers(1).disable_signals().listen(listener).unwrap().run();
    std::thread::spawn(move || actix_web::rt::System::new().block_on(server));
    url
}
