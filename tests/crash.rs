//! The real program, killed: what it acknowledged is there when it comes back, once, and nothing else is.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
    },
    time::Duration,
};

use bench::program::{self, Program};
use bench::until;
use benchclock::Now;
use serde_json::{Value, json};
use tokio_util::task::TaskTracker;

/// Kills in one run of the test.
const ROUNDS: i64 = 8;
/// Who register glue-ups and readings at once.
const CLIENTS: i64 = 6;

/// A sequence that is the same on every run: xorshift, seeded.
struct Chance(u64);

impl Chance {
    fn below(&mut self, n: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % n
    }
}

/// One request a client sent, by its key: where to and what; and the id it was told, if it was answered.
#[derive(Debug, Clone)]
struct Sent {
    path: String,
    body: Value,
    told: Option<Value>,
}

/// Sends requests one after another until the program is gone; what was sent and what was answered. `count` is of the
/// answers.
async fn client(url: String, number: i64, now_ms: i64, count: Arc<AtomicU64>) -> BTreeMap<String, Sent> {
    let http = bench::client();
    let mut all = BTreeMap::new();
    for n in 0..10_000 {
        let key = format!("{number}-{n}");
        // Every reading has an instant of its own.
        let at = chrono::DateTime::from_timestamp_millis(now_ms - (number * 10_000 + n) * 1000);
        let at = at.map(|at| at.to_rfc3339());
        let (path, body) = match n % 2 {
            0 => ("/api/v1/glue-ups", json!({"joint": "bridge", "material": "aliphatic-resin", "zone": "bench"})),
            _ => ("/api/v1/readings", json!({"readings": [{"zone": "bench", "at": at, "temp_c": 20, "rh_pct": 50}]})),
        };
        let sent = http.post(format!("{url}{path}")).header("idempotency-key", &key).json(&body).send().await;
        let answered = match sent {
            Ok(answer) if answer.status().is_success() => answer.json::<Value>().await.ok(),
            Ok(answer) => panic!("{key}: {} {:?}", answer.status(), answer.text().await),
            Err(_) => None,
        };
        let gone = answered.is_none();
        count.fetch_add(u64::from(!gone), Ordering::SeqCst);
        all.insert(key, Sent { path: path.into(), body, told: answered });
        if gone {
            break;
        }
    }
    all
}

/// Every request again under its key: what was acknowledged gives the same answer, what was not is done now.
async fn again(program: &Program, sent: &mut BTreeMap<String, Sent>) {
    for (key, sent) in sent.iter_mut() {
        let request = program.http().post(program.url(&sent.path)).header("idempotency-key", key).json(&sent.body);
        let answer = request.send().await.unwrap();
        assert_eq!(answer.status().as_u16(), 201, "{key}");
        let answer: Value = answer.json().await.unwrap();
        for field in ["id", "taken"] {
            let told = sent.told.as_ref().map_or(&answer[field], |told| &told[field]);
            assert_eq!(&answer[field], told, "{key}: what was acknowledged is not what is there");
        }
        sent.told = Some(answer);
    }
}

/// Counts in the journal itself: glue-ups, readings, and readings that stand twice.
fn counts(journal: &std::path::Path) -> [i64; 3] {
    let journal = rusqlite::Connection::open(journal).unwrap();
    [
        "SELECT count(*) FROM journal WHERE kind = 'cure_begun'",
        "SELECT count(*) FROM reading",
        "SELECT count(*) FROM (SELECT 1 FROM reading GROUP BY zone, at_ms HAVING count(*) > 1)",
    ]
    .map(|sql| journal.query_row(sql, [], |row| row.get(0)).unwrap())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_acknowledged_before_a_kill_is_there_exactly_once() {
    let (shop, now_ms) = (program::Home::new(), Now::system().ms());
    let mut chance = Chance(0x5eed_0bec);
    let (mut all, mut last) = (BTreeMap::new(), BTreeMap::new());
    let (mut acknowledged, mut lost) = (0, 0);
    for round in 0..ROUNDS {
        let program = Program::serve(&shop).await;
        if round == 0 {
            program.furnish().await;
        }
        // What the last round sent is tried again first, as a client would.
        again(&program, &mut last).await;
        all.append(&mut last);
        let count = Arc::new(AtomicU64::new(0));
        let tracker = TaskTracker::new();
        let clients: Vec<_> = (0..CLIENTS)
            .map(|n| tracker.spawn(client(program.url(""), round * CLIENTS + n, now_ms, count.clone())))
            .collect();
        // So many answers, and then somewhere in the middle of the next.
        let enough = 10 + chance.below(90);
        until("the clients are at work", async || (count.load(Ordering::SeqCst) >= enough).then_some(())).await;
        tokio::time::sleep(Duration::from_micros(chance.below(20_000))).await;
        program.kill();
        for client in clients {
            let sent = client.await.unwrap();
            acknowledged += sent.values().filter(|sent| sent.told.is_some()).count();
            lost += sent.values().filter(|sent| sent.told.is_none()).count();
            last.extend(sent);
        }
    }
    let program = Program::serve(&shop).await;
    all.append(&mut last);
    again(&program, &mut all).await;
    let of = |path: &str| all.values().filter(|sent| sent.path.ends_with(path)).count();
    assert!(acknowledged > 0 && lost > 0, "no kill came between: {acknowledged} acknowledged, {lost} not");
    let ids: BTreeSet<String> =
        all.values().filter_map(|sent| Some(sent.told.as_ref()?["id"].as_str()?.into())).collect();
    assert_eq!(program.ids("/api/v1/glue-ups").await, ids);
    assert_eq!(ids.len(), of("glue-ups"));
    program.terminate().await;
    assert_eq!(counts(&shop.journal()), [of("glue-ups") as i64, of("readings") as i64, 0]);
    let journal = rusqlite::Connection::open(shop.journal()).unwrap();
    let sound: String = journal.query_row("PRAGMA integrity_check", [], |row| row.get(0)).unwrap();
    assert_eq!(sound, "ok");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_program_that_is_asked_to_end_ends_with_nothing_to_report() {
    for signal in ["TERM", "INT"] {
        let shop = program::Home::new();
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
    let shop = program::Home::new();
    for _ in 0..10 {
        Program::serve(&shop).await.terminate().await;
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_programs_do_not_share_one_address() {
    let shop = program::Home::new();
    let program = Program::serve(&shop).await;
    let other = program::Home::new();
    other.listen(program.url("").trim_start_matches("http://"));
    let (code, said) = program::refused(&other).await;
    assert_eq!(code, Some(1));
    assert!(said.contains("server.listen"), "{said}");
    program.terminate().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_journal_written_by_a_newer_program_is_refused_with_a_sentence_and_left_alone() {
    let shop = program::Home::new();
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
    let shop = program::Home::new();
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
