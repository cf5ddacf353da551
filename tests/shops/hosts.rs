//! Whose shop a request enters is said by the host it names, and by nothing else that can be written into it.

use std::time::Duration;

use bench::{Answer, raw};
use reqwest::Method;

use super::Pair;

/// How it went: the status, and whose zones came.
fn outcome(said: &str) -> (u16, [bool; 2]) {
    let status = said.split(' ').nth(1).and_then(|word| word.parse().ok()).unwrap_or(0);
    (status, ["northmark", "southmark"].map(|mark| said.contains(mark)))
}

const PATIENCE: Duration = Duration::from_secs(10);
const NONE: [bool; 2] = [false, false];
const NORTH: [bool; 2] = [true, false];
const SOUTH: [bool; 2] = [false, true];

#[tokio::test]
async fn no_way_of_writing_a_host_leads_into_another_shop() {
    let pair = Pair::start("", "", ["", ""]).await;
    pair.furnish(0).await;
    pair.furnish(1).await;
    // Each is sent with the token of the first shop and with that of the second.
    for (target, hosts, expected) in [
        ("", "Host: north.test", [(200, NORTH), (401, NONE)]),
        ("", "Host: NORTH.Test", [(200, NORTH), (401, NONE)]),
        ("", "Host: north.test.", [(200, NORTH), (401, NONE)]),
        ("", "Host: north.test:8443", [(200, NORTH), (401, NONE)]),
        ("", "Host:   north.test  ", [(200, NORTH), (401, NONE)]),
        ("", "Host: south.test", [(401, NONE), (200, SOUTH)]),
        // Nobody is believed who says for whom he asks.
        ("", "Host: north.test\r\nX-Forwarded-Host: south.test", [(200, NORTH), (401, NONE)]),
        ("", "Host: north.test\r\nForwarded: host=south.test", [(200, NORTH), (401, NONE)]),
        ("", "X-Forwarded-Host: south.test\r\nHost: 127.0.0.1", [(421, NONE), (421, NONE)]),
        // Two names are none.
        ("", "Host: north.test\r\nHost: south.test", [(421, NONE), (421, NONE)]),
        ("", "Host: north.test\r\nHost: north.test", [(421, NONE), (421, NONE)]),
        ("http://south.test", "Host: north.test", [(421, NONE), (421, NONE)]),
        ("http://north.test", "Host: south.test", [(421, NONE), (421, NONE)]),
        ("http://north.test", "Host: north.test", [(200, NORTH), (401, NONE)]),
        ("http://south.test:80", "Host: south.test", [(401, NONE), (200, SOUTH)]),
        ("", "Host: north.test, south.test", [(421, NONE), (421, NONE)]),
        ("", "Host: north.test@south.test", [(421, NONE), (421, NONE)]),
        ("", "Host: south.test/north.test", [(421, NONE), (421, NONE)]),
        ("", "Host: x.north.test", [(421, NONE), (421, NONE)]),
        ("", "Host: north.test..", [(421, NONE), (421, NONE)]),
        ("", "Host: north.test:south.test", [(421, NONE), (421, NONE)]),
        ("", "Host: north", [(421, NONE), (421, NONE)]),
        ("", "Host: ", [(421, NONE), (421, NONE)]),
        ("", "Host: 127.0.0.1", [(421, NONE), (421, NONE)]),
        ("", "X: y", [(421, NONE), (421, NONE)]),
    ] {
        for (owner, expected) in pair.owners.iter().zip(expected) {
            let request = format!(
                "GET {target}/api/v1/zones HTTP/1.1\r\n{hosts}\r\nAuthorization: Bearer {owner}\r\nConnection: close\r\n\r\n"
            );
            let said = raw(&pair.url, request, PATIENCE).await;
            // After ten wrong tokens they are refused without a look.
            let (status, whose) = outcome(&said);
            let status = if status == 429 && said.contains("wrong tokens") { 401 } else { status };
            // What is no request is refused by the framework before anybody is asked.
            let status = if status == 400 && whose == NONE { 421 } else { status };
            assert_eq!((status, whose), expected, "{target} {hosts:?}: {said}");
            if status == 421 && !hosts.contains("north") {
                assert!(!said.contains("north") && !said.contains("olga"), "it tells of others: {said}");
            }
        }
    }
    // Of two requests on one connection each is for whom it names.
    let ask = |host: &str, close: &str| {
        let shown = &pair.owners[0];
        format!("GET /api/v1/zones HTTP/1.1\r\nHost: {host}\r\nAuthorization: Bearer {shown}\r\n{close}\r\n")
    };
    let both = [ask("north.test", ""), ask("south.test", ""), ask("nowhere.test", "Connection: close\r\n")].concat();
    let said = raw(&pair.url, both, PATIENCE).await;
    let statuses: Vec<&str> = said.split("HTTP/1.1 ").skip(1).map(|answer| &answer[..3]).collect();
    assert!(statuses == ["200", "401", "421"] || statuses == ["200", "429", "421"], "{said}");
    assert!(!said.contains("southmark"), "{said}");
    pair.end().await;
}

#[tokio::test]
async fn a_host_that_is_no_shops_is_told_so_in_a_problem_with_every_header() {
    let pair = Pair::start("", "", ["", ""]).await;
    let request = pair.http.get(format!("{}/api/v1/board", pair.url)).header("host", "west.test");
    let answer = request.send().await.unwrap();
    for name in ["x-content-type-options", "content-security-policy", "cache-control"] {
        assert!(answer.headers().contains_key(name), "no {name}");
    }
    let problem = Answer::of(answer).await.problem(421, "misdirected");
    assert!(problem["detail"].as_str().unwrap().contains("\"west.test\""), "{problem}");
    assert!(problem["mend"].as_str().unwrap().contains("shops.hosts"), "{problem}");
    // Its own machine is told how the service is; anybody else is told of no shop.
    let health = async |path: &str, more: &[(&'static str, &str)]| {
        let request = pair.http.get(format!("{}{path}", pair.url));
        let request = more.iter().fold(request, |request, (name, value)| request.header(*name, *value));
        Answer::of(request.send().await.unwrap()).await
    };
    assert_eq!(health("/health/live", &[]).await.text, "alive\n");
    let ready = health("/health/ready", &[]).await.good();
    assert_eq!(ready["ready"], true, "{ready}");
    let names: Vec<_> = ready["shops"].as_array().unwrap().iter().map(|shop| shop["name"].clone()).collect();
    assert_eq!(names, ["north", "south"]);
    health("/health/ready", &[("host", "west.test")]).await.problem(421, "misdirected");
    health("/health/ready", &[("x-forwarded-for", "203.0.113.7")]).await.problem(421, "misdirected");
    health("/api/v1/board", &[]).await.problem(421, "misdirected");
    pair.end().await;
}

#[tokio::test]
async fn a_proxy_that_is_trusted_says_which_shop_was_asked_for() {
    let pair = Pair::start("", "trusted_proxies = [\"127.0.0.1\"]", ["", ""]).await;
    pair.furnish(0).await;
    pair.furnish(1).await;
    let ask = async |owner: usize, said: &str| {
        let request = pair.http.request(Method::GET, format!("{}/api/v1/zones", pair.url)).header("host", "inside");
        let request = request.header("x-forwarded-host", said).bearer_auth(&pair.owners[owner]);
        outcome(&format!("HTTP/1.1 {0} {1}", 0, Answer::of(request.send().await.unwrap()).await.text)).1
    };
    assert_eq!((ask(0, "north.test").await, ask(1, "north.test").await), (NORTH, NONE));
    assert_eq!((ask(0, "south.test").await, ask(1, "south.test").await), (NONE, SOUTH));
    // What a client wrote stands before what the proxy wrote.
    assert_eq!((ask(0, "south.test, north.test").await, ask(1, "south.test, north.test").await), (NORTH, NONE));
    assert_eq!((ask(0, "west.test").await, ask(1, "").await), (NONE, NONE));
    pair.end().await;
}
