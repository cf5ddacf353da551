//! The real program, killed, on disks that are full, locked, failing or torn: what it acknowledged is there when it comes
//! back, once, and nothing else is.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

mod disk;
mod failing;
mod kill;
mod listeners;
mod pitfalls;
mod queue;
mod torn;

use std::time::Duration;

use bench::program::{self, Home, Program};
use serde_json::{Value, json};

/// A sequence that is the same on every run: xorshift, seeded.
pub(crate) struct Chance(pub(crate) u64);

impl Chance {
    pub(crate) fn below(&mut self, n: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % n
    }
}

/// A glue-up of the bridge, begun so many minutes ago.
fn glue_up(minutes_ago: f64) -> Value {
    json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench", "minutes_ago": minutes_ago})
}

/// The settings of one webhook.
fn webhook(url: &str) -> String {
    let secret = crate::http::webhooks::SECRET;
    format!("[[webhooks]]\nname = \"phone\"\nurl = {url:?}\nsecret = {secret:?}\n")
}

/// Whether the journal is sound, by SQLite's own judgement.
fn sound(journal: &std::path::Path) {
    let journal = rusqlite::Connection::open(journal).unwrap();
    let verdict: String = journal.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    assert_eq!(verdict, "ok");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_program_that_is_asked_to_end_ends_with_nothing_to_report() {
    for signal in ["TERM", "INT"] {
        let shop = Home::new();
        let program = Program::serve(&shop).await;
        program.furnish().await;
        // Somebody listens, as a board on the wall does.
        let listening = program.http().get(program.url("/api/v1/events")).send().await.unwrap();
        assert_eq!(listening.status().as_u16(), 200);
        assert_eq!(program.end(signal).await, Some(0), "{signal}");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_program_may_be_ended_the_moment_it_names_its_address() {
    let shop = Home::new();
    for _ in 0..10 {
        Program::serve(&shop).await.terminate().await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_programs_do_not_share_one_address() {
    let shop = Home::new();
    let program = Program::serve(&shop).await;
    let other = Home::new();
    other.listen(program.url("").trim_start_matches("http://"));
    let (code, said) = program::refused(&other).await;
    assert_eq!(code, Some(1));
    assert!(said.contains("server.listen"), "{said}");
    program.terminate().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_journal_written_by_a_newer_program_is_refused_with_a_sentence_and_left_alone() {
    let shop = Home::new();
    let program = Program::serve(&shop).await;
    program.furnish().await;
    program.terminate().await;
    let version = |journal: &rusqlite::Connection| {
        journal.pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0)).unwrap()
    };
    let journal = rusqlite::Connection::open(shop.journal()).unwrap();
    let newer = version(&journal) + 1;
    journal.pragma_update(None, "user_version", newer).unwrap();
    drop(journal);
    let (code, said) = program::refused(&shop).await;
    assert_eq!(code, Some(1));
    for part in ["journal.db", &format!("schema {newer}"), "start the newer benchclock"] {
        assert!(said.contains(part), "no {part} in: {said}");
    }
    assert_eq!(version(&rusqlite::Connection::open(shop.journal()).unwrap()), newer);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_setting_that_is_wrong_is_named_before_anything_starts() {
    let shop = Home::new();
    for (line, key) in [
        ("[server]\nlissen = \"127.0.0.1:0\"", "lissen"),
        ("[server]\nlisten = \"here\"", "server.listen"),
        ("[shop]\ntime_zone = \"Middle/Earth\"", "shop.time_zone"),
        ("[server", "(file)"),
    ] {
        shop.write(line);
        let (code, said) = program::refused(&shop).await;
        assert_eq!(code, Some(1), "{line}");
        assert!(said.contains(key), "no {key} in: {said}");
    }
    assert!(!shop.journal().exists());
}
