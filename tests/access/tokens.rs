//! Tokens: shown once, kept as a hash, taken away for good; given over HTTP and at the command line.

use bench::Bench;
use reqwest::Method;
use serde_json::{Value, json};

use super::{Guarded, token};
use bench::program::{Home, Program, command};

/// RFC 9110 asks for a challenge in an answer of 401.
#[tokio::test]
async fn who_shows_nothing_or_something_wrong_is_asked_to_log_in() {
    let guarded = Guarded::start().await;
    let bare = guarded.request(Method::GET, "/api/v1/board", None).send().await.unwrap();
    assert_eq!(bare.status(), 401);
    assert_eq!(bare.headers()["www-authenticate"], "Bearer realm=\"benchclock\"");
    let guess = format!("bclk_{}", "0".repeat(64));
    guarded.get("/api/v1/board", Some(&guess)).await.problem(401, "login");
    let cut = &guarded.owner[..guarded.owner.len() - 1];
    guarded.get("/api/v1/board", Some(cut)).await.problem(401, "login");
    let odd = guarded.request(Method::GET, "/api/v1/board", None).header("authorization", "Bearer ");
    guarded.bench.send(odd).await.problem(401, "login");
    // The word of the scheme is not case-sensitive (RFC 9110, 11.1).
    let small = guarded.request(Method::GET, "/api/v1/board", None);
    guarded.bench.send(small.header("authorization", format!("bearer {}", guarded.viewer))).await.good();
    guarded.bench.stop().await;
}

#[tokio::test]
async fn a_token_is_shown_once_kept_as_a_hash_and_last_used_is_noted() {
    let guarded = Guarded::start().await;
    let owner = Some(guarded.owner.as_str());
    assert!(guarded.worker.starts_with("bclk_") && guarded.worker.len() == 5 + 64, "{}", guarded.worker.len());
    let one = guarded.get("/api/v1/tokens/mia-phone", owner).await.good();
    assert_eq!((&one["role"], &one["used_at"], one.get("token")), (&json!("bench"), &Value::Null, None));
    assert_eq!(one["made_by"], "bench");
    guarded.get("/api/v1/board", Some(&guarded.worker)).await.good();
    let used = guarded.get("/api/v1/tokens/mia-phone", owner).await.good()["used_at"].clone();
    assert_eq!(used, "2026-03-02T08:00:00+00:00");
    guarded.bench.wait_minutes(3);
    guarded.get("/api/v1/board", Some(&guarded.worker)).await.good();
    let used = guarded.get("/api/v1/tokens/mia-phone", owner).await.good()["used_at"].clone();
    assert_eq!(used, "2026-03-02T08:03:00+00:00");
    let all = guarded.get("/api/v1/tokens", owner).await.good();
    let ids: Vec<&Value> = all["items"].as_array().unwrap().iter().map(|one| &one["id"]).collect();
    assert_eq!(ids, ["mia-phone", "north-wall", "olga", "wall"]);
    // Neither the file nor its log of writes holds a secret, and an export has no tokens at all.
    let export = guarded.get("/api/v1/export", owner).await.text;
    let (owner, worker) = (guarded.owner.clone(), guarded.worker.clone());
    let (shop, _) = guarded.bench.stop().await;
    for entry in std::fs::read_dir(shop.folder()).unwrap() {
        let path = entry.unwrap().path();
        if path.is_file() {
            let bytes = std::fs::read(&path).unwrap();
            for secret in [&owner, &worker] {
                let digits = secret.trim_start_matches("bclk_").as_bytes();
                assert!(!bytes.windows(digits.len()).any(|part| part == digits), "{} holds a token", path.display());
            }
        }
    }
    assert!(!export.contains("mia-phone"), "{export}");
}

#[tokio::test]
async fn a_token_that_was_taken_away_opens_nothing_and_its_name_is_not_given_again() {
    let guarded = Guarded::start().await;
    let owner = Some(guarded.owner.as_str());
    let gone = guarded.post("/api/v1/tokens/mia-phone/revoke", owner, json!({})).await.good();
    assert_eq!(gone["revoked_by"], "olga");
    guarded.get("/api/v1/board", Some(&guarded.worker)).await.problem(401, "login");
    let again = json!({"id": "mia-phone", "role": "bench"});
    guarded.post("/api/v1/tokens", owner, again).await.problem(409, "conflict");
    guarded.post("/api/v1/tokens/nobody/revoke", owner, json!({})).await.problem(404, "not-found");
    // The owner cannot lock everybody out from afar.
    guarded.post("/api/v1/tokens/olga/revoke", owner, json!({})).await.problem(409, "conflict");
    let second = json!({"id": "otto", "role": "owner"});
    let otto = guarded.post("/api/v1/tokens", owner, second).await.good()["token"].as_str().unwrap().to_string();
    guarded.post("/api/v1/tokens/olga/revoke", Some(&otto), json!({})).await.good();
    guarded.get("/api/v1/board", owner).await.problem(401, "login");
    let worker = guarded.worker.clone();
    let bench = guarded.bench.restart(false).await;
    let sent = bench.send(bench.http().get(bench.url("/api/v1/board")).bearer_auth(worker)).await;
    sent.problem(401, "login");
    bench.stop().await;
}

#[tokio::test]
async fn what_cannot_be_a_token_is_said() {
    let bench = Bench::small().await;
    for (body, field) in [
        (json!({"id": "", "role": "bench"}), "name"),
        (json!({"id": "Mia", "role": "bench"}), "name"),
        (json!({"id": "clock", "role": "bench"}), "name"),
        (json!({"id": "x".repeat(49), "role": "bench"}), "name"),
        (json!({"id": "mia", "role": "bench", "zones": ["bench"]}), "zones"),
        (json!({"id": "north", "role": "sensor"}), "zones"),
        (json!({"id": "north", "role": "sensor", "zones": ["The Bench"]}), "zone id"),
        (json!({"id": "mia", "role": "king"}), "role"),
        (json!({"id": "mia"}), "role"),
    ] {
        assert_eq!(bench.post("/api/v1/tokens", body.clone()).await.problem(422, "invalid")["field"], field, "{body}");
    }
    bench.stop().await;
}

#[tokio::test]
async fn the_same_request_again_makes_no_second_token_and_shows_no_secret() {
    let bench = Bench::small().await;
    let body = json!({"id": "mia-phone", "role": "bench"});
    let first = bench.post_once("k-1", "/api/v1/tokens", body.clone()).await.good();
    let again = bench.post_once("k-1", "/api/v1/tokens", body.clone()).await.good();
    assert!(first["token"].is_string() && again.get("token").is_none(), "{again}");
    assert_eq!(first["made_at"], again["made_at"]);
    bench.post_once("k-2", "/api/v1/tokens", body).await.problem(409, "conflict");
    assert_eq!(bench.items("/api/v1/tokens").await.len(), 1);
    bench.stop().await;
}

#[tokio::test]
async fn from_the_machine_itself_a_good_token_gives_its_name_and_a_wrong_one_is_not_overlooked() {
    let bench = Bench::small().await;
    let mia = token(&bench, json!({"id": "mia-phone", "role": "bench"})).await;
    let board = |token: &str| bench.http().get(bench.url("/api/v1/board")).bearer_auth(token);
    bench.send(board(&mia)).await.good();
    bench.send(board("bclk_0")).await.problem(401, "login");
    bench.send(bench.http().get(bench.url("/api/v1/tokens")).bearer_auth(&mia)).await.problem(403, "role");
    bench.stop().await;
}

#[tokio::test]
async fn a_token_asks_only_so_often() {
    let mut shop = bench::Shop::small();
    shop.settings.access.requests_per_s = 2;
    let guarded = Guarded::of(shop).await;
    let mut turned_away = 0;
    for _ in 0..40 {
        let answer = guarded.get("/health/live", Some(&guarded.viewer)).await;
        if answer.status == 429 {
            turned_away += 1;
            answer.problem(429, "too-many");
        }
    }
    assert!((1..=30).contains(&turned_away), "ten at once and two a second: {turned_away} of 40");
    // Each token has its own.
    guarded.get("/api/v1/board", Some(&guarded.worker)).await.good();
    guarded.bench.stop().await;
}

/// A listener whose token is taken away hears no more after the next beat of the stream.
#[tokio::test]
async fn an_event_stream_ends_with_its_token() {
    let guarded = Guarded::start().await;
    let mut stream = guarded.request(Method::GET, "/api/v1/events", Some(&guarded.viewer)).send().await.unwrap();
    assert_eq!(stream.status(), 200);
    guarded.post("/api/v1/tokens/wall/revoke", Some(&guarded.owner), json!({})).await.good();
    let ended = async { while let Ok(Some(_)) = stream.chunk().await {} };
    tokio::time::timeout(std::time::Duration::from_secs(40), ended).await.expect("it ends");
    guarded.bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn the_command_line_gives_lists_and_takes_away_before_and_while_the_service_runs() {
    let home = Home::new();
    let config = home.config().display().to_string();
    let run = async |words: &[&str]| command(words.iter().copied().chain(["--config", &config])).await;
    let made = run(&["token", "add", "olga", "--role", "owner"]).await.good();
    let olga = made.trim().to_string();
    assert!(olga.starts_with("bclk_") && !olga.contains(char::is_whitespace), "nothing but the token: {made}");
    let refused = run(&["token", "add", "olga", "--role", "viewer"]).await;
    assert_eq!(refused.code, Some(1));
    assert!(refused.complained.contains("never given twice"), "{}", refused.complained);
    let settings = std::fs::read_to_string(home.config()).unwrap() + "[access]\nlogin_here = true\n";
    home.write(&settings);
    let program = Program::serve(&home).await;
    let url = program.url("");
    let ready = async |token: &str| command(["ready", "--url", &url, "--token", token]).await.code;
    assert_eq!(ready(&olga).await, Some(0));
    assert_eq!(ready("bclk_wrong").await, Some(3));
    // Given while it runs: known within seconds; taken away: gone within seconds.
    let mia = run(&["token", "add", "mia-phone", "--role", "bench"]).await.good().trim().to_string();
    bench::until("the new token is known", async || (ready(&mia).await == Some(0)).then_some(())).await;
    let listed = run(&["token", "list"]).await.good();
    assert!(listed.contains("mia-phone") && listed.contains("owner") && !listed.contains("bclk_"), "{listed}");
    run(&["token", "revoke", "mia-phone"]).await.good();
    bench::until("the token is gone", async || (ready(&mia).await == Some(3)).then_some(())).await;
    assert_eq!(run(&["token", "revoke", "mia-phone"]).await.code, Some(1));
    program.terminate().await;
}
