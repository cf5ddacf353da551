//! A tick on the plan page of a shop with 60 open jobs of 12 steps, from the button to the answer: the fact on disk and the
//! bench planned anew with the cures of the shop: `cargo bench -p bench-tests --bench replan`. Beside it the same button
//! where nothing is planned, which is the fact alone. Figures in DEVELOPERS.md.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stdout, clippy::disallowed_methods)]

use std::time::Instant;

use bench::{BEGIN, Bench, Shop, ms};
use benchclock::Now;
use serde_json::{Value, json};

const JOBS: usize = 60;
const TICKS: usize = 40;
const CLAMPS: usize = 24;

fn main() {
    // `cargo test --benches` only asks whether it runs.
    if std::env::args().any(|arg| arg == "--test") {
        return;
    }
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build().unwrap();
    runtime.block_on(ticks());
}

/// Twelve steps: two joints, a stack of four coats, and work between.
fn steps(job: usize) -> Value {
    let hands =
        |id: &str, min: usize| json!({"id": id, "kind": "hands_on", "title": id, "work": {"hands_on_min": min}});
    let glue = |id: &str| {
        json!({"id": id, "kind": "glue_up", "title": id, "joint": "bridge", "material": "aliphatic-resin",
               "work": {"hands_on_min": 20, "clamps": 2 + job % 4}})
    };
    let coat =
        |id: &str| json!({"id": id, "kind": "coat", "title": id, "material": "shellac", "work": {"hands_on_min": 20}});
    json!([
        hands("clean", 20 + job % 5 * 5),
        hands("fit", 40),
        glue("close"),
        hands("level", 30),
        glue("brace"),
        hands("scrape", 25),
        coat("one"),
        coat("two"),
        coat("three"),
        coat("four"),
        hands("rub", 45),
        hands("set-up", 60)
    ])
}

async fn ticks() {
    let bench = Bench::open(Shop::small(), Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    for n in 0..CLAMPS {
        bench.post("/api/v1/clamps", json!({"id": format!("more-{n}"), "name": "a clamp"})).await.good();
    }
    for n in 0..30 {
        bench.wait_minutes(5);
        bench.read_air("bench", 20.0 + f64::from(n % 5) / 5.0, 50.0).await;
    }
    for job in 0..JOBS {
        let due_at = format!("2026-04-{:02}T18:00:00Z", 1 + job % 28);
        let body = json!({"id": format!("j-{job}"), "title": format!("job {job}"), "instrument": "guitar", "due_at": due_at,
                          "steps": steps(job)});
        bench.post("/api/v1/jobs", body).await.good();
    }
    let plan = bench.post("/api/v1/plan", json!({})).await.good();
    assert_eq!(plan["cannot"], json!([]));
    println!("{} pieces of work on the wall", plan["steps"].as_array().unwrap().len());
    // Turn by turn, so that what else the machine does falls on both.
    let (mut planned, mut fact) = (Vec::new(), Vec::new());
    for tick in 0..TICKS {
        planned.push(pressed(&bench, &format!("/jobs/j-{tick}/steps/clean/done"), "from=plan&").await);
        fact.push(pressed(&bench, &format!("/jobs/j-{tick}/steps/fit/done"), "").await);
    }
    for (what, mut took) in [("planned anew after a tick", planned), ("the fact alone", fact)] {
        took.sort_by(f64::total_cmp);
        println!(
            "{what}: p50 {:.1} ms, p95 {:.1} ms, worst {:.1} ms",
            took[TICKS / 2],
            took[TICKS * 95 / 100],
            took[TICKS - 1]
        );
    }
    bench.stop().await;
}

/// Presses a button; how long until it was answered, ms.
async fn pressed(bench: &Bench, path: &str, fields: &str) -> f64 {
    let client = reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).build().unwrap();
    let request = client.post(bench.url(path)).header("content-type", "application/x-www-form-urlencoded");
    let begun = Instant::now();
    let answer = request.body(format!("{fields}key={path}")).send().await.unwrap();
    let took = begun.elapsed().as_secs_f64() * 1e3;
    assert_eq!(answer.status(), 303, "{}", answer.text().await.unwrap());
    took
}
