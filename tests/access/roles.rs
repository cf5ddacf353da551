//! Every address and every role, against the table in `table.txt`: an address that is not placed there fails here.

use std::{collections::BTreeSet, fs, path::Path};

use bench::root;
use reqwest::Method;
use serde_json::{Value, json};

use super::{Guarded, browser};

/// An address, and who may use it.
pub(crate) struct Row {
    pub(crate) method: Method,
    pub(crate) path: String,
    /// Owner, bench, sensor, viewer, nobody.
    pub(crate) may: [bool; 5],
}

pub(crate) fn table() -> Vec<Row> {
    let text = fs::read_to_string(root().join("tests/access/table.txt")).unwrap();
    let row = |line: &str| {
        let words: Vec<&str> = line.split_whitespace().collect();
        assert_eq!(words.len(), 7, "{line}");
        let may = [0, 1, 2, 3, 4].map(|i| {
            assert!(words[i + 2] == "-" || words[i + 2] == ["o", "b", "s", "v", "n"][i], "{line}");
            words[i + 2] != "-"
        });
        Row { method: words[0].parse().unwrap(), path: words[1].into(), may }
    };
    text.lines().filter(|line| !line.is_empty() && !line.starts_with('#')).map(row).collect()
}

/// Pages and what they are dressed with, as their files give the addresses.
fn pages(folder: &Path, found: &mut BTreeSet<String>) {
    for entry in fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            pages(&path, found);
            continue;
        }
        let text = fs::read_to_string(&path).unwrap();
        for part in text.split("web::resource(\"").skip(1) {
            let (address, rest) = part.split_once('"').unwrap();
            let routes = rest.split(';').next().unwrap().split("web::resource").next().unwrap();
            for (call, method) in [("web::get()", "GET"), ("web::post()", "POST"), ("web::put()", "PUT")] {
                if routes.contains(call) {
                    found.insert(format!("{method} {address}"));
                }
            }
        }
        if path.ends_with("assets.rs") {
            let listed = text.split("\n    (\"").skip(1).map(|rest| rest.split('"').next().unwrap());
            found.extend(listed.map(|address| format!("GET {address}")));
        }
    }
}

#[tokio::test]
async fn every_address_is_placed_in_the_table_and_no_other() {
    let guarded = Guarded::start().await;
    let mut answered = BTreeSet::new();
    for line in guarded.get("/api/v1", Some(&guarded.viewer)).await.good()["items"].as_array().unwrap() {
        let words: Vec<&str> = line.as_str().unwrap().split(' ').collect();
        let (path, methods) = words.split_last().unwrap();
        answered.extend(methods.iter().map(|method| format!("{method} {path}")));
    }
    pages(&root().join("service/server/src/pages"), &mut answered);
    // Beside the pages: what browsers subscribe with, and calendars.
    answered.extend(["/push.js", "/service-worker.js", "/calendar/{secret}.ics"].map(|path| format!("GET {path}")));
    let placed: Vec<String> = table().iter().map(|row| format!("{} {}", row.method, row.path)).collect();
    assert_eq!(placed.iter().collect::<BTreeSet<_>>().len(), placed.len(), "an address is placed twice");
    assert_eq!(placed.into_iter().collect::<BTreeSet<_>>(), answered, "place new addresses in tests/access/table.txt");
    guarded.bench.stop().await;
}

/// Asks, and gives the word of the problem that turned it away, if one did.
async fn turned_away(guarded: &Guarded, row: &Row, token: Option<&str>) -> Option<String> {
    // Its own zone: others are another test's.
    let mut path = row.path.replace("/zones/{id}", "/zones/bench");
    while let (Some(from), Some(to)) = (path.find('{'), path.find('}')) {
        path.replace_range(from..=to, "none");
    }
    loop {
        let request = guarded.request(row.method.clone(), &path, token);
        let answer = if row.method == Method::GET { request } else { request.json(&json!({})) };
        let answer = answer.send().await.unwrap();
        let media = answer.headers().get("content-type").map_or("", |v| v.to_str().unwrap()).to_string();
        if !matches!(answer.status().as_u16(), 401 | 403 | 429) || media != "application/problem+json" {
            return None;
        }
        let problem: Value = answer.json().await.unwrap();
        match problem["type"].as_str().unwrap().rsplit(':').next().unwrap() {
            // A stranger must ask slowly.
            "too-many" => tokio::time::sleep(std::time::Duration::from_millis(100)).await,
            word => return Some(word.into()),
        }
    }
}

#[tokio::test]
async fn every_role_may_what_the_table_says_and_nothing_else() {
    let guarded = Guarded::start().await;
    let tokens = [Some(&guarded.owner), Some(&guarded.worker), Some(&guarded.sensor), Some(&guarded.viewer), None];
    for row in table() {
        for (token, may) in tokens.iter().zip(row.may) {
            let expected = match (may, token) {
                (true, _) => None,
                (false, Some(_)) => Some("role"),
                (false, None) => Some("login"),
            };
            let got = turned_away(&guarded, &row, token.map(String::as_str)).await;
            assert_eq!(got.as_deref(), expected, "{} {} {:?}", row.method, row.path, row.may);
        }
    }
    guarded.bench.stop().await;
}

/// An address is matched decoded, so it is judged decoded.
#[tokio::test]
async fn an_address_written_otherwise_is_no_other_address() {
    let guarded = Guarded::start().await;
    let as_worker = async |method: Method, path: &str| {
        // The client would tidy the address up: it is sent as it stands.
        guarded.bench.send(guarded.request(method, path, Some(&guarded.worker)).json(&json!({}))).await
    };
    as_worker(Method::PUT, "/api/v1/rules/shellac").await.problem(403, "role");
    as_worker(Method::PUT, "/api/v1/%72ules/shellac").await.problem(403, "role");
    as_worker(Method::GET, "/api/v1/%74okens").await.problem(403, "role");
    as_worker(Method::GET, "/%61pi/v1/export").await.problem(403, "role");
    as_worker(Method::POST, "/%72ules/shellac").await.problem(403, "role");
    for path in ["//api/v1/tokens", "/api//v1/tokens", "/api/v1/tokens/", "/api/v1/./tokens", "/API/v1/tokens"] {
        let answer = guarded.bench.send(guarded.request(Method::GET, path, Some(&guarded.viewer))).await;
        assert!(answer.status == 404 || answer.status == 403, "{path}: {} {}", answer.status, answer.text);
    }
    // HEAD is GET, for those it is kept from too.
    let head = guarded.request(Method::HEAD, "/api/v1/export", Some(&guarded.worker)).send().await.unwrap();
    assert_eq!(head.status(), 403);
    guarded.bench.stop().await;
}

#[tokio::test]
async fn a_sensor_posts_readings_of_its_zones_by_every_way_and_of_no_other() {
    let guarded = Guarded::start().await;
    let sensor = Some(guarded.sensor.as_str());
    let air = json!({"temp_c": 20, "rh_pct": 50});
    guarded.post("/api/v1/zones/bench/readings", sensor, air.clone()).await.good();
    guarded.post("/api/v1/zones/booth/readings", sensor, air).await.problem(403, "role");
    let csv = "time,temp_c,rh_pct\n2026-03-02T07:00:00Z,20,50\n";
    let send_csv = async |zone: &str| {
        let request = guarded.request(Method::POST, &format!("/api/v1/zones/{zone}/readings/csv"), sensor);
        guarded.bench.send(request.header("content-type", "text/csv").body(csv)).await
    };
    assert_eq!(send_csv("bench").await.good()["taken"], 1);
    send_csv("booth").await.problem(403, "role");
    // Of a batch its own are taken, and the others reported.
    let row = |zone: &str, minutes: i64| json!({"zone": zone, "minutes_ago": minutes, "temp_c": 20, "rh_pct": 50});
    let batch = json!({"readings": [row("bench", 3), row("booth", 3), row("nowhere", 3)]});
    let tally = guarded.post("/api/v1/readings", sensor, batch).await.good();
    assert_eq!(tally["taken"], 1, "{tally}");
    let refused: Vec<&Value> = tally["refused"].as_array().unwrap().iter().map(|one| &one["detail"]).collect();
    assert_eq!(refused, ["zone \"booth\" is none of \"north-wall\"", "zone \"nowhere\" is none of \"north-wall\""]);
    let senml = json!([{"bn": "booth/s/", "bt": 1_772_438_400, "n": "temp", "u": "Cel", "v": 20}, {"n": "humidity", "u": "%RH", "v": 50}]);
    let request = guarded.request(Method::POST, "/api/v1/readings/senml", sensor);
    let answer =
        guarded.bench.send(request.header("content-type", "application/senml+json").body(senml.to_string())).await;
    assert!(answer.status == 422 && answer.text.contains("is none of"), "{}", answer.text);
    // Who works at the bench posts of any.
    guarded
        .post("/api/v1/zones/booth/readings", Some(&guarded.worker), json!({"temp_c": 20, "rh_pct": 50}))
        .await
        .good();
    guarded.bench.stop().await;
}

#[tokio::test]
async fn facts_say_by_whom_they_are_and_nobody_can_claim_to_be_another() {
    let guarded = Guarded::start().await;
    let worker = Some(guarded.worker.as_str());
    guarded.post("/api/v1/clamps", worker, json!({"id": "cam-9", "name": "cam-9"})).await.good();
    let facts = guarded.get("/api/v1/export", Some(&guarded.owner)).await.text;
    let by = |needle: &str| facts.lines().any(|line| line.contains(needle) && line.contains("\"by\":\"mia-phone\""));
    assert!(by("cam-9"), "{facts}");
    assert!(facts.lines().any(|line| line.contains("cam-1") && line.contains("\"by\":\"bench\"")));
    // A rule is saved as somebody; it is in the list by the token's name.
    let owner = Some(guarded.owner.as_str());
    let rule = guarded.get("/api/v1/rules/shellac", owner).await.good();
    let text = format!("{}\n// looked at\n", rule["text"].as_str().unwrap());
    let save = guarded.request(Method::PUT, "/api/v1/rules/shellac", owner);
    let save = save.header("if-match", rule["version"].as_str().unwrap());
    guarded.bench.send(save.json(&json!({"text": text, "by": "somebody-else"}))).await.good();
    let changes = guarded.get("/api/v1/rule-changes", Some(&guarded.viewer)).await.good();
    let last = &changes["items"][0];
    assert_eq!(
        (&last["by"], &last["material"], &last["replaced"]),
        (&json!("olga"), &json!("shellac"), &rule["version"])
    );
    assert_eq!(changes["items"].as_array().unwrap().len(), 3, "{changes}");
    assert_eq!(changes["items"][1]["by"], "scripts");
    let earlier = format!("/api/v1/rule-changes?before={}", last["seq"]);
    let earlier = guarded.get(&earlier, Some(&guarded.viewer)).await.good();
    assert_eq!(earlier["items"].as_array().unwrap().len(), 2);
    let page = browser().get(guarded.bench.url("/rules")).bearer_auth(&guarded.viewer).send().await.unwrap();
    assert!(page.text().await.unwrap().contains("olga: shellac, version"));
    guarded.bench.stop().await;
}
