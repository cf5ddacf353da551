//! Every page held against the rules of axe-core for WCAG 2.2 A and AA, on a phone and on the wall, by day and by night;
//! and registering a glue-up with the keyboard alone.

use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::{Value, json};
use thirtyfour::Key;

use super::{
    driver::{Browser, PHONE, View, WALL, target},
    planned, shop_now,
};

/// axe-core as `tests/run` fetched it with npm: its licence (MPL-2.0) is not ours, so it is not in the repository.
fn axe() -> String {
    let file = target().join("axe/node_modules/axe-core/axe.min.js");
    let mend = "run tests/run, or: npm install --prefix <target folder>/axe --no-save axe-core@4";
    std::fs::read_to_string(&file).unwrap_or_else(|e| panic!("{}: {e}; {mend}", file.display()))
}

/// What axe finds: rule, how bad, and where.
async fn violations(browser: &Browser) -> Vec<Value> {
    let run = "const done = arguments[arguments.length - 1];
        axe.run({runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice']})
           .then(found => done([found.passes.length, found.violations.map(v => [v.id, v.impact, v.nodes.map(n => n.html + ' ' + n.failureSummary)])]),
                 wrong => done([0, [String(wrong)]]));";
    let found = browser.driver.execute_async(run, vec![]).await.unwrap().json().clone();
    assert!(found[0].as_u64().unwrap() > 10, "axe looked at next to nothing: {found}");
    found[1].as_array().unwrap().clone()
}

/// A shop in which every page has something to show.
async fn busy() -> Bench {
    let bench = Bench::open(Shop::new(), Now::system(), true).await;
    super::furnish(&bench).await;
    planned(&bench).await;
    let glue_up = json!({"id": "g-1", "joint": "bridge", "job": "loose", "step": "glue", "zone": "bench",
                         "material": "aliphatic-resin", "clamps": ["cam-1"], "minutes_ago": 75});
    bench.post("/api/v1/glue-ups", glue_up).await.good();
    let cold = json!({"id": "shed", "name": "Shed", "set_temp_c": 6, "set_rh_pct": 85});
    bench.post("/api/v1/zones", cold).await.good();
    let young = json!({"id": "g-2", "joint": "bridge", "material": "aliphatic-resin", "zone": "shed"});
    bench.post("/api/v1/glue-ups", young).await.good();
    let coat = json!({"id": "c-1", "instrument": "guitar", "surface": "top", "material": "shellac", "zone": "bench"});
    bench.post("/api/v1/coats", coat).await.good();
    let set = json!({"family": "steel_string_guitar", "half_tension_h": 12});
    bench.post("/api/v1/instruments/guitar/strings", set).await.good();
    bench.post("/api/v1/joints/bridge/load", json!({"path": "bridge_foot"})).await.good();
    let pot = json!({"material": "acid-cured-lacquer", "zone": "bench", "wanted_ml": 50});
    bench.post("/api/v1/mixes", pot).await.good();
    bench.post("/api/v1/lots", json!({"id": "bottle", "material": "shellac", "label": "flakes"})).await.good();
    bench.until_told("g-1:clamp_off").await;
    let seen = [("stage", "clamp_off"), ("by", "thumbnail"), ("reached", "true")];
    assert_eq!(super::forms::send(&bench, "/cures/g-1/observed", &seen).await.status, 200);
    bench
}

const PAGES: [&str; 35] = [
    "/",
    "/login",
    "/access",
    "/plan",
    "/glue-up",
    "/glue-up?step=none",
    "/cures/g-1",
    "/cures/g-2",
    "/cures/c-1",
    "/cures/nothing",
    "/jobs",
    "/jobs/new",
    "/jobs/new?procedure=lacquer-drop-fill",
    "/jobs/loose",
    "/jobs/loose/card",
    "/jobs/loose/label",
    "/climate",
    "/materials",
    "/hooks",
    "/api",
    "/coats",
    "/coats?material=nitrocellulose-lacquer&zone=shed",
    "/coat",
    "/coat?step=none",
    "/coat?on=c-1",
    "/mix",
    "/mix?material=acid-cured-lacquer&wanted_ml=50",
    "/strings",
    "/instruments/guitar/strings",
    "/instruments/guitar/string-up-sheet",
    "/rules",
    "/rules/new",
    "/rules/shellac",
    "/rules/aliphatic-resin/fit",
    "/rules/nothing",
];

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_page_breaks_a_rule_of_wcag_2_2() {
    let (bench, axe) = (busy().await, axe());
    let mut faults = Vec::new();
    for view in [PHONE, WALL, View { dark: true, ..PHONE }, View { dark: true, ..WALL }] {
        let browser = Browser::open(view).await;
        for page in PAGES.iter().chain(&["/alerts"]) {
            browser.goto(bench.url(page)).await;
            let dark = browser.run("return matchMedia('(prefers-color-scheme: dark)').matches").await;
            assert_eq!(dark, view.dark);
            browser.run(&axe).await;
            let found = violations(&browser).await;
            faults.extend((!found.is_empty()).then(|| format!("{page} on {view:?}: {found:#?}")));
            // Nothing is wider than the screen (WCAG 1.4.10).
            let wide = browser.run("return document.documentElement.scrollWidth - innerWidth").await;
            faults.extend((wide.as_i64().unwrap() > 0).then(|| format!("{page} on {view:?} is {wide} px too wide")));
            // Every control that stands alone is large enough for a finger; links in a sentence are not meant.
            let small = "return [...document.querySelectorAll('button, select, input:not([type=hidden]), .act, .choice')]
                .filter(e => e.getClientRects().length).filter(e => e.getBoundingClientRect().height < 44).map(e => e.outerHTML)";
            let small = browser.run(small).await;
            faults.extend((small != json!([])).then(|| format!("{page} on {view:?}, too small: {small}")));
        }
        browser.close().await;
    }
    assert!(faults.is_empty(), "{}", faults.join("\n"));
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_glue_up_is_registered_with_the_keyboard_alone() {
    let bench = shop_now().await;
    planned(&bench).await;
    let browser = Browser::open(WALL).await;
    browser.goto(bench.url("/")).await;
    // Tab until the keyboard is on something whose words begin so, and press it.
    let press = async |words: &str, key: Key| {
        for _ in 0..60 {
            browser.key(Key::Tab).await;
            let on = browser
                .run("const e = document.activeElement; return (e.getAttribute('aria-label') ?? e.innerText ?? '')")
                .await;
            if on.as_str().is_some_and(|on| on.starts_with(words)) {
                let seen = browser.run("return getComputedStyle(document.activeElement).outlineStyle").await;
                assert_ne!(seen, "none", "{words}: nobody sees where the keyboard is");
                browser.key(key).await;
                return;
            }
        }
        panic!("the keyboard never comes to {words}");
    };
    press("Register a glue-up", Key::Enter).await;
    browser.until("return location.pathname === '/glue-up'").await;
    press("Glue the bridge", Key::Enter).await;
    browser.until("return location.search.includes('step=')").await;
    press("Register", Key::Enter).await;
    browser.until("return location.pathname.startsWith('/cures/')").await;
    browser.until_said("Clamp off").await;
    assert_eq!(bench.items("/api/v1/glue-ups").await.len(), 1);
    browser.close().await;
    bench.stop().await;
}
