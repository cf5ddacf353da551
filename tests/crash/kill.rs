//! Killed at random moments, again and again: every fact that was acknowledged is there once, none twice, every alert that
//! fell due arrives, and the board is the one the journal gives.
//!
//! Twenty kills here; `BENCH_CRASH_ROUNDS=200` in the environment makes it as many as that.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
    },
};

use bench::until;
use benchclock::Now;
use tokio_util::task::TaskTracker;

use super::{Chance, Duration, Home, Program, Value, glue_up, json, sound, webhook};
use crate::http::webhooks::Receiver;

/// Kills in one run of the test.
const ROUNDS: i64 = 20;
/// Who register glue-ups and readings at once.
const CLIENTS: i64 = 6;
/// Old enough for every stage of the rule to be reached in the air of the zone.
const LONG_AGO_MINUTES: f64 = 3.0 * 1440.0;

/// One request a client sent, by its key: where to and what; and what it was told, if it was answered.
#[derive(Debug, Clone)]
struct Sent {
    path: String,
    body: Value,
    told: Option<Value>,
}

impl Sent {
    fn is_old(&self) -> bool {
        self.body["minutes_ago"] == LONG_AGO_MINUTES
    }
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
        let (path, body) = match n % 8 {
            0 => ("/api/v1/glue-ups", glue_up(LONG_AGO_MINUTES)),
            2 | 4 | 6 => ("/api/v1/glue-ups", glue_up(0.0)),
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
        let answer = program.post_once(key, &sent.path, &sent.body).await;
        assert_eq!(answer.status, 201, "{key}: {}", answer.text);
        for field in ["id", "taken"] {
            let told = sent.told.as_ref().map_or(&answer.json[field], |told| &told[field]);
            assert_eq!(&answer.json[field], told, "{key}: what was acknowledged is not what is there");
        }
        sent.told = Some(answer.json);
    }
}

/// Counts in the journal itself: glue-ups, readings, readings that stand twice, and alerts that stand twice.
fn counts(journal: &std::path::Path) -> [i64; 4] {
    let journal = rusqlite::Connection::open(journal).unwrap();
    [
        "SELECT count(*) FROM journal WHERE kind = 'cure_begun'",
        "SELECT count(*) FROM reading",
        "SELECT count(*) FROM (SELECT 1 FROM reading GROUP BY zone, at_ms HAVING count(*) > 1)",
        "SELECT count(*) FROM (SELECT 1 FROM journal WHERE kind = 'alert_raised' \
         GROUP BY json_extract(body, '$.id') HAVING count(*) > 1)",
    ]
    .map(|sql| journal.query_row(sql, [], |row| row.get(0)).unwrap())
}

/// Ids of every alert, part by part.
async fn alerts(program: &Program) -> BTreeSet<String> {
    let (mut ids, mut before) = (BTreeSet::new(), String::new());
    loop {
        let part = program.get(&format!("/api/v1/alerts{before}")).await.good();
        for alert in part["items"].as_array().unwrap() {
            let id = alert["id"].as_str().unwrap().to_string();
            assert!(ids.insert(id.clone()), "{id} is there twice");
        }
        if part["next"].is_null() {
            return ids;
        }
        before = format!("?before={}", part["next"].to_string().trim_matches('"'));
    }
}

/// Alerts the receiver got, each once or oftener: the id says that it is the same.
fn arrived(receiver: &Receiver) -> BTreeSet<String> {
    receiver.got().iter().map(|got| got.body["data"]["id"].as_str().unwrap().to_string()).collect()
}

/// The board without what time it is.
async fn board(program: &Program) -> Value {
    let mut board = program.get("/api/v1/board?limit=1000").await.good();
    board["at"].take();
    board
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_acknowledged_before_a_kill_is_there_exactly_once_and_what_fell_due_arrives() {
    let rounds = std::env::var("BENCH_CRASH_ROUNDS").map_or(ROUNDS, |n| n.parse().expect("a number of rounds"));
    let (receiver, url) = Receiver::start(&[]);
    let (mut shop, now_ms) = (Home::new(), Now::system().ms());
    shop.keep_at(shop.journal(), "", &webhook(&url));
    let mut chance = Chance(0x5eed_0bec);
    let (mut all, mut last) = (BTreeMap::new(), BTreeMap::new());
    let (mut acknowledged, mut lost) = (0, 0);
    for round in 0..rounds {
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
        let enough = 5 + chance.below(60);
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
    println!("{rounds} kills: {acknowledged} requests acknowledged, {lost} not");
    assert!(acknowledged > 0 && lost > 0, "no kill came between: {acknowledged} acknowledged, {lost} not");
    let of = |path: &str| all.values().filter(|sent| sent.path.ends_with(path)).count();
    let id = |sent: &Sent| sent.told.as_ref().unwrap()["id"].as_str().unwrap_or_default().to_string();
    let glue_ups = || all.values().filter(|sent| sent.path.ends_with("glue-ups"));
    let ids: BTreeSet<String> = glue_ups().map(id).collect();
    assert_eq!(program.ids("/api/v1/glue-ups").await, ids);
    assert_eq!(ids.len(), of("glue-ups"));
    everything_due_is_told(&program, &receiver, glue_ups().filter(|sent| sent.is_old()).map(id).collect()).await;
    let grown = board(&program).await;
    program.terminate().await;
    assert_eq!(counts(&shop.journal()), [of("glue-ups") as i64, of("readings") as i64, 0, 0]);
    sound(&shop.journal());
    let program = Program::serve(&shop).await;
    assert_eq!(board(&program).await, grown, "a board made from the journal is the one that grew with it");
    program.terminate().await;
}

/// Each stage of each old glue-up has one alert, and the receiver got it.
#[expect(clippy::print_stdout, reason = "a night of kills says what it came to")]
async fn everything_due_is_told(program: &Program, receiver: &Receiver, old: Vec<String>) {
    let one = program.get(&format!("/api/v1/glue-ups/{}/milestones", old[0])).await.good();
    let stages: Vec<&str> = one["items"].as_array().unwrap().iter().map(|m| m["stage"].as_str().unwrap()).collect();
    assert!(stages.contains(&"clamp_off"), "{one}");
    let due: BTreeSet<String> = old.iter().flat_map(|id| stages.iter().map(move |s| format!("{id}:{s}"))).collect();
    let all = async || {
        let told = alerts(program).await;
        (told.is_superset(&due) && arrived(receiver).is_superset(&due)).then_some(told)
    };
    let told = until("everything due is told and has arrived", all).await;
    assert_eq!(told, due, "something is told that is not due");
    assert_eq!(arrived(receiver), due, "something arrived that was not told");
    println!("{} alerts fell due; they arrived in {} messages", due.len(), receiver.got().len());
}
