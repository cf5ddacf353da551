//! What every answer is sent with, and requests that two readers could read in two ways.

use std::time::Duration;

use bench::{Bench, raw};
use reqwest::Method;

use super::Guarded;

/// Headers every answer has (OWASP Secure Headers Project), and those of a page beside.
const EVERYWHERE: [&str; 6] = [
    "x-content-type-options",
    "content-security-policy",
    "x-frame-options",
    "referrer-policy",
    "cross-origin-resource-policy",
    "cache-control",
];

#[tokio::test]
async fn every_answer_has_its_headers_errors_too() {
    let guarded = Guarded::start().await;
    let (owner, viewer) = (Some(guarded.owner.as_str()), Some(guarded.viewer.as_str()));
    for (method, path, token, status) in [
        (Method::GET, "/", owner, 200),
        (Method::GET, "/login", None, 200),
        (Method::GET, "/look.css", None, 200),
        (Method::GET, "/health/live", None, 200),
        (Method::GET, "/api/v1/board", owner, 200),
        (Method::GET, "/api/v1/events", owner, 200),
        (Method::GET, "/api/v1/zones/bench/chart.svg", owner, 200),
        (Method::GET, "/api/v1/nothing", owner, 404),
        (Method::GET, "/nothing", owner, 404),
        (Method::DELETE, "/api/v1/zones", owner, 405),
        (Method::POST, "/api/v1/zones", owner, 415),
        (Method::GET, "/api/v1/board", None, 401),
        (Method::POST, "/api/v1/zones", viewer, 403),
    ] {
        let mut request = guarded.request(method.clone(), path, token);
        if status == 415 {
            request = request.body("x").header("content-type", "text/plain");
        }
        let answer = request.send().await.unwrap();
        assert_eq!(answer.status(), status, "{method} {path}");
        for name in EVERYWHERE {
            assert!(answer.headers().contains_key(name), "{method} {path} {status} has no {name}");
        }
        assert_eq!(answer.headers()["x-content-type-options"], "nosniff");
        assert!(answer.headers()["content-security-policy"].to_str().unwrap().contains("frame-ancestors 'none'"));
        // No program of the world's is told what it runs on, and no page elsewhere may read it.
        for name in ["server", "x-powered-by", "access-control-allow-origin"] {
            assert!(!answer.headers().contains_key(name), "{method} {path} has {name}");
        }
    }
    guarded.bench.stop().await;
}

/// How long the silence of the service is put up with.
const PATIENCE: Duration = Duration::from_secs(10);

/// RFC 9112, 6.1 and 6.3: a length and a transfer coding together may be an attempt to smuggle a second request past
/// whoever reads the other of the two. It is refused and the connection closed; nothing after it is read.
#[tokio::test]
async fn a_request_with_two_lengths_is_refused_and_the_connection_closed() {
    let bench = Bench::small().await;
    let smuggled = "POST /api/v1/clamps HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n\
                    Content-Length: 31\r\n\r\n{\"id\": \"smuggled\", \"name\": \"x\"}";
    let head = "POST /api/v1/readings HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Type: application/json\r\n";
    let chunked = "Transfer-Encoding: chunked\r\n";
    for lengths in [
        format!("Content-Length: 5\r\n{chunked}\r\n0\r\n\r\n"),
        format!("{chunked}Content-Length: 5\r\n\r\n0\r\n\r\n"),
        "Content-Length: 5\r\nContent-Length: 6\r\n\r\n0\r\n\r\n".into(),
        format!("{chunked}{chunked}\r\n0\r\n\r\n"),
        "Transfer-Encoding: chunked, identity\r\n\r\n0\r\n\r\n".into(),
        "Content-Length: +5\r\n\r\n0\r\n\r\n".into(),
    ] {
        let said = raw(&bench.url(""), format!("{head}{lengths}{smuggled}"), PATIENCE).await;
        assert!(said.starts_with("HTTP/1.1 400"), "{lengths:?}: {said}");
        assert_eq!(said.matches("HTTP/1.1").count(), 1, "{lengths:?}: {said}");
        // The parser of the framework says so before anything of ours is asked: without headers, and with nothing to read.
        assert!(said.to_lowercase().contains("content-length: 0\r\n") && said.ends_with("\r\n\r\n"), "{said}");
    }
    assert!(bench.items("/api/v1/clamps").await.is_empty());
    // Sent as it should be, the same is taken.
    let said = raw(&bench.url(""), smuggled.replace("Host", "Connection: close\r\nHost"), PATIENCE).await;
    assert!(said.starts_with("HTTP/1.1 201"), "{said}");
    bench.stop().await;
}

/// A body that unpacks to ten thousand times its size would fill the memory before its size is known.
#[tokio::test]
async fn a_compressed_body_is_refused_before_it_is_unpacked() {
    let guarded = Guarded::start().await;
    for (path, token) in [("/login", None), ("/api/v1/readings", Some(guarded.sensor.as_str()))] {
        for (coding, status) in [("gzip", 415), ("GZip, identity", 415), ("zstd", 415), ("identity", 422)] {
            let request = guarded.request(Method::POST, path, token).header("content-encoding", coding);
            let request = match token {
                None => request.header("content-type", "application/x-www-form-urlencoded").body("token=none"),
                Some(_) => request.json(&serde_json::json!({"zone": "bench"})),
            };
            let answer = request.send().await.unwrap();
            // A wrong token at the way in is told so.
            let status = if path == "/login" && coding == "identity" { 401 } else { status };
            assert_eq!(answer.status(), status, "{path} {coding}");
        }
    }
    guarded.bench.stop().await;
}

/// Whoever begins a body and does not go on holds a connection, so it is not waited for for ever.
#[tokio::test]
async fn a_body_that_stands_still_is_not_waited_for() {
    let guarded = Guarded::start().await;
    let begun = "POST /login HTTP/1.1\r\nHost: shop.example\r\nContent-Length: 4000\r\n\
                 Content-Type: application/x-www-form-urlencoded\r\n\r\ntoken=";
    let json = "POST /api/v1/readings HTTP/1.1\r\nHost: shop.example\r\nContent-Type: application/json\r\n\
                Transfer-Encoding: chunked\r\nAuthorization: Bearer";
    let json = format!("{json} {}\r\n\r\n1\r\n{{\r\n", guarded.sensor);
    let (url, patience) = (guarded.bench.url(""), Duration::from_secs(60));
    let said = futures_util::future::join(raw(&url, begun.into(), patience), raw(&url, json, patience));
    let (form, json) = said.await;
    assert!(form.starts_with("HTTP/1.1 400"), "{form}");
    assert!(json.starts_with("HTTP/1.1 400") && json.contains("too slowly"), "{json}");
    guarded.bench.stop().await;
}

/// What is sent may be so large and no larger, whatever is sent.
#[tokio::test]
async fn what_is_too_large_is_refused_with_a_problem() {
    let mut shop = bench::Shop::small();
    shop.settings.server.body_limit_kib = 16;
    shop.settings.server.import_limit_mib = 1;
    shop.settings.store.photo_limit_mib = 1;
    let bench = Bench::open(shop, benchclock::Now::standing_at(bench::ms(bench::BEGIN)), false).await;
    bench.furnish().await;
    bench.post("/api/v1/jobs", serde_json::json!({"id": "j-1", "title": "x", "instrument": "guitar"})).await.good();
    let form = "application/x-www-form-urlencoded";
    let part =
        "--x\r\ncontent-disposition: form-data; name=\"photo\"; filename=\"x\"\r\ncontent-type: image/jpeg\r\n\r\n";
    for (path, media, body) in [
        ("/api/v1/clamps", "application/json", format!("{{\"id\": \"{}\"}}", "x".repeat(17 * 1024))),
        (
            "/api/v1/zones/bench/readings/csv",
            "text/csv",
            format!("time,temp_c,rh_pct\n{}", "2026-03-02T07:00:00Z,20,50\n".repeat(40_000)),
        ),
        ("/jobs", form, format!("title={}", "x".repeat(129 * 1024))),
        ("/jobs/j-1/photos", "multipart/form-data; boundary=x", format!("{part}{}", "x".repeat(1024 * 1024 + 1))),
    ] {
        let request = bench.http().post(bench.url(path)).header("content-type", media).body(body);
        bench.send(request).await.problem(413, "too-large");
    }
    bench.stop().await;
}

/// Strangers are told whether it is ready; what it runs on, where its files are and why it is not is for whoever has a token.
#[tokio::test]
async fn a_stranger_is_told_whether_it_is_ready_and_no_more() {
    let guarded = Guarded::start().await;
    let stranger = guarded.get("/health/ready", None).await.good();
    assert_eq!(stranger, serde_json::json!({"ready": true}));
    let known = guarded.get("/health/ready", Some(&guarded.viewer)).await.good();
    assert!(known["version"].is_string() && known["store"]["ok"] == true, "{known}");
    guarded.bench.stop().await;
}
