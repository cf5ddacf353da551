//! Requests that are broken before their meaning is: bodies that are no JSON, addresses and methods that are none, keys
//! that are none, messages no parser should agree about.

use std::{
    io::{Read, Write},
    net::TcpStream,
    time::Duration,
};

use bench::Bench;
use reqwest::Method;
use serde_json::json;

use super::{held, lived, whole};

const GLUE_UPS: &str = "/api/v1/glue-ups";
const GOOD: &str = r#"{"joint": "bridge", "material": "aliphatic-resin", "zone": "bench"}"#;

/// What is sent and how it is called, with its content type; and what must be said: status, kind, a word of it.
type Sent = (&'static str, &'static str, Vec<u8>, u16, &'static str, &'static str);

#[tokio::test]
async fn a_body_that_is_not_json_is_refused_with_the_place() {
    let bench = lived().await;
    let before = whole(&bench).await;
    let deep = format!("{{\"joint\": {}1{}}}", "[".repeat(5000), "]".repeat(5000));
    let rows: [Sent; 13] = [
        ("cut off", "application/json", br#"{"joint": "bridge""#.to_vec(), 400, "malformed", "line 1 column"),
        ("a comma too many", "application/json", br#"{"joint": "bridge",}"#.to_vec(), 400, "malformed", "column 20"),
        ("two documents", "application/json", format!("{GOOD}{GOOD}").into(), 400, "malformed", "trailing"),
        ("words", "application/json", b"glue the bridge".to_vec(), 400, "malformed", "line 1 column"),
        ("not UTF-8", "application/json", b"{\"joint\": \"\xff\xfe\"}".to_vec(), 400, "malformed", "line 1 column"),
        ("nested 5000 deep", "application/json", deep.into(), 422, "invalid", "line 1 column"),
        ("not a number", "application/json", br#"{"minutes_ago": NaN}"#.to_vec(), 400, "malformed", "line 1 column"),
        ("out of any range", "application/json", br#"{"minutes_ago": 1e999}"#.to_vec(), 400, "malformed", "range"),
        ("a field twice", "application/json", br#"{"zone": "a", "zone": "b"}"#.to_vec(), 422, "invalid", "duplicate"),
        (
            "a form",
            "application/x-www-form-urlencoded",
            b"joint=bridge".to_vec(),
            415,
            "media-type",
            "application/json",
        ),
        ("plain text", "text/plain", GOOD.into(), 415, "media-type", "text/plain"),
        ("no type", "", GOOD.into(), 415, "media-type", "application/json"),
        ("nearly", "application/jsonx", GOOD.into(), 415, "media-type", "application/jsonx"),
    ];
    for (about, media, body, status, slug, word) in rows {
        let mut request = bench.http().post(bench.url(GLUE_UPS)).body(body);
        if !media.is_empty() {
            request = request.header("content-type", media);
        }
        let answer = bench.send(request).await;
        let field = match about {
            "a field twice" => "zone",
            "nested 5000 deep" => "joint",
            _ => "",
        };
        held(answer, status, slug, field, word, about);
    }
    assert_eq!(whole(&bench).await, before);
    // What the standards call the same type is the same type.
    let request = bench.http().post(bench.url(GLUE_UPS)).header("content-type", "Application/JSON; charset=UTF-8");
    bench.send(request.body(GOOD)).await.good();
    bench.stop().await;
}

#[tokio::test]
async fn a_body_of_ten_megabytes_is_refused_with_the_limit() {
    let bench = lived().await;
    let before = whole(&bench).await;
    for _ in 0..5 {
        let body = format!(r#"{{"joint": "{}"}}"#, "x".repeat(10_000_000));
        let request = bench.http().post(bench.url(GLUE_UPS)).header("content-type", "application/json");
        held(bench.send(request.body(body)).await, 413, "too-large", "", "larger than 4096 KiB", "10 MB");
    }
    assert_eq!(whole(&bench).await, before);
    bench.stop().await;
}

#[tokio::test]
async fn a_form_that_cannot_be_read_is_told_so() {
    let bench = lived().await;
    let before = whole(&bench).await;
    let send = async |media: &str, body: String| {
        bench.send(bench.http().post(bench.url("/glue-up")).header("content-type", media).body(body)).await
    };
    held(send("application/json", GOOD.into()).await, 415, "media-type", "", "the form", "JSON");
    let form = "application/x-www-form-urlencoded";
    held(send(form, format!("joint={}", "x".repeat(1_000_000))).await, 413, "too-large", "", "the form", "a long form");
    // What was written by hand is answered on the page, beside the form.
    for (body, word) in [
        ("joint=bridge&material=aliphatic-resin&zone=bench&started=soon", "0 to 527040 min"),
        ("joint=bridge&material=aliphatic-resin&zone=bench&started=-5", "0 to 527040 min"),
        ("joint=bridge&material=aliphatic-resin&zone=bench&started=at&clock=late", "no time of day"),
        ("joint=bridge&material=aliphatic-resin&zone=bench&pressed_ms=1", "kept too long"),
        ("joint=bridge&material=aliphatic-resin&zone=bench&clamp=cam-1", "in use"),
        ("joint=bridge&material=aliphatic-resin&zone=", "zone is missing"),
        ("joint=bridge&material=aliphatic-resin", "zone is missing"),
        ("zone=bench&material=aliphatic-resin&joint=%FF%FE", "joint id"),
        ("", "zone is missing"),
    ] {
        let answer = send(form, body.into()).await;
        let status = if word == "in use" { 409 } else { 422 };
        assert_eq!(answer.status, status, "{body}: {}", answer.text);
        assert!(answer.text.contains(word) && answer.text.contains("<form"), "{body}: {}", answer.text);
    }
    assert_eq!(whole(&bench).await, before);
    bench.stop().await;
}

#[tokio::test]
async fn an_address_or_a_method_that_is_none_is_told_so() {
    let bench = lived().await;
    let before = whole(&bench).await;
    for (method, path, status, slug, word) in [
        (Method::GET, "/api/v1/glue-up", 404, "not-found", "GET /api/v1/glue-up"),
        (Method::GET, "/api/v2/board", 404, "not-found", "/api/v2/board"),
        (Method::GET, "/favicon.ico", 404, "not-found", "/favicon.ico"),
        (Method::GET, "/api/v1/glue-ups/none", 404, "not-found", "none"),
        (Method::GET, "/api/v1/glue-ups/G%201", 404, "not-found", "G 1"),
        (Method::GET, "/api/v1/glue-ups/..%2f..%2fetc%2fpasswd", 404, "not-found", "etc"),
        (Method::GET, "/api/v1/glue-ups/%00", 404, "not-found", "glue-up"),
        (Method::GET, "/api/v1/glue-ups/", 404, "not-found", "glue-up"),
        (Method::GET, "/cures/none", 404, "not-found", "none"),
        (Method::POST, "/cures/none/clamps-off", 404, "not-found", "none"),
        (Method::POST, "/alerts/none/seen", 404, "not-found", "none"),
        (Method::POST, "/api/v1/nothing", 404, "not-found", "POST /api/v1/nothing"),
        (Method::DELETE, "/api/v1/glue-ups/g-1", 405, "method", "DELETE /api/v1/glue-ups/g-1"),
        (Method::PUT, "/api/v1/glue-ups", 405, "method", "PUT"),
        (Method::PATCH, "/api/v1/zones/bench", 405, "method", "PATCH"),
        (Method::POST, "/api/v1/board", 405, "method", "POST"),
        (Method::POST, "/", 405, "method", "POST"),
        (Method::TRACE, "/api/v1/board", 405, "method", "TRACE"),
    ] {
        let answer = bench.send(bench.http().request(method.clone(), bench.url(path))).await;
        held(answer, status, slug, "", word, &format!("{method} {path}"));
    }
    assert_eq!(whole(&bench).await, before);
    bench.stop().await;
}

#[tokio::test]
async fn a_key_that_is_none_is_refused() {
    let bench = lived().await;
    let before = whole(&bench).await;
    let long = "k".repeat(129);
    for key in ["", "\"\"", "two words", "schlüssel", long.as_str()] {
        let request = bench.http().post(bench.url(GLUE_UPS)).header("idempotency-key", key.as_bytes());
        let answer = bench.send(request.header("content-type", "application/json").body(GOOD)).await;
        held(answer, 400, "malformed", "Idempotency-Key", "visible ASCII", key);
    }
    assert_eq!(whole(&bench).await, before);
    bench.stop().await;
}

/// Sends bytes as they are and reads until the service closes the connection.
fn raw(bench: &Bench, request: &str) -> String {
    let mut stream = TcpStream::connect(bench.url("").trim_start_matches("http://")).unwrap();
    stream.set_read_timeout(Some(Duration::from_secs(60))).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = Vec::new();
    // A reset after the answer is the service's good right.
    let _ = stream.read_to_end(&mut answer);
    String::from_utf8_lossy(&answer).into_owned()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_message_two_parsers_could_read_differently_is_refused() {
    let bench = lived().await;
    let before = whole(&bench).await;
    let head = "POST /api/v1/glue-ups HTTP/1.1\r\nHost: bench\r\nContent-Type: application/json\r\n";
    let chunk = format!("{:x}\r\n{GOOD}\r\n0\r\n\r\n", GOOD.len());
    let n = GOOD.len();
    for (about, request) in [
        (
            "length and encoding",
            format!("{head}Content-Length: {n}\r\nTransfer-Encoding: chunked\r\nConnection: close\r\n\r\n{chunk}"),
        ),
        (
            "encoding and length",
            format!("{head}Transfer-Encoding: chunked\r\nContent-Length: {n}\r\nConnection: close\r\n\r\n{chunk}"),
        ),
        ("two lengths", format!("{head}Content-Length: {n}\r\nContent-Length: 5\r\nConnection: close\r\n\r\n{GOOD}")),
        ("a length that is none", format!("{head}Content-Length: +{n}\r\nConnection: close\r\n\r\n{GOOD}")),
        ("an encoding that is none", format!("{head}Transfer-Encoding: xchunked\r\nConnection: close\r\n\r\n{chunk}")),
        ("a line that is none", "glue the bridge\r\n\r\n".into()),
        ("no such version", "GET /api/v1/board HTTP/9.9\r\nHost: bench\r\n\r\n".into()),
        ("a space before the colon", format!("{head}Content-Length : {n}\r\nConnection: close\r\n\r\n{GOOD}")),
    ] {
        let answer = raw(&bench, &request);
        assert!(answer.starts_with("HTTP/1.1 400"), "{about}: {answer}");
    }
    assert_eq!(whole(&bench).await, before);
    bench.stop().await;
}

#[tokio::test]
async fn a_request_without_a_body_is_one_with_an_empty_body() {
    let bench = lived().await;
    let post = async |path: &str| bench.send(bench.http().post(bench.url(path))).await;
    held(post(GLUE_UPS).await, 422, "invalid", "zone", "missing field", "nothing sent");
    post("/api/v1/glue-ups/g-1/clamps-off").await.good();
    assert_eq!(bench.get("/api/v1/glue-ups/g-1").await.good()["clamps_on"], json!([]));
    bench.stop().await;
}
