//! The bench plan over HTTP: what the bench becomes when it is planned, what is said when it cannot be, what a job more
//! would do. The planner's own laws are in `planner_laws.rs`.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

mod bench_to_plan;
mod cannot;
mod days;
mod page;
mod replanned;
mod rooms;
mod under_way;
mod what_if;

use bench::{BEGIN, Bench, Shop, ms};
use serde_json::{Value, json};

const MINUTE_MS: i64 = 60_000;

/// A shop with a resin, shellac and an oil varnish, whose window to recoat closes; furnished.
async fn bench(change: impl FnOnce(&mut benchclock::Settings)) -> Bench {
    let mut shop = Shop::small();
    let varnish = "materials/oil-varnish.rhai";
    std::fs::copy(bench::root().join("scripts").join(varnish), shop.settings.scripts.folder.join(varnish)).unwrap();
    change(&mut shop.settings);
    let bench = Bench::open(shop, benchclock::Now::standing_at(ms(BEGIN)), false).await;
    bench.furnish().await;
    bench
}

fn step(id: &str, kind: &str, minutes: u32) -> Value {
    json!({"id": id, "kind": kind, "title": id, "work": {"hands_on_min": minutes}})
}

fn glue(id: &str, minutes: u32, clamps: u32) -> Value {
    json!({"id": id, "kind": "glue_up", "title": id, "joint": "bridge", "material": "aliphatic-resin",
           "work": {"hands_on_min": minutes, "clamps": clamps}})
}

fn coat(id: &str, minutes: u32) -> Value {
    json!({"id": id, "kind": "coat", "title": id, "material": "oil-varnish", "work": {"hands_on_min": minutes}})
}

async fn open(bench: &Bench, id: &str, due_at: Option<&str>, steps: Value) {
    let job = json!({"id": id, "title": id, "instrument": "guitar", "due_at": due_at, "steps": steps});
    bench.post("/api/v1/jobs", job).await.good();
}

/// The plan, made anew.
async fn planned(bench: &Bench) -> Value {
    bench.post("/api/v1/plan", json!({})).await.good()
}

/// A piece of work of a plan.
#[track_caller]
fn piece<'a>(plan: &'a Value, job: &str, step: &str, part: &str) -> &'a Value {
    let steps = plan["steps"].as_array().unwrap();
    let is = |piece: &&Value| piece["job"] == job && piece["step"] == step && piece["part"] == part;
    steps.iter().find(is).unwrap_or_else(|| panic!("no {part} {job}/{step} in {plan:#}"))
}

#[track_caller]
fn start_ms(piece: &Value) -> i64 {
    ms(piece["start_at"].as_str().unwrap())
}

#[track_caller]
fn end_ms(piece: &Value) -> i64 {
    ms(piece["end_at"].as_str().unwrap())
}

fn reasons(piece: &Value) -> Vec<&str> {
    piece["why"].as_array().unwrap().iter().filter_map(|why| why["reason"].as_str()).collect()
}

async fn press(bench: &Bench, path: &str, fields: &str) -> bench::Answer {
    let request = bench.http().post(bench.url(path)).header("content-type", "application/x-www-form-urlencoded");
    bench.send(request.header("accept", "text/html").body(fields.to_string())).await
}

async fn page(bench: &Bench, path: &str) -> String {
    let answer = bench.send(bench.http().get(bench.url(path)).header("accept", "text/html")).await;
    assert_eq!(answer.status, 200, "{}", answer.text);
    assert!(answer.media.starts_with("text/html"), "{}", answer.media);
    answer.text
}
