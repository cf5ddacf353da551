//! A disk that fails at one call: laid between the real program and the system (`tests/peers/failing_disk.c`). Whichever call
//! it is and however it fails, the answer is a problem or the fact is there, and the same request again makes one fact of it.
//!
//! As SQLite's own tests do it (sqlite.org/testing.html, "I/O error testing"): the first call fails, then the second, and so
//! on until nothing fails any more.

use std::{
    path::Path,
    sync::atomic::{AtomicU64, Ordering},
};

use bench::program::laid_over;
use tempfile::TempDir;

use super::{Home, Program, glue_up, json, sound};

const EIO: i32 = 5;
const ENOSPC: i32 = 28;
const EROFS: i32 = 30;

/// A folder whose journal is on a disk that fails when it is told to.
pub(super) struct Failing {
    folder: TempDir,
    serial: AtomicU64,
}

impl Failing {
    pub(super) fn new() -> Self {
        Self { folder: tempfile::tempdir().unwrap(), serial: AtomicU64::new(0) }
    }

    pub(super) fn folder(&self) -> &Path {
        self.folder.path()
    }

    pub(super) fn env(&self) -> Vec<(String, String)> {
        let text = |path: &Path| path.display().to_string();
        let control = self.folder().join("disk");
        vec![
            ("LD_PRELOAD".into(), laid_over("failing_disk")),
            ("BENCH_DISK".into(), text(&control)),
            ("BENCH_DISK_OF".into(), text(&self.folder().join("journal.db"))),
        ]
    }

    /// From the `from`-th such call on it fails, so many times; 0 is for ever.
    pub(super) fn fail(&self, call: &str, errno: i32, from: u64, times: u64) {
        let serial = self.serial.fetch_add(1, Ordering::SeqCst);
        self.say(&format!("{serial} {call} {errno} {from} {times}"));
    }

    pub(super) fn heal(&self) {
        self.say("");
    }

    /// Whole or not at all, since the program reads it at every call.
    fn say(&self, text: &str) {
        let fresh = self.folder().join("disk-new");
        std::fs::write(&fresh, text).unwrap();
        std::fs::rename(fresh, self.folder().join("disk")).unwrap();
    }
}

async fn serve(disk: &Failing) -> (Home, Program) {
    let mut shop = Home::new();
    shop.keep_at(disk.folder().join("journal.db"), "", "");
    let env = disk.env();
    let env: Vec<(&str, &str)> = env.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    let program = Program::serve_with(&shop, &env, &[]).await;
    program.furnish().await;
    (shop, program)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whichever_call_fails_a_fact_is_written_once_or_refused() {
    let disk = Failing::new();
    let (shop, program) = serve(&disk).await;
    let (mut made, mut refused) = (0, 0);
    for (call, errno) in [("write", EIO), ("write", ENOSPC), ("write", EROFS), ("sync", EIO), ("all", EIO)] {
        let mut missed = 0;
        for nth in 1..40 {
            disk.fail(call, errno, nth, 1);
            let key = format!("{call}-{errno}-{nth}");
            let answer = program.post_once(&key, "/api/v1/glue-ups", &glue_up(0.0)).await;
            disk.heal();
            match answer.status {
                201 => missed += 1,
                507 => drop(answer.problem(507, "disk-full")),
                _ => drop(answer.problem(503, "unavailable")),
            }
            refused += usize::from(missed == 0);
            let again = program.post_once(&key, "/api/v1/glue-ups", &glue_up(0.0)).await;
            assert_eq!(again.status, 201, "{key}: {}", again.text);
            made += 1;
            // The commit is over before that call: nothing fails any more.
            if missed == 2 {
                break;
            }
        }
        assert!(missed > 0, "{call} {errno}: a commit of forty calls?");
    }
    println!("{made} glue-ups, of which {refused} were refused at first");
    assert!(refused >= 10, "only {refused} calls failed");
    assert_eq!(program.ids("/api/v1/glue-ups").await.len(), made);
    program.kill();
    sound(&disk.folder().join("journal.db"));
    let program = Program::serve(&shop).await;
    assert_eq!(program.ids("/api/v1/glue-ups").await.len(), made);
    program.terminate().await;
}

/// As when the system makes a disk read-only under a running program because it found it broken.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_disk_that_becomes_read_only_under_it_is_said_and_it_goes_on_after() {
    let disk = Failing::new();
    let (shop, program) = serve(&disk).await;
    program.post_once("first", "/api/v1/glue-ups", &glue_up(0.0)).await.good();
    disk.fail("all", EROFS, 1, 0);
    let refused = program.post_once("second", "/api/v1/glue-ups", &glue_up(0.0)).await;
    assert_eq!(refused.retry_after, Some(1));
    let problem = refused.problem(503, "unavailable");
    assert!(problem["detail"].as_str().unwrap().contains("journal.db"), "{problem}");
    for path in ["/api/v1/board", "/", "/api/v1/alerts", "/health/live"] {
        assert_eq!(program.get(path).await.status, 200, "{path}");
    }
    assert_eq!(program.ids("/api/v1/glue-ups").await.len(), 1);
    let ready = program.get("/health/ready").await;
    assert_eq!((ready.status, &ready.json["store"]["ok"]), (503, &json!(false)));
    disk.heal();
    program.post_once("second", "/api/v1/glue-ups", &glue_up(0.0)).await.good();
    assert_eq!(program.get("/health/ready").await.json["store"]["ok"], true);
    assert_eq!(program.ids("/api/v1/glue-ups").await.len(), 2);
    program.terminate().await;
    drop(shop);
}
