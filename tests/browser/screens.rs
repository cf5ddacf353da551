//! Pictures of the demo shop, to be looked at: `screens` in the build folder. Two of them stand in the README.

use bench::{Bench, Shop};
use benchclock::Now;

use super::driver::{Browser, PHONE, View, WALL, target};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_demo_shop_is_pictured() {
    let now = Now::system();
    let bench = Bench::open(Shop::new(), now.clone(), false).await;
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
        ("strings", "/strings"),
        ("strings-of", "/instruments/twelve/strings"),
        ("sheet", "/instruments/twelve/string-up-sheet"),
        ("rules", "/rules"),
        ("rule", "/rules/hot-hide-glue"),
        ("rule-new", "/rules/new"),
        ("rule-fit", "/rules/hot-hide-glue/fit"),
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
        // The air read out at a time, with the pointer of the chart.
        browser.goto(bench.url("/climate")).await;
        browser
            .run(
                "const s = document.querySelector('.reader input'); s.value = 300; s.dispatchEvent(new Event('input'))",
            )
            .await;
        browser.until("return document.querySelector('output').textContent.includes('% RH')").await;
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
