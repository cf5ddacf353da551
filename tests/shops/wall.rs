//! What is one shop's no other sees, changes or is told, whichever database keeps them.

use std::{io::Cursor, time::Duration};

use bench::{Answer, postgres, until};
use benchclock::Service;
use futures_util::future::join_all;
use reqwest::{Method, RequestBuilder};
use serde_json::{Value, json};

use super::Pair;
use crate::{
    access::roles::table,
    http::webhooks::{Receiver, SECRET},
};

/// Sends a request until it is not told to ask more slowly; the word of the problem that turned it away, if one did.
async fn turned_away(ask: impl Fn() -> RequestBuilder) -> Option<String> {
    loop {
        let answer = ask().send().await.unwrap();
        let media = answer.headers().get("content-type").map_or("", |v| v.to_str().unwrap());
        // What is no refusal is not read: a stream of events has no end.
        if !matches!(answer.status().as_u16(), 401 | 403 | 429) || media != "application/problem+json" {
            return None;
        }
        let answer = Answer::of(answer).await;
        match answer.json["type"].as_str().unwrap().rsplit(':').next().unwrap() {
            "too-many" if !answer.text.contains("wrong tokens") => tokio::time::sleep(Duration::from_millis(100)).await,
            word => return Some(word.into()),
        }
    }
}

fn filled(path: &str) -> String {
    let mut path = path.replace("/zones/{id}", "/zones/bench");
    while let (Some(from), Some(to)) = (path.find('{'), path.find('}')) {
        path.replace_range(from..=to, "none");
    }
    path
}

/// What a browser is given that shows the owner's token of a shop.
async fn session(pair: &Pair, at: usize) -> String {
    let form = format!("token={}", pair.owners[at]);
    let enter = pair.ask(at, Method::POST, "/login").header("content-type", "application/x-www-form-urlencoded");
    let entered = enter.body(form).send().await.unwrap();
    assert_eq!(entered.status(), 303);
    entered.headers()["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_string()
}

#[tokio::test]
async fn who_has_a_token_of_one_shop_is_a_stranger_to_the_other_at_every_address() {
    let pair = Pair::start("", "", ["", ""]).await;
    pair.furnish(0).await;
    pair.furnish(1).await;
    let cookie = session(&pair, 0).await;
    for row in table() {
        let path = filled(&row.path);
        let request = |at: usize| {
            let request = pair.ask(at, row.method.clone(), &path);
            if row.method == Method::GET { request } else { request.json(&json!({})) }
        };
        let (of, owner) = (format!("{} {}", row.method, row.path), &pair.owners[0]);
        let at_home = row.path != "/logout" && row.may[0];
        assert!(!at_home || turned_away(|| request(0).bearer_auth(owner)).await.is_none(), "{of} is not its owner's");
        assert!(!at_home || turned_away(|| request(0).header("cookie", &cookie)).await.is_none(), "{of}: no session");
        // A token that is none of the shop's is refused everywhere; after a few of them, without a look.
        let shown = turned_away(|| request(1).bearer_auth(owner)).await;
        assert!(matches!(shown.as_deref(), Some("login" | "too-many")), "{of}: {shown:?}");
        // A session that is none is as if nothing was shown.
        let expected = (!row.may[4]).then_some("login");
        assert_eq!(turned_away(|| request(1).header("cookie", &cookie)).await.as_deref(), expected, "{of}");
    }
    pair.end().await;
}

/// A picture of one colour.
fn picture() -> Vec<u8> {
    let mut jpeg = Cursor::new(Vec::new());
    image::RgbImage::from_pixel(8, 8, image::Rgb([180, 120, 60]))
        .write_to(&mut jpeg, image::ImageFormat::Jpeg)
        .unwrap();
    jpeg.into_inner()
}

/// One of everything in the first shop, each with its mark: addresses of what is there now.
async fn live(pair: &Pair) -> Vec<String> {
    pair.furnish(0).await;
    let post = async |path: &str, body: Value| pair.post(0, path, body).await;
    post("/api/v1/clamps", json!({"id": "cam-1", "name": "northmark"})).await;
    post("/api/v1/lots", json!({"id": "bottle", "material": "aliphatic-resin"})).await;
    let step = json!({"id": "fret", "kind": "hands_on", "title": "northmark"});
    post("/api/v1/jobs", json!({"id": "j-1", "title": "northmark", "instrument": "guitar", "steps": [step]})).await;
    let glue_up = json!({"id": "g-1", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
    post("/api/v1/glue-ups", glue_up).await;
    post("/api/v1/zones/bench/readings", json!({"temp_c": 20, "rh_pct": 50, "sensor": "northmark"})).await;
    // What cannot be believed is held.
    let sent = pair.ask(0, Method::POST, "/api/v1/zones/bench/readings").bearer_auth(&pair.owners[0]);
    let sent = sent.json(&json!({"temp_c": 68, "rh_pct": 50})).send().await.unwrap();
    Answer::of(sent).await.problem(422, "invalid");
    let held = pair.get(0, "/api/v1/zones/bench/quarantine").await.good()["items"][0]["id"].clone();
    post("/api/v1/tokens", json!({"id": "northmark", "role": "viewer"})).await;
    let head =
        "--b\r\ncontent-disposition: form-data; name=\"photo\"; filename=\"x.jpg\"\r\ncontent-type: image/jpeg\r\n\r\n";
    let body = [head.as_bytes(), &picture(), b"\r\n--b--\r\n"].concat();
    let photo = pair.ask(0, Method::POST, "/jobs/j-1/photos").bearer_auth(&pair.owners[0]);
    let photo = photo.header("content-type", "multipart/form-data; boundary=b").body(body).send().await.unwrap();
    assert_eq!(photo.status(), 303);
    let page = pair.get(0, "/jobs/j-1").await.text;
    let photo = page.split("<img src=\"").nth(1).unwrap().split('"').next().unwrap().to_string();
    let calendar = pair.get(0, "/api/v1/calendars").await.good()["items"][0]["path"].as_str().unwrap().to_string();
    pair.now.set(pair.now.ms() + 40 * 60_000);
    assert!(Service::alarm_step(&pair.states[0]).await.unwrap() > 0);
    Service::recurring_step(&pair.states[0], "plan").await.unwrap();
    let named = [
        "zones/bench",
        "instruments/guitar",
        "joints/bridge",
        "clamps/cam-1",
        "lots/bottle",
        "jobs/j-1",
        "glue-ups/g-1",
        "glue-ups/g-1/milestones",
        "alerts/g-1:scrape_flush",
        "tokens/northmark",
        "zones/bench/sensors",
    ];
    let mut there: Vec<String> = named.iter().map(|path| format!("/api/v1/{path}")).collect();
    there.extend([photo, calendar, "/jobs/j-1".into(), "/cures/g-1".into()]);
    for path in &there {
        assert_eq!(pair.get(0, path).await.status, 200, "{path} is not there at all");
    }
    there.push(format!("/api/v1/zones/bench/quarantine/{held}/release"));
    there
}

/// Reads a stream of events until it says something; everything it said until then.
async fn heard(stream: &mut reqwest::Response, word: &str) -> String {
    let mut said = String::new();
    let read = async {
        while !said.contains(word) {
            said.push_str(&String::from_utf8_lossy(&stream.chunk().await.unwrap().expect("it goes on")));
        }
    };
    tokio::time::timeout(Duration::from_secs(60), read).await.unwrap_or_else(|_| panic!("never said: {word}"));
    said
}

async fn nothing_of_one_reaches_the_other(database: &str) {
    let (receivers, hooks): (Vec<_>, Vec<_>) = (0..2).map(|_| Receiver::start(&[])).unzip();
    let own = |url: &String| {
        format!(
            "[[webhooks]]\nname = \"wall\"\nurl = \"{url}\"\nsecret = \"{SECRET}\"\n[shop]\ndigest_at = \"08:10\"\n[alerts]\ngroup_minutes = 0\n"
        )
    };
    let pair = Pair::start(database, "", [&own(&hooks[0]), &own(&hooks[1])]).await;
    let listen =
        async |at: usize| pair.ask(at, Method::GET, "/api/v1/events").bearer_auth(&pair.owners[at]).send().await;
    let (mut north, mut south) = (listen(0).await.unwrap(), listen(1).await.unwrap());
    let there = live(&pair).await;

    // What is at an address of the one is not at the other's, whoever asks for it there.
    for path in &there {
        let method = if path.ends_with("/release") { Method::POST } else { Method::GET };
        let request = pair.ask(1, method, path).bearer_auth(&pair.owners[1]).json(&json!({}));
        let answer = Answer::of(request.send().await.unwrap()).await;
        assert_eq!(answer.status, 404, "{path}: {}", answer.text);
        assert!(!answer.text.contains("northmark") || path.contains("northmark"), "{path}: {}", answer.text);
    }

    // The alert goes to the one's receiver, and the other has nothing to tell; its digest is its own.
    assert_eq!(Service::alarm_step(&pair.states[1]).await.unwrap(), 0);
    for state in &pair.states {
        Service::recurring_step(state, "digest").await.unwrap();
        Service::delivery_step(state).await.unwrap();
    }
    let bodies = |at: usize| receivers[at].got().iter().map(|got| got.body.to_string()).collect::<String>();
    until("both are told", async || (!bodies(0).is_empty() && !bodies(1).is_empty()).then_some(())).await;
    assert!(bodies(0).contains("northmark") && bodies(0).contains("g-1"), "{}", bodies(0));
    assert!(bodies(1).contains("Today at") && !bodies(1).contains("northmark"), "{}", bodies(1));

    // The same ids and the same key are free in the other, and the streams go on, each with its own.
    let once = async |at: usize, name: &str| {
        let clamp = pair.ask(at, Method::POST, "/api/v1/clamps").header("idempotency-key", "the-same-key");
        let clamp = clamp.bearer_auth(&pair.owners[at]).json(&json!({"id": "cam-9", "name": name}));
        Answer::of(clamp.send().await.unwrap()).await.good()["name"].clone()
    };
    assert_eq!((once(0, "northmark").await, once(1, "southmark").await), (json!("northmark"), json!("southmark")));
    assert!(heard(&mut north, "cam-9").await.contains("northmark"));
    let said = heard(&mut south, "southmark").await;
    assert!(!said.contains("northmark") && !said.contains("g-1"), "{said}");
    drop((north, south));

    // Nothing that can be looked at in the other shows a word of the one; in the one itself it does.
    let looks = table().into_iter().filter(|row| row.method == Method::GET && !row.path.ends_with("/events"));
    let paths: Vec<String> = looks.map(|row| filled(&row.path)).collect();
    let mut shows = 0;
    for path in
        paths.iter().map(String::as_str).chain(there.iter().map(String::as_str).filter(|p| !p.contains("northmark")))
    {
        let [own, other] = [pair.get(0, path).await.text, pair.get(1, path).await.text];
        assert!(!other.contains("northmark"), "{path}: {other}");
        shows += usize::from(own.contains("northmark"));
    }
    assert!(shows > 20, "only {shows} addresses show that there is anything");
    for (path, word) in
        [("/api/v1/export", "northmark"), ("/metrics", "sensor=\"northmark\""), ("/api/v1/board", "g-1")]
    {
        assert!(pair.get(0, path).await.text.contains(word), "{path} shows no {word}");
        assert!(!pair.get(1, path).await.text.contains(word), "{path} shows {word}");
    }
    // Counted apart, too: the other was told of one clamp, its rules and its digest.
    let facts = async |at: usize| {
        let text = pair.get(at, "/metrics").await.text;
        let line = text.lines().find_map(|line| line.strip_prefix("benchclock_facts_total ")).unwrap();
        line.parse::<usize>().unwrap()
    };
    let (north, south) = (facts(0).await, facts(1).await);
    let lines = async |at: usize| pair.get(at, "/api/v1/export").await.text.matches("\"by\":").count();
    assert!(north > south, "{north} {south}");
    assert_eq!(south, lines(1).await, "what is counted is what was said");

    // A rule that is saved in one is no other's.
    let rule = pair.get(0, "/api/v1/rules/shellac").await.good();
    let text = format!("{}\n// northmark\n", rule["text"].as_str().unwrap());
    let save = pair.ask(0, Method::PUT, "/api/v1/rules/shellac").bearer_auth(&pair.owners[0]);
    let save = save.header("if-match", rule["version"].as_str().unwrap()).json(&json!({"text": text, "by": "olga"}));
    Answer::of(save.send().await.unwrap()).await.good();
    Service::scripts_step(&pair.states[1]).await.unwrap();
    assert!(pair.get(0, "/api/v1/rules/shellac").await.text.contains("northmark"));
    assert!(!pair.get(1, "/api/v1/rules/shellac").await.text.contains("northmark"));
    pair.end().await;
}

#[tokio::test]
async fn nothing_of_one_shop_reaches_another_beside_it_on_sqlite() {
    nothing_of_one_reaches_the_other("").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nothing_of_one_shop_reaches_another_in_the_same_database_on_postgresql() {
    let server = postgres::Database::new();
    nothing_of_one_reaches_the_other(&server.url()).await;
    assert_eq!(server.ask("SELECT string_agg(shop, ' ' ORDER BY shop) FROM shop"), "north south");
}

/// One that asks too often is slowed down in its own shop alone.
#[tokio::test]
async fn who_is_slowed_down_in_one_shop_is_not_in_another() {
    let pair = Pair::start("", "", ["", ""]).await;
    let ask = async |at: usize| pair.ask(at, Method::GET, "/health/live").send().await.unwrap().status().as_u16();
    let asked = join_all((0..400).map(|_| ask(0))).await;
    assert!(asked.contains(&429), "nobody was slowed down");
    assert_eq!(ask(1).await, 200);
    pair.end().await;
}
