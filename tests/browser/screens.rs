//! Pictures of the demo shop, to be looked at: `screens` in the build folder. Two of them stand in the README.

use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::json;

use super::driver::{Browser, PHONE, View, WALL, target};

/// A shop with the shipped rules in a folder of its own, where one may be saved.
fn with_rules_of_its_own() -> Shop {
    let mut shop = Shop::new();
    let own = shop.folder().join("scripts");
    for folder in ["materials", "shop", "schedules"] {
        std::fs::create_dir_all(own.join(folder)).unwrap();
        for entry in std::fs::read_dir(shop.settings.scripts.folder.join(folder)).unwrap() {
            let file = entry.unwrap();
            std::fs::copy(file.path(), own.join(folder).join(file.file_name())).unwrap();
        }
    }
    shop.settings.scripts.folder = own;
    shop
}

/// So that the page of versions has two, and what cures has another to go to.
async fn save_another_version(bench: &Bench) {
    let rule = bench.get("/api/v1/rules/hot-hide-glue").await.good();
    let text = rule["text"].as_str().unwrap().replace("const CLAMP_OFF_H = ", "const CLAMP_OFF_H = 1.25 * ");
    let save = json!({"text": text, "override_reason": "our clamps stay on longer; the table is being redone"});
    let request = bench.http().put(bench.url("/api/v1/rules/hot-hide-glue")).json(&save);
    bench.send(request.header("if-match", rule["version"].as_str().unwrap())).await.good();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_demo_shop_is_pictured() {
    let now = Now::system();
    let mut shop = with_rules_of_its_own();
    let mut mia = benchclock::Person { name: "mia".into(), quiet: "22:00-07:00".into(), ..Default::default() };
    mia.tell.insert("else".into(), vec!["page".into(), "push".into()]);
    shop.settings.people = vec![mia];
    let bench = Bench::open(shop, now.clone(), false).await;
    benchclock::fill_demo(bench.state(), now.ms()).await.expect("the demo shop is lived through");
    let bench = bench.restart(true).await;
    // There is something to look at: fits that rest on pieces, a pot that lives and one that gelled, minutes of work.
    for (material, tells) in [("hot-hide-glue", true), ("aliphatic-resin", true), ("nitrocellulose-lacquer", false)] {
        let fit = bench.post(&format!("/api/v1/rules/{material}/fit"), json!({})).await.good();
        assert!(fit["pieces"].as_u64().unwrap() >= 3 && fit["left_out"] == json!([]), "{material}: {fit}");
        assert_eq!(fit["draft"].is_string(), tells, "{material}: {fit}");
    }
    let pots = bench.items("/api/v1/mixes").await;
    assert_eq!(pots.iter().map(|pot| &pot["state"]).collect::<Vec<_>>(), ["gelled", "live"]);
    let jobs = bench.items("/api/v1/jobs").await;
    let steps = jobs.iter().flat_map(|job| job["steps"].as_array().unwrap());
    let untimed = steps.filter(|step| step["kind"] != "wait" && step["work"]["hands_on_min"].is_null());
    assert_eq!(untimed.count(), 0);
    save_another_version(&bench).await;
    let looks = [
        ("wall", View { ratio: 0.5, ..WALL }),
        ("wall-dark", View { dark: true, ..WALL }),
        ("phone", PHONE),
        ("phone-dark", View { dark: true, ..PHONE }),
    ];
    let pages = [
        ("board", "/"),
        ("choose", "/glue-up"),
        ("register", "/glue-up?step=nut+glue"),
        ("cure", "/cures/neck-1"),
        ("plan", "/plan"),
        ("jobs", "/jobs"),
        ("new", "/jobs/new?procedure=bridge"),
        ("job", "/jobs/crack"),
        ("card", "/jobs/crack/card"),
        ("label", "/jobs/crack/label"),
        ("climate", "/climate"),
        ("materials", "/materials"),
        ("alerts", "/alerts"),
        ("coats", "/coats"),
        ("coat-choose", "/coat"),
        ("coat", "/coat?on=violin-2"),
        ("mix", "/mix?material=acid-cured-lacquer&wanted_ml=60"),
        ("instruments", "/instruments"),
        ("setups", "/instruments/parlour/setups"),
        ("wood", "/instruments/classical/wood?crack_mm=0.4"),
        ("strings-of", "/instruments/twelve/strings"),
        ("sheet", "/instruments/twelve/string-up-sheet"),
        ("rules", "/rules"),
        ("rule", "/rules/hot-hide-glue"),
        ("rule-new", "/rules/new"),
        ("rule-fit", "/rules/hot-hide-glue/fit"),
        ("rule-versions", "/rules/hot-hide-glue/versions"),
        ("cure-rule", "/cures/neck-1/rule"),
        ("hooks", "/hooks"),
        ("login", "/login"),
        ("access", "/access"),
    ];
    for (look, view) in looks {
        let browser = Browser::open(view).await;
        for (name, path) in pages {
            browser.goto(bench.url(path)).await;
            browser
                .until("return [...document.images].every(image => image.loading === 'lazy' || image.complete)")
                .await;
            browser.picture(&format!("{look}-{name}")).await;
        }
        // A draft tried, from its chart on.
        browser.goto(bench.url("/rules/hot-hide-glue")).await;
        browser.until("return document.getElementById('checked').textContent !== ''").await;
        let longer = "text.value = text.value.replace('const CLAMP_OFF_H = ', 'const CLAMP_OFF_H = 1.5 * ')";
        browser.run(longer).await;
        browser.click("input[value=recorded]").await;
        browser.run("document.querySelector('[formaction]').scrollIntoView({block: 'end'})").await;
        browser.picture(&format!("{look}-rule-to-try")).await;
        browser.click("[formaction]").await;
        browser.until("return document.getElementById('tried') !== null").await;
        assert!(browser.text().await.contains("Tried: the air recorded of Bench"));
        browser.picture(&format!("{look}-rule-tried")).await;
        browser.run("document.querySelector('#tried h3').scrollIntoView()").await;
        browser.picture(&format!("{look}-rule-tried-tables")).await;
        // What stands further down, and what is opened.
        let below = [
            ("alerts-who", "/alerts", "#who"),
            ("strings-one", "/instruments/twelve/strings", "#fit"),
            ("strings-loads", "/instruments/twelve/strings", "#loads"),
            ("wood-plates", "/instruments/classical/wood?crack_mm=0.4", "#crack"),
            ("setups-years", "/instruments/parlour/setups", "#years"),
            ("cure-looked", "/cures/neck-1", "#looked"),
            ("job-stack", "/jobs/crack", "#steps"),
            ("mix-measured", "/mix?material=acid-cured-lacquer&wanted_ml=60", "details"),
            ("add", "/instruments", "#add"),
            ("cure-right", "/cures/neck-1", "#right"),
            ("shelf", "/materials", ".lots"),
        ];
        for (name, path, to) in below {
            browser.goto(bench.url(path)).await;
            let open = "document.querySelectorAll('details').forEach(e => e.open = true)";
            browser.run(&format!("{open}; document.querySelector('{to}').scrollIntoView()")).await;
            browser.picture(&format!("{look}-{name}")).await;
        }
        // The air read out at a time, with the pointer of the chart.
        browser.goto(bench.url("/climate")).await;
        // Asked until it is read: a machine busy with other tests may not have the series yet.
        let read = "const s = document.querySelector('.reader input'); if (!s) return false; s.value = 300;
            s.dispatchEvent(new Event('input', {bubbles: true})); return document.querySelector('output').textContent.includes('% RH')";
        browser.until(read).await;
        browser.close().await;
    }
    for shown in ["wall-board", "phone-register"] {
        let picture = image::open(target().join(format!("screens/{shown}.png"))).unwrap();
        let colours: std::collections::BTreeSet<_> = picture.to_rgb8().pixels().map(|p| p.0).collect();
        assert!(colours.len() > 20, "{shown} is blank");
        let file = bench::root().join(format!("tests/screens/{shown}.png"));
        let size = std::fs::metadata(&file).map(|file| file.len());
        assert!(
            size.is_ok_and(|size| size < 150_000),
            "{} for the README: copy it from the build folder",
            file.display()
        );
    }
    bench.stop().await;
}
