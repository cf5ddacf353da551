//! The pages in a real browser, and without one: what a page says stands in its HTML; the script only counts it down.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

use std::process::{Command, Stdio};

use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::json;

/// The page as it stands in Chromium once its script has run.
async fn seen(bench: &Bench, path: &str) -> String {
    let url = bench.url(path);
    let profile = tempfile::tempdir().unwrap();
    let shown = tokio::task::spawn_blocking(move || {
        Command::new("chromium")
            .args(["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync"])
            .args(["--disable-background-networking", "--disable-component-update", "--disable-dev-shm-usage"])
            .arg(format!("--user-data-dir={}", profile.path().display()))
            .args(["--timeout=5000", "--dump-dom", &url])
            .stderr(Stdio::null())
            .output()
            .unwrap_or_else(|e| panic!("chromium cannot be run ({e}); tests/run installs it"))
    });
    let shown = shown.await.unwrap();
    assert!(shown.status.success(), "chromium ended with {}", shown.status);
    String::from_utf8(shown.stdout).unwrap()
}

/// Every countdown of a page: the instant it counts down to, and what it shows.
fn counts(html: &str) -> Vec<(i64, String)> {
    let element = |part: &str| {
        let (at, rest) = part.split_once('"')?;
        let text = rest.split_once('>')?.1.split_once('<')?.0;
        Some((at.parse().unwrap(), text.to_string()))
    };
    html.split("data-at=\"").skip(1).filter_map(element).collect()
}

/// Minutes in a countdown: "1 d 2 h", "1 h 05 min" or "12:34".
fn minutes(shown: &str) -> f64 {
    let number = |text: &str| text.trim().parse::<f64>().unwrap_or_else(|_| panic!("no countdown: {shown}"));
    if let Some((m, s)) = shown.split_once(':') {
        return number(m) + number(s) / 60.0;
    }
    let words: Vec<&str> = shown.split(' ').collect();
    let unit = |unit: &str| match unit {
        "d" => 1440.0,
        "h" => 60.0,
        "min" => 1.0,
        _ => panic!("no countdown: {shown}"),
    };
    words.chunks(2).map(|pair| number(pair[0]) * unit(pair[1])).sum()
}

/// The real clock, since the script in the page has no other.
async fn shop_now() -> Bench {
    let bench = Bench::open(Shop::small(), Now::system(), false).await;
    bench.furnish().await;
    bench
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_board_counts_down_to_each_milestone() {
    let bench = shop_now().await;
    bench.read_air("bench", 20.0, 50.0).await;
    bench.glue_up("g-1").await;
    let coat = json!({"id": "c-1", "instrument": "guitar", "surface": "top", "material": "shellac", "zone": "bench",
                      "minutes_ago": 30});
    bench.post("/api/v1/coats", coat).await.good();
    bench.alarms().await;
    // Without the script the page holds the times of day.
    let plain = bench.get("/").await.text;
    let from_ms = bench.now.ms();
    let live = seen(&bench, "/").await;
    let until_ms = bench.now.ms();
    let (plain, counted) = (counts(&plain), counts(&live));
    assert_eq!(counted.len(), 2, "{live}");
    for ((at_ms, shown), (plain_at_ms, plain_shown)) in counted.iter().zip(&plain) {
        assert_eq!(at_ms, plain_at_ms);
        assert_ne!(shown, plain_shown, "the script did not run");
        // The script looked at its clock somewhere between; it shows whole seconds, then minutes, then hours.
        let left = |from_ms: i64| (at_ms - from_ms) as f64 / 60_000.0;
        let (least, most) = (left(until_ms) - 60.0, left(from_ms) + 0.1);
        assert!((least..=most).contains(&minutes(shown)), "{shown} is not in {least} to {most}");
    }
    for part in ["bridge of the guitar", "top of the guitar", "scrape flush", "aliphatic resin"] {
        assert!(live.contains(part), "no {part} in: {live}");
    }
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_glue_up_is_registered_with_the_form_and_its_page_says_when_and_what_to_mind() {
    let bench = shop_now().await;
    let joint = json!({"id": "brace", "instrument": "guitar", "name": "lower brace"});
    bench.post("/api/v1/joints", joint).await.good();
    let steps = json!([{"id": "glue", "kind": "glue_up", "title": "Glue the brace", "joint": "brace",
                        "material": "aliphatic-resin"},
                       {"id": "tap", "kind": "check", "title": "Tap for rattles"}]);
    let job = json!({"id": "brace", "instrument": "guitar", "title": "Loose brace", "steps": steps});
    bench.post("/api/v1/jobs", job).await.good();
    bench.glue_up("g-1").await;
    let form = bench.get("/glue-up").await.text;
    for part in [
        "value=\"brace glue\">Loose brace: Glue the brace",
        "value=\"bridge\">the guitar, bridge",
        "value=\"brace\">the guitar, lower brace",
        "value=\"aliphatic-resin\"",
        "value=\"bench\">Bench",
        "name=\"clamp\" value=\"cam-3\"",
    ] {
        assert!(form.contains(part), "no {part} in: {form}");
    }
    assert!(!form.contains("value=\"cam-1\"") && !form.contains("value=\"shellac\""), "{form}");

    // As a browser sends it: every field, also the empty ones.
    let body = "step=brace+glue&joint=&material=&zone=bench&minutes_ago=10&clamp=cam-3";
    let once = reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).build().unwrap();
    let request = once.post(bench.url("/glue-up")).header("content-type", "application/x-www-form-urlencoded");
    let answer = request.body(body).send().await.unwrap();
    assert_eq!(answer.status().as_u16(), 303);
    let page = answer.headers()["location"].to_str().unwrap().to_string();
    let id = page.strip_prefix("/cures/").unwrap();
    let cure = bench.get(&format!("/api/v1/glue-ups/{id}")).await.good();
    assert_eq!((&cure["step"], &cure["clamps_on"]), (&json!("glue"), &json!(["cam-3"])));

    let plain = bench.get(&page).await.text;
    let live = seen(&bench, &page).await;
    let texts = cure["cautions"].as_array().unwrap().iter().map(|caution| caution.as_str().unwrap());
    for part in
        texts.chain(["clamp off", "scrape flush", "cam-3", "Tap for rattles", "air partly assumed", "not a guarantee"])
    {
        assert!(plain.contains(part), "no {part} in: {plain}");
        assert!(live.contains(part), "no {part} in: {live}");
    }
    let (plain, counted) = (counts(&plain), counts(&live));
    assert_eq!(plain.len(), 3);
    assert!(counted.iter().zip(&plain).all(|(shown, told)| shown.0 == told.0 && shown.1 != told.1), "{counted:?}");
    let told_ms = bench::ms(cure["milestones"][1]["safe_at"].as_str().unwrap());
    assert_eq!(plain[1].0 / 1000, told_ms / 1000, "the page and the API do not agree on the clamps");
    bench.stop().await;
}

#[tokio::test]
async fn the_buttons_of_the_pages_work_without_a_script() {
    let bench = Bench::small().await;
    bench.furnish().await;
    bench.glue_up("g-1").await;
    bench.live_minutes("bench", 65, 20.0, 50.0).await;
    let board = bench.get("/").await;
    assert!(board.media.starts_with("text/html"));
    for part in ["action=\"/cures/g-1/clamps-off\"", "action=\"/alerts/g-1:clamp_off/seen\"", "cam-1, cam-2"] {
        assert!(board.text.contains(part), "no {part} in: {}", board.text);
    }
    let form = async |path: &str| {
        let request = bench.http().post(bench.url(path)).header("content-type", "application/x-www-form-urlencoded");
        bench.send(request.body("")).await
    };
    // The client follows to the board, as a browser does.
    assert_eq!(form("/cures/g-1/clamps-off").await.status, 200);
    assert_eq!(bench.board().await["clamps_free"], json!(["cam-1", "cam-2", "cam-3"]));
    form("/alerts/g-1:clamp_off/seen").await;
    assert_eq!(bench.alert("g-1:clamp_off").await["state"], "acknowledged");
    form("/cures/g-1/clamps-off").await.problem(409, "conflict");
    bench.stop().await;
}
