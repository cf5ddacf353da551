//! A machine whose clock is wrong, with the real program under a clock laid over the system's (`tests/peers/stepping_clock.c`):
//! a board that wakes in 1970 holds and says so; the cron library goes on after a clock was set back.

use std::path::PathBuf;

use bench::{
    program::{Home, Program, laid_over},
    until,
};
use benchclock::Now;
use serde_json::json;

use super::arrived;
use crate::http::webhooks::{Receiver, SECRET};

/// A shop whose program goes by a clock that is so many seconds off.
struct Off {
    shop: Home,
    file: PathBuf,
    url: String,
}

impl Off {
    fn new() -> (Self, Receiver) {
        let (receiver, url) = Receiver::start(&[]);
        let mut shop = Home::new();
        let hook = format!("[[webhooks]]\nname = \"phone\"\nurl = {url:?}\nsecret = {SECRET:?}\n");
        shop.keep_at(shop.journal(), "", &hook);
        let file = shop.folder().join("clock");
        (Self { shop, file, url }, receiver)
    }

    /// Sets the clock so many seconds ahead of the system's, or behind.
    fn set(&self, seconds: i64) {
        let fresh = self.file.with_extension("new");
        std::fs::write(&fresh, seconds.to_string()).unwrap();
        std::fs::rename(fresh, &self.file).unwrap();
    }

    async fn serve(&self) -> Program {
        let library = laid_over("stepping_clock");
        let file = self.file.display().to_string();
        Program::serve_with(&self.shop, &[("LD_PRELOAD", &library), ("BENCH_CLOCK", &file)], &[]).await
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_board_that_wakes_in_1970_records_and_tells_nothing_until_its_clock_is_right() {
    let (off, receiver) = Off::new();
    off.set(0);
    let program = off.serve().await;
    program.furnish().await;
    let begun = json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "id": "g-1"});
    program.post("/api/v1/glue-ups", begun).await;
    program.terminate().await;
    // Twenty past midnight, 1 January 1970.
    off.set(20 * 60 - Now::system().ms() / 1000);
    let program = off.serve().await;
    let ready = program.get("/health/ready").await;
    assert_eq!(ready.status, 503, "{}", ready.text);
    assert!(ready.json["why"].to_string().contains("1970"), "{}", ready.text);
    let page = program.get("/").await;
    assert!(page.status == 200 && page.text.contains("1 January 1970") && page.text.contains("role=\"alert\""));
    assert_eq!(program.get("/health/live").await.status, 200);
    assert!(program.get("/metrics").await.text.contains("benchclock_clock_doubted 1"));
    let board = program.get("/api/v1/board").await.good();
    assert_eq!(board["cures"][0]["id"], "g-1");
    let glue_up = json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "id": "g-2"});
    let reading = json!({"readings": [{"zone": "bench", "temp_c": 20, "rh_pct": 50}]});
    for (path, body) in [("/api/v1/glue-ups", &glue_up), ("/api/v1/readings", &reading)] {
        let refused = program.post_once(path.trim_start_matches("/api/v1/"), path, body).await;
        assert_eq!(refused.retry_after, Some(1));
        let problem = refused.problem(503, "unavailable");
        assert!(problem["detail"].as_str().unwrap().contains("1970"), "{problem}");
        assert!(problem["mend"].as_str().unwrap().contains("clock"), "{problem}");
    }
    assert_eq!(arrived(&receiver).len(), 0);
    // The network sets it, six hours after the glue-up was registered.
    off.set(6 * 3600);
    let taken =
        async || (program.post_once("glue-ups", "/api/v1/glue-ups", &glue_up).await.status == 201).then_some(());
    until("it records again", taken).await;
    until("what fell due is told", async || (arrived(&receiver).len() == 2).then_some(())).await;
    assert!(arrived(&receiver).iter().all(|(id, times)| id.starts_with("g-1:") && *times == 1), "{}", off.url);
    let ready = async || (program.get("/health/ready").await.status == 200).then_some(());
    until("it is ready", ready).await;
    program.terminate().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_record_from_the_future_may_be_overruled() {
    let (off, _receiver) = Off::new();
    off.set(400 * 86_400);
    let program = off.serve().await;
    program.furnish().await;
    program.terminate().await;
    off.set(0);
    let program = off.serve().await;
    assert_eq!(program.get("/health/ready").await.status, 503);
    program.terminate().await;
    let mut shop = off.shop;
    shop.keep_at(shop.journal(), "believe_clock = true\n", "");
    let program = Program::serve(&shop).await;
    assert_eq!(program.get("/health/ready").await.status, 200);
    program.post("/api/v1/clamps", json!({"id": "cam-1", "name": "cam"})).await;
    program.terminate().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn recurring_work_goes_on_at_once_when_the_clock_is_set_back_an_hour() {
    let (off, _receiver) = Off::new();
    off.set(3600);
    let program = off.serve().await;
    off.set(0);
    let any = async || {
        let ready = program.get("/health/ready").await.json;
        let now_ms = Now::system().ms();
        let jobs = ready["jobs"].as_array()?.clone();
        jobs.iter().filter_map(|job| Some(bench::ms(job["last_run_at"].as_str()?))).find(|at_ms| *at_ms <= now_ms)
    };
    until("a job runs by the clock as it is now", any).await;
    program.terminate().await;
}
