//! Scripts that mean harm, in `hostile/scripts`: each is refused with a reason, holds no more memory than it may, and the
//! service goes on answering meanwhile. What each is about stands in its first line.

use std::{
    path::PathBuf,
    process::Command,
    sync::Arc,
    time::{Duration, Instant},
};

use bench::Bench;
use rules::{Host, LIMITS, Rule};
use serde_json::json;

/// Every hostile script, by name.
fn scripts() -> Vec<(String, String)> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("hostile/scripts");
    let mut scripts: Vec<_> = std::fs::read_dir(folder)
        .unwrap()
        .map(|entry| {
            let path = entry.unwrap().path();
            (path.file_stem().unwrap().to_string_lossy().into_owned(), std::fs::read_to_string(path).unwrap())
        })
        .collect();
    scripts.sort();
    assert!(scripts.len() >= 80, "{} scripts", scripts.len());
    scripts
}

/// A line of what the system says of this process, KiB.
fn status_kib(line: &str) -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let of_line = status.lines().find(|l| l.starts_with(line)).unwrap_or_else(|| panic!("no {line}"));
    of_line.split_whitespace().nth(1).unwrap().parse().unwrap()
}

/// Most memory that judging one script may add, KiB.
const MOST_KIB: u64 = 32 * 1024;
/// Names the script for the process that runs it alone.
const ALONE: &str = "HOSTILE_SCRIPT";

/// The script this process was started for, judged alone: how long it took and how much memory it added at most.
#[expect(clippy::disallowed_methods, reason = "monotonic time says how long a judgement took; it dates nothing")]
fn judge_alone(name: &str) {
    let (_, text) = scripts().into_iter().find(|(known, _)| known == name).unwrap();
    let host = Arc::new(Host::new());
    // What the first script of a process needs is not this script's.
    let good = std::fs::read_to_string(bench::root().join("scripts/materials/shellac.rhai")).unwrap();
    assert!(Rule::check(&host, "good", &good).is_ok());
    // Peak memory so far is forgotten, so that what is read below is this script's.
    std::fs::write("/proc/self/clear_refs", "5").unwrap();
    let before_kib = status_kib("VmRSS:");
    let begun = Instant::now();
    let fault = Rule::check(&host, name, &text).err().unwrap_or_else(|| panic!("{name} came in force"));
    let took = begun.elapsed();
    let grown_kib = status_kib("VmHWM:").saturating_sub(before_kib);
    assert!(Rule::check(&host, "good", &good).is_ok(), "the host no longer serves");
    assert!(!fault.mend.is_empty());
    assert!(grown_kib <= MOST_KIB, "{name} took {grown_kib} KiB");
    // Not how fast it is but that it ends: the limit of one judgement, with room for a machine that is busy.
    assert!(took < LIMITS.judging + Duration::from_secs(20), "{name} took {took:?}");
    eprintln!("{name}: {} ms, {grown_kib} KiB, {fault}", took.as_millis());
}

/// Each in a process of its own, because memory is counted by the process.
#[test]
fn each_is_refused_within_its_time_and_memory() {
    if let Some(name) = std::env::var_os(ALONE) {
        return judge_alone(&name.to_string_lossy());
    }
    let run = |name: &str| {
        let child = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "hostile::scripts::each_is_refused_within_its_time_and_memory", "--nocapture"])
            .env(ALONE, name)
            // A panic's trace reads the symbols of the whole program, which is no memory of the script.
            .env("RUST_BACKTRACE", "0")
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&[child.stdout, child.stderr].concat()).into_owned();
        assert!(child.status.success() && said.contains("1 passed"), "{name}: {said}");
        println!("{}", said.lines().find(|line| line.starts_with(name)).unwrap_or_default());
    };
    let all = scripts();
    std::thread::scope(|scope| {
        for half in all.chunks(all.len().div_ceil(2)) {
            scope.spawn(move || half.iter().for_each(|(name, _)| run(name)));
        }
    });
}

#[tokio::test]
async fn the_service_answers_while_they_run() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let board = bench.board().await;
    // No connection is kept: one that idled while the machine was busy may be closed just as it is used again.
    let fresh = reqwest::Client::builder().pool_max_idle_per_host(0).build().unwrap();
    let checks = futures_util::future::join_all(scripts().into_iter().map(|(name, text)| {
        let (bench, fresh) = (&bench, &fresh);
        async move {
            let request = fresh.post(bench.url("/api/v1/rules/check")).json(&json!({"text": text}));
            let answer = bench.send(request).await.good();
            assert_eq!(answer["good"], false, "{name}");
            let row = answer["expected"].as_array().unwrap().iter().any(|row| row["met"] == false);
            assert!(
                row || answer["faults"][0]["mend"].as_str().is_some_and(|mend| !mend.is_empty()),
                "{name}: {answer}"
            );
        }
    }));
    let answered = async {
        for _ in 0..50 {
            let seen = bench.send(fresh.get(bench.url("/api/v1/board?limit=1000"))).await.good();
            assert_eq!(seen, board);
            assert_eq!(bench.send(fresh.get(bench.url("/health/live"))).await.status, 200);
        }
    };
    futures_util::future::join(checks, answered).await;
    // Saving one changes nothing, and its file is never written.
    let text = &scripts()[0].1;
    bench.put("/api/v1/rules/hostile", json!({"text": text})).await.problem(422, "rule-fault");
    assert!(!bench.shop.settings.scripts.folder.join("materials/hostile.rhai").exists());
    assert_eq!(bench.board().await, board);
    bench.stop().await;
}
