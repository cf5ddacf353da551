//! The one writer when more comes than the disk takes: what may not wait is refused at once with when to come again, and
//! whatever was let in is on disk when it is answered.

use std::sync::{
    Arc, Barrier,
    atomic::{AtomicUsize, Ordering},
    mpsc::channel,
};

use bench::{Bench, Shop, until};
use benchclock::Now;
use facts::{Reading, Recorded};
use futures_util::future::join_all;
use serde_json::json;
use store::{Answer, Database, Error, Keeper, Outcome, Said, Saying, Sqlite, Writer};

/// A keeper that takes nothing in until it is let go.
struct Slow {
    begun: Arc<Barrier>,
    go: Arc<Barrier>,
    first: bool,
}

impl Keeper for Slow {
    type Refusal = ();

    fn admit(&mut self, _: &Saying) -> Result<(), ()> {
        Ok(())
    }

    fn claims(&self, _: &Saying) -> Vec<String> {
        vec![]
    }

    fn take(&mut self, _: &[Recorded], _: &[Reading]) {
        if std::mem::take(&mut self.first) {
            self.begun.wait();
            self.go.wait();
        }
    }
}

fn saying(n: usize) -> Saying {
    let answer = Answer { key: n.to_string(), fingerprint: "f".into(), status: 201, body: "{}".into() };
    Saying { answer: Some(answer), recorded_ms: 1, ..Saying::default() }
}

#[test]
fn a_full_queue_refuses_at_once_and_drops_nothing_it_let_in() {
    const OFFERED: usize = 12_000;
    const WAITING: usize = 8192;
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("journal.db");
    let (begun, go) = (Arc::new(Barrier::new(2)), Arc::new(Barrier::new(2)));
    let keeper = Slow { begun: begun.clone(), go: go.clone(), first: true };
    let (writer, thread) = Writer::start(Box::new(Sqlite::open(&path, "shop").unwrap()), keeper, WAITING).unwrap();
    let (tell, told) = channel();
    let say = |n: usize| {
        let tell = tell.clone();
        writer.say(saying(n), move |outcome| tell.send((n, outcome)).unwrap());
    };
    say(0);
    begun.wait();
    (1..OFFERED).for_each(say);
    // The disk has not moved, and those who may not wait know already.
    let refused: Vec<usize> = told
        .try_iter()
        .map(|(n, outcome)| match outcome {
            Outcome::Failed(error) => {
                assert!(matches!(*error, Error::Busy { waiting } if waiting > 1000), "{error}");
                n
            }
            _ => panic!("{n} was answered before it was taken in"),
        })
        .collect();
    assert!(refused.len() > 1000, "only {} of {OFFERED} were refused", refused.len());
    assert_eq!(writer.waiting(), OFFERED - refused.len());
    // Whoever wants something else of the database is not held up either.
    let asked = Arc::new(AtomicUsize::new(0));
    let heard = asked.clone();
    writer.act(move |database| heard.store(if database.is_err() { 1 } else { 2 }, Ordering::SeqCst));
    assert_eq!(asked.load(Ordering::SeqCst), 1);
    go.wait();
    let kept: Vec<usize> = (0..OFFERED - refused.len())
        .map(|_| match told.recv().unwrap() {
            (n, Outcome::Said(Said::Kept)) => n,
            (n, _) => panic!("{n} was let in and not kept"),
        })
        .collect();
    writer.stop();
    thread.join().unwrap();
    let mut store = Sqlite::open(&path, "shop").unwrap();
    for n in kept {
        assert!(!store.answers(&[&n.to_string()]).unwrap().is_empty(), "{n} was acknowledged and is not there");
    }
    for n in refused {
        assert!(store.answers(&[&n.to_string()]).unwrap().is_empty(), "{n} was refused and is there");
    }
}

#[test]
fn a_full_queue_is_answered_with_when_to_come_again() {
    use actix_web::ResponseError;
    let answer = benchclock::Problem::from(&Error::Busy { waiting: 8192 }).error_response();
    assert_eq!(answer.status(), 503);
    assert_eq!(answer.headers().get("retry-after").unwrap(), "1");
    assert_eq!(answer.headers().get("content-type").unwrap(), "application/problem+json");
}

/// Another process holds the journal, so that nothing is written, and more comes than may wait.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn over_http_a_full_queue_says_when_to_come_again_and_keeps_what_it_acknowledged() {
    const MAY_WAIT: usize = 16;
    const OFFERED: usize = 200;
    let mut shop = Shop::small();
    shop.settings.store.waiting = MAY_WAIT;
    let journal = shop.settings.store.path.clone();
    let bench = Bench::open(shop, Now::system(), false).await;
    bench.furnish().await;
    let offer = async |n: usize| {
        let clamp = json!({"id": format!("c-{n}"), "name": "cam"});
        bench.post_once(&format!("key-{n}"), "/api/v1/clamps", clamp).await
    };
    let before = bench.items("/api/v1/clamps?limit=1000").await.len();
    let other = rusqlite::Connection::open(&journal).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    let full = AtomicUsize::new(0);
    let offers = join_all((0..OFFERED).map(async |n| {
        let answer = offer(n).await;
        if answer.status == 503 && answer.json["type"] == "urn:benchclock:problem:busy" {
            full.fetch_add(1, Ordering::SeqCst);
        }
        answer
    }));
    let let_go = async {
        until("the queue is full", async || (full.load(Ordering::SeqCst) > 0).then_some(())).await;
        // Everything can still be read.
        assert_eq!(bench.items("/api/v1/clamps?limit=1000").await.len(), before);
        other.execute_batch("ROLLBACK").unwrap();
    };
    let (answers, ()) = tokio::join!(offers, let_go);
    let (mut kept, mut refused) = (0, vec![]);
    for (n, answer) in answers.into_iter().enumerate() {
        if answer.status == 201 {
            kept += 1;
            continue;
        }
        assert_eq!(answer.retry_after, Some(1), "{}", answer.text);
        // Who was let in and waited too long for the other process is told that.
        let word = if answer.json["type"] == "urn:benchclock:problem:busy" { "busy" } else { "unavailable" };
        answer.problem(503, word);
        refused.push(n);
    }
    assert!(full.load(Ordering::SeqCst) > 0);
    assert_eq!(bench.items("/api/v1/clamps?limit=1000").await.len(), before + kept);
    // Under the same keys it comes again, and all of it is there once.
    for n in &refused {
        offer(*n).await.good();
    }
    assert_eq!(bench.items("/api/v1/clamps?limit=1000").await.len(), before + OFFERED);
    bench.stop().await;
}
