//! Disks that are full, locked by others, or not to be written: said clearly, everything can still be read, alerts go out,
//! and it goes on by itself when the cause is gone.
//!
//! The disk is a small file system of its own, which takes root to mount; where that is refused the same happens through
//! `tests/peers/failing_disk.c`, and the test says so.

use std::{path::PathBuf, process::Command};

use bench::{Answer, until};
use tempfile::TempDir;

use super::{Home, Program, Value, failing::Failing, glue_up, json, program, sound, webhook};
use crate::http::webhooks::Receiver;

/// A disk of four megabytes; gone when dropped.
enum Disk {
    Mounted(TempDir),
    Acted(Failing),
}

fn mount(arguments: &[&str]) -> bool {
    Command::new("mount").args(arguments).output().is_ok_and(|done| done.status.success())
}

impl Disk {
    #[expect(clippy::print_stdout, reason = "nothing is done otherwise without a word")]
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        if mount(&["-t", "tmpfs", "-o", "size=4m", "tmpfs", &folder.path().display().to_string()]) {
            return Self::Mounted(folder);
        }
        println!("mounting is refused here: the disk is acted by tests/peers/failing_disk.c");
        Self::Acted(Failing::new())
    }

    fn journal(&self) -> PathBuf {
        match self {
            Self::Mounted(folder) => folder.path().join("journal.db"),
            Self::Acted(failing) => failing.folder().join("journal.db"),
        }
    }

    /// What the program needs in its environment.
    fn env(&self) -> Vec<(String, String)> {
        match self {
            Self::Mounted(_) => vec![],
            Self::Acted(failing) => failing.env(),
        }
    }

    fn fill(&self) {
        match self {
            Self::Mounted(folder) => {
                let full = std::fs::write(folder.path().join("ballast"), vec![0; 8 << 20]).unwrap_err();
                assert_eq!(full.kind(), std::io::ErrorKind::StorageFull);
            }
            Self::Acted(failing) => failing.fail("write", 28, 1, 0),
        }
    }

    fn free(&self) {
        match self {
            Self::Mounted(folder) => std::fs::remove_file(folder.path().join("ballast")).unwrap(),
            Self::Acted(failing) => failing.heal(),
        }
    }

    fn writable(&self, writable: bool) {
        match self {
            Self::Mounted(folder) => {
                let how = if writable { "remount,rw" } else { "remount,ro" };
                assert!(mount(&["-o", how, &folder.path().display().to_string()]), "{how}");
            }
            Self::Acted(failing) if writable => failing.heal(),
            Self::Acted(failing) => failing.fail("open", 30, 1, 0),
        }
    }
}

impl Drop for Disk {
    fn drop(&mut self) {
        if let Self::Mounted(folder) = self {
            // A program that a failing test left has it open: it goes when that ends.
            drop(Command::new("umount").arg("--lazy").arg(folder.path()).status());
        }
    }
}

async fn serve(shop: &Home, disk: &Disk) -> Program {
    let env = disk.env();
    let env: Vec<(&str, &str)> = env.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    Program::serve_with(shop, &env, &[]).await
}

/// A problem that says what it is and when to come again.
fn told(answer: Answer, status: u16, slug: &str, word: &str) {
    let retry_after = answer.retry_after;
    let problem = answer.problem(status, slug);
    assert!(problem["detail"].as_str().unwrap().contains(word), "no \"{word}\": {problem}");
    assert!(retry_after.is_some_and(|seconds| seconds > 0), "not when to come again: {problem}");
}

/// Everything can be looked at, and readiness says that nothing can be written.
async fn only_reading(program: &Program, open: usize) {
    for path in ["/api/v1/board", "/api/v1/glue-ups", "/api/v1/zones/bench", "/", "/climate", "/alerts", "/health/live"]
    {
        assert_eq!(program.get(path).await.status, 200, "{path}");
    }
    assert_eq!(program.ids("/api/v1/glue-ups").await.len(), open);
    let ready = program.get("/health/ready").await;
    assert_eq!((ready.status, &ready.json["store"]["ok"]), (503, &json!(false)), "{}", ready.text);
}

/// Registers glue-ups until one is refused; how many were taken, and the key of the one that was not.
async fn until_refused(program: &Program) -> (usize, String, Answer) {
    // What is left of the log's last page may still take one or two.
    for n in 0..50 {
        let key = format!("key-{n}");
        let answer = program.post_once(&key, "/api/v1/glue-ups", &glue_up(0.0)).await;
        if answer.status != 201 {
            return (n, key, answer);
        }
    }
    panic!("nothing was refused");
}

/// How long after it was begun a glue-up's first stage is told, minutes.
async fn first_stage_minutes(program: &Program) -> (String, f64) {
    let probe = program.post_once("probe", "/api/v1/glue-ups", &glue_up(0.0)).await.good();
    let id = probe["id"].as_str().unwrap();
    let milestones = program.get(&format!("/api/v1/glue-ups/{id}/milestones")).await.good();
    let begun_ms = bench::ms(probe["started_at"].as_str().unwrap_or_else(|| panic!("{probe}")));
    let safe = |m: &Value| (m["stage"].as_str().unwrap().to_string(), bench::ms(m["safe_at"].as_str().unwrap()));
    let first = milestones["items"].as_array().unwrap().iter().map(safe).min_by_key(|(_, at_ms)| *at_ms).unwrap();
    (first.0, (first.1 - begun_ms) as f64 / 60_000.0)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn on_a_full_disk_everything_is_read_alerts_go_out_and_it_goes_on_when_there_is_room() {
    let disk = Disk::new();
    let (receiver, url) = Receiver::start(&[]);
    let mut shop = Home::new();
    shop.keep_at(disk.journal(), "", &webhook(&url));
    let program = serve(&shop, &disk).await;
    program.furnish().await;
    let (stage, minutes) = first_stage_minutes(&program).await;
    // Five seconds from now its first stage is reached, and then the disk is full.
    let soon = program.post_once("soon", "/api/v1/glue-ups", &glue_up(minutes - 5.0 / 60.0)).await.good();
    let alert = format!("{}:{stage}", soon["id"].as_str().unwrap());
    disk.fill();
    let (taken, key, refused) = until_refused(&program).await;
    told(refused, 507, "disk-full", "is full");
    only_reading(&program, 2 + taken).await;
    let got = |times: usize| {
        let arrived = receiver.got().iter().filter(|got| got.body["data"]["id"] == alert).count();
        (arrived >= times).then_some(())
    };
    until("the alert goes out from memory", async || got(1)).await;
    // It is told once from memory, however often it is tried to write it down.
    tokio::time::sleep(std::time::Duration::from_millis(2500)).await;
    assert_eq!(receiver.got().len(), 1, "{:?}", receiver.got());
    assert_eq!(program.get(&format!("/api/v1/alerts/{alert}")).await.status, 404, "nothing could be written");
    disk.free();
    let now_taken =
        async || (program.post_once(&key, "/api/v1/glue-ups", &glue_up(0.0)).await.status == 201).then_some(());
    until("it is taken again", now_taken).await;
    until("the alert is written down", async || {
        (program.get(&format!("/api/v1/alerts/{alert}")).await.status == 200).then_some(())
    })
    .await;
    until("and told once more under its id", async || got(2)).await;
    assert_eq!(program.ids("/api/v1/glue-ups").await.len(), 3 + taken);
    assert_eq!(program.get("/health/ready").await.json["store"]["ok"], true);
    program.terminate().await;
    sound(&disk.journal());
    let program = serve(&shop, &disk).await;
    assert_eq!(program.ids("/api/v1/glue-ups").await.len(), 3 + taken);
    program.terminate().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn while_another_process_holds_the_journal_everything_is_read_and_it_goes_on_after() {
    let shop = Home::new();
    let program = Program::serve(&shop).await;
    program.furnish().await;
    program.post_once("first", "/api/v1/glue-ups", &glue_up(0.0)).await.good();
    let other = rusqlite::Connection::open(shop.journal()).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let refused = program.post_once("second", "/api/v1/glue-ups", &glue_up(0.0)).await;
    told(refused, 503, "unavailable", "locked by another process");
    only_reading(&program, 1).await;
    other.execute_batch("ROLLBACK").unwrap();
    program.post_once("second", "/api/v1/glue-ups", &glue_up(0.0)).await.good();
    assert_eq!(program.ids("/api/v1/glue-ups").await.len(), 2);
    program.terminate().await;
    sound(&shop.journal());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_start_on_a_disk_that_cannot_be_written_names_the_file_and_is_whole_afterwards() {
    let disk = Disk::new();
    let mut shop = Home::new();
    shop.keep_at(disk.journal(), "", "");
    let program = serve(&shop, &disk).await;
    program.furnish().await;
    program.post_once("first", "/api/v1/glue-ups", &glue_up(0.0)).await.good();
    program.terminate().await;
    disk.writable(false);
    let env = disk.env();
    let env: Vec<(&str, &str)> = env.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    let (code, said) = program::refused_with(&shop, &env).await;
    assert_eq!(code, Some(1));
    for part in [disk.journal().parent().unwrap().to_str().unwrap(), "cannot be written"] {
        assert!(said.contains(part), "no {part} in: {said}");
    }
    disk.writable(true);
    let program = serve(&shop, &disk).await;
    assert_eq!(program.ids("/api/v1/glue-ups").await.len(), 1);
    program.terminate().await;
}
