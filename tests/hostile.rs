//! Bad input: whatever is sent, the answer is a whole problem document that says what, where and how to mend it, and the
//! journal and the board are what they were.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

mod fields;
mod scripts;
mod wire;

use bench::{Answer, Bench};
use serde_json::{Value, json};

/// A bench with something of everything on it: a zone that has been read, a job that is closed, a clamp in use, an alert.
async fn lived() -> Bench {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.post("/api/v1/instruments", json!({"id": "lute", "name": "the lute"})).await.good();
    bench.post("/api/v1/lots", json!({"id": "flakes", "material": "shellac"})).await.good();
    let steps = json!([{"id": "glue", "kind": "glue_up", "title": "glue it"}]);
    let job = |id: &str| json!({"id": id, "instrument": "guitar", "title": id, "steps": steps});
    bench.post("/api/v1/jobs", job("done")).await.good();
    bench.post("/api/v1/jobs/done/close", json!({})).await.good();
    bench.post("/api/v1/jobs", job("open")).await.good();
    bench.glue_up("g-1").await;
    let gone = json!({"id": "gone", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
    bench.post("/api/v1/glue-ups", gone).await.good();
    bench.post("/api/v1/glue-ups/gone/withdraw", json!({"reason": "a test"})).await.good();
    bench.live_minutes("bench", 35, 20.0, 50.0).await;
    bench
}

/// Everything on disk and on the board: counts of every table, the last place in the journal, and the board.
async fn whole(bench: &Bench) -> (Vec<i64>, Value) {
    let flags = rusqlite::OpenFlags::SQLITE_OPEN_READ_ONLY;
    let journal = rusqlite::Connection::open_with_flags(&bench.shop.settings.store.path, flags).expect("the journal");
    let count = |sql: &str| journal.query_row(sql, [], |row| row.get::<_, i64>(0)).expect(sql);
    let counts = [
        "SELECT max(seq) FROM journal",
        "SELECT count(*) FROM journal",
        "SELECT count(*) FROM reading",
        "SELECT count(*) FROM answer",
        "SELECT count(*) FROM delivery",
    ];
    (counts.map(count).to_vec(), bench.board().await)
}

/// What is sent, and what must be said: status, kind, the field named (or nothing), a word of the sentence or the mend.
type Row<'a> = (&'a str, Value, u16, &'a str, &'a str, &'a str);

/// Sends each body and holds the answer against its row, and the bench against what it was.
async fn check(bench: &Bench, rows: &[Row<'_>]) {
    let before = whole(bench).await;
    for (path, body, status, slug, field, word) in rows {
        let answer = bench.post_once("a-key", path, body.clone()).await;
        let about = format!("{path} {body}");
        held(answer, *status, slug, field, word, &about);
    }
    assert_eq!(whole(bench).await, before);
}

/// A whole problem document with this field and this word in it.
fn held(answer: Answer, status: u16, slug: &str, field: &str, word: &str, about: &str) {
    let said = format!("{about}\n  {}", answer.text);
    assert_eq!(answer.status, status, "{said}");
    let problem = answer.problem(status, slug);
    assert_eq!(problem["field"].as_str().unwrap_or_default(), field, "{said}");
    let told = ["detail", "mend"].map(|part| problem[part].as_str().unwrap_or_default()).join(" ");
    assert!(told.contains(word), "no \"{word}\": {said}");
}
