//! The board on the wall: what is urgent stands above the fold, and what counts down is read from three metres.

use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::Value;

use super::driver::{Browser, WALL};

/// How far somebody at the bench stands from the wall, mm.
const AWAY_MM: f64 = 3000.0;
/// A screen of the 24-inch class with 1920 pixels across: 609.6 mm across corners at 16 to 9, so 531.3 mm wide.
const MM_PER_PX: f64 = 531.3 / 1920.0;
/// Height of characters ISO 9241-303 recommends, arc minutes (20 to 22; from memory).
const RECOMMENDED: f64 = 20.0;
/// Height of the names, arc minutes: normal sight can tell 5 (from memory), and eight cards have to stand on one screen.
const NAMES: f64 = 9.0;

/// The height of a 0 as the browser draws it, as an angle from the bench, arc minutes.
async fn angles(browser: &Browser, css: &str) -> Vec<f64> {
    let measure = format!(
        "const pen = document.createElement('canvas').getContext('2d');
         return [...document.querySelectorAll('{css}')].map(e => {{
           const is = getComputedStyle(e); pen.font = `${{is.fontWeight}} ${{is.fontSize}} ${{is.fontFamily}}`; return pen.measureText('0').actualBoundingBoxAscent; }})"
    );
    let heights: Vec<f64> = serde_json::from_value(browser.run(&measure).await).unwrap();
    heights.into_iter().map(|px| (px * MM_PER_PX / AWAY_MM).atan().to_degrees() * 60.0).collect()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_is_urgent_in_the_demo_stands_on_the_first_screen_and_is_read_across_the_room() {
    let now = Now::system();
    let bench = Bench::open(Shop::new(), now.clone(), false).await;
    benchclock::fill_demo(bench.state(), now.ms()).await.expect("the demo shop is lived through");
    // A demo is ready from its start: none of its recurring work was missed while its ten days were lived through.
    let ready = bench.get("/health/ready").await;
    assert!(ready.status == 200, "{}", ready.text);
    let bench = bench.restart(true).await;
    let browser = Browser::open(WALL).await;
    browser.goto(bench.url("/")).await;
    browser.picture("wall-first-screen").await;
    let urgent = "return [...document.querySelectorAll('article.ready, article.risk, article.closing')]
                    .map(e => [e.innerText, e.getBoundingClientRect().bottom])";
    let urgent: Vec<(String, f64)> = serde_json::from_value(browser.run(urgent).await).unwrap();
    assert!(urgent.len() >= 3, "{urgent:?}");
    let below: Vec<_> = urgent.iter().filter(|(_, bottom)| *bottom > f64::from(WALL.height)).collect();
    assert!(below.is_empty(), "below the fold of {}: {below:?}", WALL.height);
    // What closes and what is at risk come before what waits.
    let order = browser.run("return [...document.querySelectorAll('.first h2')].map(e => e.id)").await;
    let order: Vec<Value> = order.as_array().unwrap().clone();
    let place = |id: &str| order.iter().position(|head| head == id);
    for before in ["closing", "risk"] {
        assert!(place(before).is_none_or(|before| Some(before) < place("ready")), "{order:?}");
    }
    for (css, least) in [(".board .count:not(.never)", RECOMMENDED), (".board article > h3", NAMES)] {
        let angles = angles(&browser, css).await;
        assert!(!angles.is_empty() && angles.iter().all(|angle| *angle >= least), "{css}: {angles:?} arc minutes");
    }
    // Nothing runs out of its card.
    let wide = "return [...document.querySelectorAll('.board article')].filter(e => e.scrollWidth > e.clientWidth).map(e => e.innerText)";
    assert_eq!(browser.run(wide).await, serde_json::json!([]));
    browser.close().await;
    bench.stop().await;
}
