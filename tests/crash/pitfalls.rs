//! What SQLite is known to do to those who do not read its manual, one test each: sqlite.org/isolation.html (a snapshot that
//! is too old to write), sqlite.org/wal.html (a log that grows while somebody reads; a copy without it), sqlite.org/mmap.html,
//! sqlite.org/howtocorrupt.html section 2.2 (locks that go when another descriptor is closed).

use std::{path::Path, sync::mpsc::sync_channel, time::Duration};

use facts::ZoneId;
use store::{Answer, Database, Error, Off, Run, Saying, Sqlite, Subscription, Token};

use super::{Home, Program, glue_up, sound};

fn answer(key: String, body: String) -> Saying {
    let fingerprint = "f".into();
    Saying { answer: Some(Answer { key, fingerprint, status: 201, body }), recorded_ms: 1, ..Saying::default() }
}

type Write<'a> = Box<dyn FnMut(&mut Sqlite, i64) -> Result<(), Error> + 'a>;

/// A transaction that reads before it writes fails at once when another process wrote in between, however long it would wait
/// for a lock. So none here begins by reading.
#[test]
fn no_write_fails_because_another_process_wrote_meanwhile() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("journal.db");
    let mut store = Sqlite::open(&path, "shop").unwrap();
    let (other, (tell, wrote)) = (rusqlite::Connection::open(&path).unwrap(), sync_channel(0));
    let others = std::thread::spawn(move || {
        other.busy_timeout(Duration::from_secs(10)).unwrap();
        for n in 0.. {
            other.execute("INSERT OR REPLACE INTO run (job, at_ms, error) VALUES ('other', ?1, NULL)", [n]).unwrap();
            if tell.send(()).is_err() {
                return n;
            }
        }
        0
    });
    // Since the last word of the other process it has written again, or is at it.
    let meanwhile = || wrote.recv_timeout(Duration::from_secs(30)).unwrap();
    let zone = ZoneId::new("bench").unwrap();
    let subscription = Subscription {
        id: "s".into(),
        person: "mia".into(),
        endpoint: "https://push.example.org/1".into(),
        p256dh: "k".into(),
        auth: "a".into(),
        added_ms: 1,
    };
    let off = Off { channel: "phone".into(), address: "http://h".into(), since_ms: 1, why: "410".into() };
    let token = Token {
        id: String::new(),
        name: "mia".into(),
        role: "bench".into(),
        zones: vec![],
        session: false,
        made_ms: 1,
        made_by: "olga".into(),
        used_ms: None,
        revoked: None,
    };
    let run = Run { job: "plan".into(), at_ms: 1, error: None };
    let mut writes: Vec<(&str, Write<'_>)> = vec![
        (
            "answers",
            Box::new(|store, n| {
                store.answers(&[&n.to_string()])?;
                store.commit(&[&answer(n.to_string(), "{}".into())]).map(drop)
            }),
        ),
        (
            "deliveries",
            Box::new(|store, _| {
                store.due_deliveries(i64::MAX, 10)?;
                store.record_deliveries(&[], &[])
            }),
        ),
        ("subscription", Box::new(|store, _| store.put_subscription(&subscription))),
        ("forgets it", Box::new(|store, _| store.forget_subscription("s").map(drop))),
        ("off", Box::new(|store, _| store.switch_off(&off))),
        ("on", Box::new(|store, _| store.switch_on("phone"))),
        (
            "a token",
            Box::new(|store, n| {
                store.tokens()?;
                let session = n > 0;
                store.add_token(&Token { id: n.to_string(), session, ..token.clone() }).map(|added| assert!(added))
            }),
        ),
        ("used", Box::new(|store, n| store.token_used(&n.to_string(), n))),
        ("ends a session", Box::new(|store, n| store.end_session(&n.to_string()))),
        ("takes away", Box::new(|store, _| store.revoke_token("mia", "olga", 1).map(drop))),
        ("a run", Box::new(|store, _| store.record_run(&run))),
        ("thins", Box::new(|store, _| store.thin_readings(&zone, 0, &[]))),
        ("means", Box::new(|store, _| store.forget_means(0))),
        ("finished", Box::new(|store, _| store.forget_finished(0))),
        ("probe", Box::new(|store, _| store.probe())),
    ];
    for n in 0..5 {
        for (what, write) in &mut writes {
            meanwhile();
            write(&mut store, n).unwrap_or_else(|e| panic!("{what}: {e}"));
        }
    }
    drop(wrote);
    let theirs = others.join().unwrap();
    assert!(theirs >= 75, "the other process hardly wrote: {theirs}");
    assert_eq!(store.answers(&["4"]).unwrap().first().map(|kept| kept.status), Some(201));
}

fn log_bytes(journal: &Path) -> u64 {
    std::fs::metadata(journal.with_extension("db-wal")).unwrap().len()
}

#[test]
fn a_log_that_grew_while_somebody_read_for_long_is_cut_back_afterwards() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("journal.db");
    let mut store = Sqlite::open(&path, "shop").unwrap();
    store.commit(&[&answer("first".into(), "{}".into())]).unwrap();
    let reader = rusqlite::Connection::open(&path).unwrap();
    reader.execute_batch("BEGIN").unwrap();
    let count = |sql: &str| reader.query_row(sql, [], |row| row.get::<_, i64>(0)).unwrap();
    assert_eq!(count("SELECT count(*) FROM answer"), 1);
    for n in 0..40 {
        store.commit(&[&answer(format!("large-{n}"), "x".repeat(1 << 20))]).unwrap();
    }
    let grown = log_bytes(&path);
    assert!(grown > 40 << 20, "it did not grow: {grown}");
    assert_eq!(count("SELECT count(*) FROM answer"), 1, "the reader's view moved");
    reader.execute_batch("COMMIT").unwrap();
    for n in 0..3 {
        store.commit(&[&answer(format!("after-{n}"), "{}".into())]).unwrap();
    }
    let left = log_bytes(&path);
    assert!(left <= 17 << 20, "{grown} bytes became {left}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_journal_is_not_mapped_into_memory_and_its_locks_outlive_copies_and_exports() {
    let shop = Home::new();
    let program = Program::serve(&shop).await;
    program.furnish().await;
    program.post_once("first", "/api/v1/glue-ups", &glue_up(0.0)).await.good();
    for path in ["/api/v1/export", "/api/v1/export/facts.csv", "/health/ready", "/metrics"] {
        assert_eq!(program.get(path).await.status, 200, "{path}");
    }
    let copy = shop.folder().join("copy.db");
    let config = shop.config();
    let arguments = ["backup".as_ref(), copy.as_os_str(), "--config".as_ref(), config.as_os_str()];
    bench::program::command(arguments).await.good();
    let maps = std::fs::read_to_string(format!("/proc/{}/maps", program.pid())).unwrap();
    let mapped: Vec<&str> = maps.lines().filter(|line| line.contains("journal.db")).collect();
    assert!(mapped.iter().all(|line| line.ends_with("-shm")), "{mapped:?}");
    // Were a lock lost, another process could now have the journal to itself.
    let other = rusqlite::Connection::open(shop.journal()).unwrap();
    other.busy_timeout(Duration::ZERO).unwrap();
    let alone = other.execute_batch("PRAGMA locking_mode = EXCLUSIVE; BEGIN EXCLUSIVE; COMMIT");
    assert_eq!(alone.unwrap_err().sqlite_error_code(), Some(rusqlite::ErrorCode::DatabaseBusy));
    drop(other);
    program.post_once("second", "/api/v1/glue-ups", &glue_up(0.0)).await.good();
    program.terminate().await;
    sound(&shop.journal());
}

/// A copy of the file alone lacks what stands in its log; a backup does not.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_backup_holds_what_a_copy_of_the_file_would_lack() {
    let shop = Home::new();
    let program = Program::serve(&shop).await;
    program.furnish().await;
    program.post_once("first", "/api/v1/glue-ups", &glue_up(0.0)).await.good();
    let (copy, bare) = (shop.folder().join("copy.db"), shop.folder().join("bare.db"));
    std::fs::copy(shop.journal(), &bare).unwrap();
    let config = shop.config();
    let arguments = ["backup".as_ref(), copy.as_os_str(), "--config".as_ref(), config.as_os_str()];
    bench::program::command(arguments).await.good();
    let glue_ups = |path: &Path| {
        let journal = rusqlite::Connection::open(path).unwrap();
        journal.query_row("SELECT count(*) FROM journal WHERE kind = 'cure_begun'", [], |row| row.get::<_, i64>(0))
    };
    assert_eq!(glue_ups(&copy).unwrap(), 1);
    assert_ne!(glue_ups(&bare).ok(), Some(1), "the log was empty: this shows nothing");
    sound(&copy);
    program.terminate().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_sqlite_in_use_is_none_with_the_fault_in_its_log() {
    // sqlite.org/changes.html: "Fix the WAL-reset database corruption bug" in 3.51.3 of 2026-03-13.
    let shop = Home::new();
    let program = Program::serve(&shop).await;
    let ready = program.get("/health/ready").await.json;
    let version: Vec<u32> = ready["sqlite"].as_str().unwrap().split('.').map(|n| n.parse().unwrap()).collect();
    assert!(version >= vec![3, 51, 3], "{version:?}");
    program.terminate().await;
}
