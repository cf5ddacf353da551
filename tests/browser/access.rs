//! Every page held against the rules of axe-core for WCAG 2.2 A and AA, on a phone and on the wall, by day and by night.

use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::{Value, json};

use super::{
    driver::{Browser, PHONE, View, WALL, target},
    planned,
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
pub(super) async fn busy() -> Bench {
    let mut shop = Shop::new();
    let mut mia = benchclock::Person { name: "mia".into(), quiet: "22:00-07:00".into(), ..Default::default() };
    mia.tell.insert("else".into(), vec!["page".into(), "push".into()]);
    shop.settings.people = vec![mia];
    let bench = Bench::open(shop, Now::system(), true).await;
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
    bench.post("/api/v1/instruments/guitar/move", json!({"zone": "bench"})).await.good();
    let top = json!({"id": "top", "name": "top", "species": "spruce", "cut": "quarter", "thickness_mm": 2.8,
                     "width_mm": 400, "faces_open": "one", "lived_at_rh_pct": 25});
    bench.post("/api/v1/instruments/guitar/plates", top).await.good();
    for (years, saddle_mm) in [(10, 6.0), (5, 5.1), (0, 4.0)] {
        let at = Now::system().ms() - years * 31_557_600_000;
        let at = chrono::DateTime::from_timestamp_millis(at).unwrap().to_rfc3339();
        let setup = json!({"at": at, "relief_mm": 0.2, "action_mm": 2.6, "saddle_mm": saddle_mm});
        bench.post("/api/v1/instruments/guitar/setups", setup).await.good();
    }
    bench.until_told("g-1:clamp_off").await;
    let seen = [("stage", "clamp_off"), ("by", "thumbnail"), ("reached", "true")];
    assert_eq!(super::forms::send(&bench, "/cures/g-1/observed", &seen).await.status, 200);
    bench
}

pub(super) const PAGES: [&str; 42] = [
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
    "/instruments",
    "/instruments/guitar/strings",
    "/instruments/guitar/strings?other=D4+A3+G3+D3+A2+D2",
    "/instruments/guitar/setups",
    "/instruments/guitar/wood",
    "/instruments/guitar/wood?crack_mm=0.4",
    "/instruments/guitar/string-up-sheet",
    "/rules",
    "/rules/new",
    "/rules/shellac",
    "/rules/aliphatic-resin/versions",
    "/rules/aliphatic-resin/fit",
    "/cures/g-1/rule",
    "/cures/g-2/rule",
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
            // A rule is looked at with what came of trying it.
            if *page == "/rules/shellac" {
                browser.click("[formaction]").await;
                browser.until("return document.getElementById('tried') !== null").await;
            }
            let dark = browser.run("return matchMedia('(prefers-color-scheme: dark)').matches").await;
            assert_eq!(dark, view.dark);
            // What is folded away is a part of the page.
            browser.run("document.querySelectorAll('details').forEach(e => e.open = true)").await;
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
