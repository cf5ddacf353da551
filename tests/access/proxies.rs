//! Behind a proxy: what it says is believed of the proxies in the settings and of nobody else. A proxy of our own, in the
//! test, is whatever sends the headers; nginx, Apache httpd and others send them so.

use bench::{Bench, Shop};
use reqwest::RequestBuilder;

use super::{browser, token};

async fn behind(trusted: &[&str]) -> (Bench, String) {
    let bench = Bench::small().await;
    let owner = token(&bench, serde_json::json!({"id": "olga", "role": "owner"})).await;
    let (mut shop, now): (Shop, _) = bench.stop().await;
    shop.settings.server.trusted_proxies = trusted.iter().map(|net| net.parse().expect("a network")).collect();
    (Bench::open(shop, now, false).await, owner)
}

fn board(bench: &Bench, headers: &[(&'static str, &str)]) -> RequestBuilder {
    let request = bench.http().get(bench.url("/api/v1/board"));
    headers.iter().fold(request, |request, (name, value)| request.header(*name, *value))
}

#[tokio::test]
async fn what_came_by_a_proxy_is_not_from_this_machine() {
    // A proxy nobody named: its headers give it away.
    let (bench, owner) = behind(&[]).await;
    bench.send(board(&bench, &[])).await.good();
    for name in ["x-forwarded-for", "forwarded", "x-real-ip", "x-forwarded-proto", "x-forwarded-host"] {
        bench.send(board(&bench, &[(name, "127.0.0.1")])).await.problem(401, "login");
    }
    bench.send(board(&bench, &[("x-forwarded-for", "203.0.113.7")]).bearer_auth(&owner)).await.good();
    bench.stop().await;
    // One that is named on this machine: whatever comes from this machine may have come by it.
    let (bench, owner) = behind(&["127.0.0.1/32"]).await;
    bench.send(board(&bench, &[])).await.problem(401, "login");
    bench.send(board(&bench, &[("x-forwarded-for", "127.0.0.1")])).await.problem(401, "login");
    bench.send(board(&bench, &[]).bearer_auth(&owner)).await.good();
    bench.stop().await;
}

#[tokio::test]
async fn a_proxy_that_is_trusted_says_that_it_was_https_and_which_host() {
    for (trusted, secure) in [("127.0.0.1/32", true), ("10.0.0.0/8", false)] {
        let (bench, owner) = behind(&[trusted]).await;
        let enter = browser()
            .post(bench.url("/login"))
            .header("x-forwarded-for", "203.0.113.7")
            .header("x-forwarded-proto", "https")
            .header("x-forwarded-host", "bench.example")
            .header("content-type", "application/x-www-form-urlencoded")
            .body(format!("token={owner}"));
        let entered = enter.header("origin", "https://bench.example").send().await.unwrap();
        if !secure {
            // Of anybody else it is not believed: the origin is another than the host.
            assert_eq!(entered.status(), 403);
            bench.stop().await;
            continue;
        }
        assert_eq!(entered.status(), 303);
        let set = entered.headers()["set-cookie"].to_str().unwrap();
        assert!(set.starts_with("__Host-") && set.ends_with("; Secure"), "{set}");
        assert_eq!(entered.headers()["strict-transport-security"], "max-age=31536000");
        bench.stop().await;
    }
}

/// Wrong tokens count against the client the proxy names, and nobody can hide behind a header of their own.
#[tokio::test]
async fn limits_go_by_the_client_and_not_by_what_it_says_of_itself() {
    let (bench, _) = behind(&["127.0.0.1/32"]).await;
    let wrong = async |chain: &str| {
        let request = board(&bench, &[("x-forwarded-for", chain)]).bearer_auth("bclk_wrong");
        bench.send(request).await.status
    };
    let mut last = 0;
    for n in 0..30 {
        // The first is written by the client, the last by the proxy.
        last = wrong(&format!("192.0.2.{n}, 203.0.113.7")).await;
    }
    assert_eq!(last, 429);
    assert_eq!(wrong("203.0.113.8").await, 401);
    // An IPv6 client has a network of 2^64 addresses to itself: it is one client.
    for n in 1..30 {
        last = wrong(&format!("2001:db8:1:1::{n:x}")).await;
    }
    assert_eq!(last, 429);
    assert_eq!(wrong("2001:db8:1:2::1").await, 401);
    bench.stop().await;
}
