//! The way in for browsers: sessions, forms of other sites, names that stand for this machine, and locks.

use reqwest::{Method, Response, StatusCode};
use serde_json::json;

use super::{Guarded, browser};

/// Fills in the form; gives the answer.
async fn log_in(guarded: &Guarded, token: &str, then: &str) -> Response {
    let form = [("token", token), ("then", then)];
    let body: String = form.map(|(name, value)| format!("{name}={}", value.replace('/', "%2F"))).join("&");
    let request = browser().post(guarded.bench.url("/login")).header("sec-fetch-site", "same-origin");
    request.header("content-type", "application/x-www-form-urlencoded").body(body).send().await.unwrap()
}

/// The cookie as it is sent back.
fn cookie(answer: &Response) -> String {
    answer.headers()["set-cookie"].to_str().unwrap().split(';').next().unwrap().to_string()
}

async fn page(guarded: &Guarded, path: &str, cookie: &str) -> Response {
    let request = browser().get(guarded.bench.url(path)).header("accept", "text/html");
    request.header("cookie", cookie).send().await.unwrap()
}

#[tokio::test]
async fn a_page_leads_to_the_login_and_the_login_back_to_the_page() {
    let guarded = Guarded::start().await;
    let sent = browser().get(guarded.bench.url("/jobs?x=1&y=2")).header("accept", "text/html").send().await.unwrap();
    assert_eq!(
        (sent.status(), &sent.headers()["location"]),
        (StatusCode::SEE_OTHER, &"/login?then=%2Fjobs%3Fx%3D1%26y%3D2".parse().unwrap())
    );
    let form = browser().get(guarded.bench.url("/login?then=%2Fjobs%3Fx%3D1%26y%3D2")).send().await.unwrap();
    assert!(form.text().await.unwrap().contains("name=\"then\" value=\"/jobs?x=1&#38;y=2\""));
    let entered = log_in(&guarded, &guarded.worker, "/jobs").await;
    assert_eq!((entered.status(), &entered.headers()["location"]), (StatusCode::SEE_OTHER, &"/jobs".parse().unwrap()));
    let set = entered.headers()["set-cookie"].to_str().unwrap();
    for part in ["HttpOnly", "SameSite=Lax", "Path=/"] {
        assert!(set.contains(part), "{set}");
    }
    assert!(
        !set.contains("bclk_") && !set.contains("Domain"),
        "the token itself stays out of the browser's jar: {set}"
    );
    let shown = page(&guarded, "/jobs", &cookie(&entered)).await;
    assert_eq!(shown.status(), 200);
    assert!(shown.text().await.unwrap().contains("mia-phone: log out"));
    // Nobody is sent elsewhere.
    let elsewhere = log_in(&guarded, &guarded.worker, "//example.org").await;
    assert_eq!(elsewhere.headers()["location"], "/");
    guarded.bench.stop().await;
}

/// The style sheet hides what `data-role` may not press; `tests/browser` looks at it.
#[tokio::test]
async fn a_page_shows_who_looks_and_leads_only_where_they_may_go() {
    let guarded = Guarded::start().await;
    for (token, role, owns) in
        [(&guarded.owner, "owner", true), (&guarded.worker, "bench", false), (&guarded.viewer, "viewer", false)]
    {
        let session = cookie(&log_in(&guarded, token, "/").await);
        let text = async |path: &str| page(&guarded, path, &session).await.text().await.unwrap();
        let board = text("/").await;
        assert!(board.contains(&format!("data-role=\"{role}\"")) && board.contains(": log out"), "{role}: {board}");
        assert_eq!(board.contains("href=\"/access\""), owns, "{role}");
        assert_eq!(board.contains("Log in with another token"), role == "viewer", "{role}");
        // A calendar's address is a secret that programs may not ask for in that role either.
        assert_eq!(text("/alerts").await.contains("webcal://"), role != "viewer", "{role}");
        let rule = text("/rules/shellac").await;
        assert!(rule.contains("<textarea") && rule.contains("id=\"save\"") == owns, "{role}: {rule}");
    }
    let stranger = browser().get(guarded.bench.url("/login")).send().await.unwrap().text().await.unwrap();
    assert!(stranger.contains("href=\"/login\"") && !stranger.contains("data-role"), "{stranger}");
    guarded.bench.stop().await;
}

#[tokio::test]
async fn a_session_ends_with_its_token_by_logging_out_and_when_it_is_not_used() {
    let guarded = Guarded::start().await;
    let status = async |cookie: &str| page(&guarded, "/", cookie).await.status().as_u16();
    let (one, two) = (log_in(&guarded, &guarded.worker, "/").await, log_in(&guarded, &guarded.worker, "/").await);
    let (one, two) = (cookie(&one), cookie(&two));
    assert_ne!(one, two);
    let out =
        browser().post(guarded.bench.url("/logout")).header("cookie", &one).header("sec-fetch-site", "same-origin");
    let out = out.send().await.unwrap();
    assert!(out.headers()["set-cookie"].to_str().unwrap().contains("Max-Age=0"));
    // The cookie is worth nothing any more, even kept.
    assert_eq!((status(&one).await, status(&two).await), (303, 200));
    // Used now and then it goes on; a fortnight without and it is over.
    for _ in 0..3 {
        guarded.bench.wait_minutes(13 * 24 * 60);
        assert_eq!(status(&two).await, 200);
    }
    guarded.bench.wait_minutes(14 * 24 * 60 + 1);
    assert_eq!(status(&two).await, 303);
    let three = cookie(&log_in(&guarded, &guarded.worker, "/").await);
    assert_eq!(status(&three).await, 200);
    guarded.post("/api/v1/tokens/mia-phone/revoke", Some(&guarded.owner), json!({})).await.good();
    assert_eq!(status(&three).await, 303);
    // A session is no token, and a token no session.
    let secret = three.split_once('=').unwrap().1;
    guarded.get("/api/v1/board", Some(secret)).await.problem(401, "login");
    let as_cookie = format!("benchclock-session={}", guarded.owner);
    assert_eq!(status(&as_cookie).await, 303);
    guarded.bench.stop().await;
}

#[tokio::test]
async fn a_session_survives_a_restart_and_what_it_registers_is_by_its_token() {
    let mut guarded = Guarded::start().await;
    let session = cookie(&log_in(&guarded, &guarded.worker, "/").await);
    guarded.bench = guarded.bench.restart(false).await;
    let add =
        browser().post(guarded.bench.url("/lots")).header("cookie", &session).header("sec-fetch-site", "same-origin");
    let add = add.header("content-type", "application/x-www-form-urlencoded").body("material=shellac&label=blue+jar");
    let added = add.send().await.unwrap();
    assert_eq!(added.status(), 303, "{}", added.text().await.unwrap());
    let facts = guarded.get("/api/v1/export", Some(&guarded.owner)).await.text;
    assert!(facts.lines().any(|line| line.contains("blue jar") && line.contains("\"by\":\"mia-phone\"")), "{facts}");
    guarded.bench.stop().await;
}

/// A browser says where a request comes from: Fetch Metadata (W3C), or Origin (RFC 6454).
#[tokio::test]
async fn nothing_is_written_for_a_page_of_another_site() {
    let guarded = Guarded::start().await;
    let session = cookie(&log_in(&guarded, &guarded.owner, "/").await);
    let close = |name: &'static str, value: &str| {
        let request = guarded.request(Method::POST, "/api/v1/alerts/none/acknowledge", None);
        request.header("cookie", &session).header(name, value)
    };
    let here = guarded.bench.url("");
    for (name, value) in [
        ("sec-fetch-site", "cross-site"),
        ("sec-fetch-site", "same-site"),
        ("origin", "https://example.org"),
        ("origin", "null"),
        ("origin", "http://127.0.0.1:1"),
    ] {
        guarded.bench.send(close(name, value)).await.problem(403, "foreign");
    }
    for (name, value) in [("sec-fetch-site", "same-origin"), ("sec-fetch-site", "none"), ("origin", here.as_str())] {
        guarded.bench.send(close(name, value)).await.problem(404, "not-found");
    }
    // To log in and out, too.
    let foreign =
        browser().post(guarded.bench.url("/login")).header("sec-fetch-site", "cross-site").send().await.unwrap();
    assert_eq!(foreign.status(), 403);
    // A program shows its token with each request and no page can make it do so.
    let program = guarded.request(Method::POST, "/api/v1/alerts/none/acknowledge", Some(&guarded.worker));
    guarded.bench.send(program.header("origin", "https://example.org")).await.problem(404, "not-found");
    guarded.bench.stop().await;
}

/// Without a login, too: a command without a body is a request any page may have a browser send.
#[tokio::test]
async fn from_the_machine_itself_no_other_site_writes_and_no_other_name_comes_in() {
    let bench = bench::Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    let off = |name: &'static str, value: &str| {
        bench.http().post(bench.url("/api/v1/glue-ups/g-1/clamps-off")).header(name, value)
    };
    bench.send(off("sec-fetch-site", "cross-site")).await.problem(403, "foreign");
    bench.send(off("origin", "https://example.org")).await.problem(403, "foreign");
    let kept = bench.get("/api/v1/glue-ups/g-1").await.good();
    assert_eq!(kept["clamps_on"].as_array().unwrap().len(), 2, "{kept}");
    // A page whose name was made to stand for this machine asks by that name (DNS rebinding).
    let port = bench.url("").rsplit(':').next().unwrap().to_string();
    for host in ["evil.example", "127.0.0.1.evil.example", "localhost.evil.example", "192.168.1.7"] {
        let asked = bench.http().get(bench.url("/api/v1/board")).header("host", format!("{host}:{port}"));
        bench.send(asked).await.problem(401, "login");
        let written = off("origin", &format!("http://{host}:{port}")).header("host", format!("{host}:{port}"));
        bench.send(written).await.problem(401, "login");
    }
    for host in ["localhost", "127.0.0.1", "[::1]"] {
        let asked = bench.http().get(bench.url("/api/v1/board")).header("host", format!("{host}:{port}"));
        bench.send(asked).await.good();
    }
    bench.stop().await;
}

#[tokio::test]
async fn too_many_wrong_tokens_are_turned_away_and_the_right_one_never() {
    let guarded = Guarded::start().await;
    let mut turned_away = 0;
    for n in 0..60 {
        let answer = guarded.get("/api/v1/board", Some(&format!("bclk_{n}"))).await;
        turned_away += usize::from(answer.status == 429);
        assert!(matches!(answer.status, 401 | 429), "{}", answer.text);
    }
    assert!(turned_away > 30, "ten at once, then six a minute: {turned_away} of 60");
    let bad = log_in(&guarded, "bclk_wrong", "/").await;
    assert_eq!((bad.status().as_u16(), bad.headers().contains_key("set-cookie")), (429, false));
    // From the same address, at the same moment: the owner is not locked out, by token or by form.
    guarded.get("/api/v1/board", Some(&guarded.owner)).await.good();
    assert_eq!(log_in(&guarded, &guarded.owner, "/").await.status(), 303);
    // And whoever asks without any token is told to go slowly, without harm to others.
    let mut slowed = 0;
    for _ in 0..200 {
        slowed += usize::from(guarded.get("/api/v1/board", None).await.status == 429);
    }
    assert!(slowed > 20, "{slowed} of 200");
    guarded.get("/api/v1/board", Some(&guarded.viewer)).await.good();
    guarded.bench.stop().await;
}

#[tokio::test]
async fn the_owner_makes_and_takes_away_tokens_on_the_page() {
    let guarded = Guarded::start().await;
    let session = cookie(&log_in(&guarded, &guarded.owner, "/").await);
    let send = async |path: &str, body: &'static str| {
        let request = browser().post(guarded.bench.url(path)).header("cookie", &session);
        let request = request.header("sec-fetch-site", "same-origin");
        request.header("content-type", "application/x-www-form-urlencoded").body(body).send().await.unwrap()
    };
    let made = send("/access", "id=saw-tablet&role=bench&zone=bench").await;
    assert_eq!(made.status(), 201);
    let made = made.text().await.unwrap();
    let at = made.find("bclk_").expect("it is shown");
    let token = &made[at..at + 69];
    guarded.get("/api/v1/board", Some(token)).await.good();
    let shown = page(&guarded, "/access", &session).await.text().await.unwrap();
    assert!(shown.contains("saw-tablet") && !shown.contains("bclk_"), "it is shown once");
    let twice = send("/access", "id=saw-tablet&role=bench").await;
    assert_eq!(twice.status(), 422);
    // Times are said as on every page, and a slip of the finger takes nobody's token away.
    assert!(shown.contains("made ") && !shown.contains("T0") && !shown.contains("+00:00"), "{shown}");
    assert_eq!(send("/access/saw-tablet/revoke", "").await.status(), 422);
    guarded.get("/api/v1/board", Some(token)).await.good();
    assert_eq!(send("/access/saw-tablet/revoke", "sure=yes").await.status(), 303);
    guarded.get("/api/v1/board", Some(token)).await.problem(401, "login");
    // What a role may not is said as a page.
    let worker = cookie(&log_in(&guarded, &guarded.worker, "/").await);
    let refused = page(&guarded, "/access", &worker).await;
    assert_eq!(refused.status(), 403);
    let refused = refused.text().await.unwrap();
    assert!(refused.contains("the role bench of") && !refused.contains("href=\"/access\""), "{refused}");
    guarded.bench.stop().await;
}
