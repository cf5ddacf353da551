//! The event stream: every fact as it is taken in, and exactly what was missed to a listener that comes back.

use std::time::Duration;

use bench::Bench;
use serde_json::{Value, json};

/// One event as it came.
#[derive(Debug, PartialEq)]
pub(crate) struct Event {
    pub(crate) id: Option<i64>,
    pub(crate) name: String,
    pub(crate) data: Value,
}

/// Somebody who listens.
pub(crate) struct Listener {
    answer: reqwest::Response,
    heard: String,
}

impl Listener {
    /// Comes to the stream, with the id of the last event heard before.
    pub(crate) async fn come(bench: &Bench, last: Option<i64>) -> Self {
        Self::with(bench, last, None).await
    }

    /// The same, with a token.
    async fn with(bench: &Bench, last: Option<i64>, token: Option<&str>) -> Self {
        let mut request = bench.http().get(bench.url("/api/v1/events"));
        if let Some(token) = token {
            request = request.bearer_auth(token);
        }
        if let Some(last) = last {
            request = request.header("last-event-id", last.to_string());
        }
        let answer = request.send().await.unwrap();
        assert_eq!(answer.headers()["content-type"], "text/event-stream");
        let mut listener = Self { answer, heard: String::new() };
        // The first line is sent once the listener is known, so that nothing said from here on is missed.
        assert_eq!(listener.block().await.as_deref(), Some("retry: 2000"));
        listener
    }

    /// The next block of lines; none when the stream ended.
    async fn block(&mut self) -> Option<String> {
        loop {
            if let Some((block, rest)) = self.heard.split_once("\n\n") {
                let block = block.to_string();
                self.heard = rest.to_string();
                return Some(block);
            }
            match self.answer.chunk().await {
                Ok(Some(chunk)) => self.heard.push_str(std::str::from_utf8(&chunk).unwrap()),
                Ok(None) | Err(_) => return None,
            }
        }
    }

    /// The next event, past heartbeats; none when the stream ended.
    pub(crate) async fn event(&mut self) -> Option<Event> {
        let next = async {
            loop {
                let block = self.block().await?;
                let field = |name: &str| block.lines().find_map(|line| line.strip_prefix(name));
                let Some(name) = field("event: ").filter(|name| *name != "here") else { continue };
                let data = serde_json::from_str(field("data: ").unwrap()).unwrap();
                return Some(Event { id: field("id: ").map(|id| id.parse().unwrap()), name: name.into(), data });
            }
        };
        tokio::time::timeout(Duration::from_secs(60), next).await.expect("an event comes")
    }

    /// The next alert or fact.
    pub(crate) async fn fact(&mut self) -> Event {
        loop {
            let event = self.event().await.expect("the stream goes on");
            if event.id.is_some() {
                return event;
            }
        }
    }
}

#[tokio::test]
async fn an_alert_comes_over_the_stream_with_its_place_in_the_journal() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let mut listener = Listener::come(&bench, None).await;
    bench.glue_up("g-1").await;
    let begun = listener.fact().await;
    assert_eq!((begun.name.as_str(), &begun.data["fact"]["kind"]), ("fact", &json!("cure_begun")));
    bench.read_air("bench", 20.0, 50.0).await;
    let reading = listener.event().await.unwrap();
    assert_eq!((reading.name.as_str(), reading.id), ("reading", None));
    bench.live_minutes("bench", 35, 20.0, 50.0).await;
    let told = listener.fact().await;
    assert_eq!((told.name.as_str(), &told.data["fact"]["id"]), ("alert", &json!("g-1:scrape_flush")));
    assert_eq!(told.id, bench.alert("g-1:scrape_flush").await["seq"].as_i64());
    bench.stop().await;
}

#[tokio::test]
async fn a_listener_that_comes_back_hears_exactly_what_it_missed() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let mut whole = Listener::come(&bench, Some(0)).await;
    let mut first = Listener::come(&bench, None).await;
    bench.glue_up("g-1").await;
    let last = first.fact().await;
    drop(first);
    bench.live_minutes("bench", 65, 20.0, 50.0).await;
    bench.post("/api/v1/alerts/g-1:clamp_off/acknowledge", json!({})).await.good();
    let mut heard = vec![];
    while heard.last().is_none_or(|event: &Event| event.data["fact"]["kind"] != "alert_acknowledged") {
        heard.push(whole.fact().await);
    }
    let ids: Vec<_> = heard.iter().map(|event| event.id.unwrap()).collect();
    assert!(ids.is_sorted_by(|a, b| *b == a + 1) && ids[0] == 1, "{ids:?}");
    drop(whole);
    // What was missed is read from the journal, so a restart in between changes nothing.
    let bench = bench.restart(false).await;
    let mut back = Listener::come(&bench, last.id).await;
    bench.post("/api/v1/instruments", json!({"id": "lute", "name": "the lute"})).await.good();
    for missed in heard.into_iter().filter(|event| event.id > last.id) {
        assert_eq!(back.fact().await, missed);
    }
    assert_eq!(back.fact().await.data["fact"]["id"], "lute");
    drop(back);
    bench.stop().await;
}

/// A journal restored from a backup, or a demo made anew, is shorter than the one the listener last heard.
#[tokio::test]
async fn a_listener_that_comes_from_another_journal_hears_what_is_said_now() {
    let bench = Bench::small().await;
    bench.furnish().await;
    let mut stray = Listener::come(&bench, Some(1_000_000)).await;
    bench.post("/api/v1/instruments", json!({"id": "lute", "name": "the lute"})).await.good();
    assert_eq!(stray.fact().await.data["fact"]["id"], "lute");
    bench.stop().await;
}

#[tokio::test]
async fn the_text_of_a_rule_does_not_go_over_the_stream() {
    let bench = Bench::small().await;
    let mut listener = Listener::come(&bench, Some(0)).await;
    let rule = listener.fact().await;
    assert_eq!(rule.data["fact"]["kind"], "rule_put_in_force");
    assert_eq!(rule.data["fact"].get("text"), None);
    let bad = bench.http().get(bench.url("/api/v1/events")).header("last-event-id", "yesterday");
    bench.send(bad).await.problem(400, "malformed");
    drop(listener);
    bench.stop().await;
}

/// Who may not take the whole journal along is not told it by its events either: a thousand facts are plenty to catch up.
#[tokio::test]
async fn a_viewer_catches_up_with_the_last_thousand_facts_and_the_owner_with_all() {
    let bench = Bench::small().await;
    for n in 0..1_001 {
        bench.post("/api/v1/clamps", json!({"id": format!("c-{n}"), "name": "bar"})).await.good();
    }
    let viewer = crate::access::token(&bench, json!({"id": "wall", "role": "viewer"})).await;
    let owner = crate::access::token(&bench, json!({"id": "olga", "role": "owner"})).await;
    let first = async |token: &str| Listener::with(&bench, Some(0), Some(token)).await.fact().await;
    assert_eq!(first(&owner).await.id, Some(1));
    let shown = first(&viewer).await;
    // Of 1,001 clamps and the rules before them the viewer hears the later clamps only.
    assert!(shown.id > Some(1), "{shown:?}");
    assert!(shown.data["fact"]["id"].as_str().is_some_and(|id| id.starts_with("c-")), "{shown:?}");
    bench.stop().await;
}
