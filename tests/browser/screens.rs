//! Pictures of the demo shop, to be looked at: `screens` in the build folder. Two of them stand in the README.

use bench::{Bench, Shop};
use benchclock::Now;

use super::driver::{Browser, PHONE, View, WALL, target};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_demo_shop_is_pictured() {
    let now = Now::system();
    let mut shop = Shop::new();
    let mut mia = benchclock::Person { name: "mia".into(), quiet: "22:00-07:00".into(), ..Default::default() };
    mia.tell.insert("else".into(), vec!["page".into(), "push".into()]);
    shop.settings.people = vec![mia];
    let bench = Bench::open(shop, now.clone(), false).await;
    benchclock::fill_demo(bench.state(), now.ms()).await.expect("the demo shop is lived through");
    let bench = bench.restart(true).await;
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
        ("hooks", "/hooks"),
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
        let read =
            "const s = document.querySelector('.reader input'); s.value = 300; s.dispatchEvent(new Event('input'));
            return document.querySelector('output').textContent.includes('% RH')";
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
