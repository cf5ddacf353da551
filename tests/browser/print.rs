//! On paper: the code on a label is read back by a reader that is not ours.

use base64::Engine;
use bench::{Bench, Shop};
use benchclock::Now;
use serde_json::json;
use thirtyfour::common::print::PrintParameters;

use super::{
    driver::{Browser, View, WALL},
    planned,
};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_code_on_a_label_opens_the_job() {
    for public in ["", "http://bench.local:8080/"] {
        let mut shop = Shop::small();
        shop.settings.server.public_url = public.into();
        let bench = Bench::open(shop, Now::system(), false).await;
        bench.furnish().await;
        planned(&bench).await;
        let browser = Browser::open(View { ratio: 4.0, ..WALL }).await;
        browser.goto(bench.url("/jobs/loose/label")).await;
        browser.until("return document.querySelector('.label .code').naturalWidth > 0").await;
        let png = browser.find(".label").await.screenshot_as_png().await.unwrap();
        let grey = image::load_from_memory(&png).unwrap().to_luma8();
        let (width, height) = (grey.width() as usize, grey.height() as usize);
        let mut seen =
            rqrr::PreparedImage::prepare_from_greyscale(width, height, |x, y| grey.get_pixel(x as u32, y as u32)[0]);
        let read: Vec<String> = seen.detect_grids().iter().map(|grid| grid.decode().unwrap().1).collect();
        let base = if public.is_empty() { bench.url("") } else { public.trim_end_matches('/').into() };
        assert_eq!(read, [format!("{base}/jobs/loose")]);
        let text = browser.text().await;
        assert!(text.contains("the guitar") && text.contains("Loose bridge") && text.contains("loose"), "{text}");
        browser.close().await;
        bench.stop().await;
    }
}

/// Each sheet of a roll of labels is a label: an empty one between two is paid for.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_label_is_one_sheet_of_its_size() {
    let bench = Bench::open(Shop::small(), Now::system(), false).await;
    bench.furnish().await;
    planned(&bench).await;
    let browser = Browser::open(WALL).await;
    browser.goto(bench.url("/jobs/loose/label")).await;
    let wish = serde_json::json!({"preferCSSPageSize": true});
    let printed = browser.driver.cdp().send_raw("Page.printToPDF", wish).await.unwrap();
    let pdf = base64::engine::general_purpose::STANDARD.decode(printed["data"].as_str().unwrap()).unwrap();
    let pdf = String::from_utf8_lossy(&pdf);
    let sheets: Vec<&str> = pdf.split("/Type /Page\n").skip(1).collect();
    assert_eq!(sheets.len(), 1);
    // 62 by 29 mm in points of 1/72 inch: 175.7 by 82.2.
    assert!(
        sheets[0].contains("/MediaBox [0 0 175") || sheets[0].contains("/MediaBox [0 0 176"),
        "{}",
        &sheets[0][..200]
    );
    browser.close().await;
    bench.stop().await;
}

#[tokio::test]
async fn a_job_card_holds_what_stands_beside_the_instrument() {
    let bench = Bench::small().await;
    bench.furnish().await;
    planned(&bench).await;
    let body = json!({"id": "g-1", "joint": "bridge", "job": "loose", "step": "glue", "zone": "bench"});
    let cure = bench.post("/api/v1/glue-ups", body).await.good();
    let card = bench.get("/jobs/loose/card").await.text;
    for part in
        ["Glue the bridge", "Tap for rattles", "clamp off", cure["cautions"][1].as_str().unwrap(), "not a guarantee"]
    {
        assert!(card.contains(part), "no {part} in: {card}");
    }
    bench.stop().await;
}

/// A guitar with the usual joints, one of them curing: A4, as it is laid beside the instrument.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_sheet_of_a_usual_instrument_is_one_page() {
    let bench = Bench::open(Shop::small(), Now::system(), false).await;
    bench.furnish().await;
    bench
        .post("/api/v1/instruments/guitar/strings", json!({"family": "steel_string_guitar", "half_tension_h": 12}))
        .await
        .good();
    for (joint, path) in [("bridge", "bridge_foot"), ("neck", "neck_joint"), ("brace", "brace_end")] {
        if joint != "bridge" {
            bench.post("/api/v1/joints", json!({"id": joint, "instrument": "guitar", "name": joint})).await.good();
        }
        bench.post(&format!("/api/v1/joints/{joint}/load"), json!({"path": path})).await.good();
    }
    bench.glue_up("g-1").await;
    let browser = Browser::open(WALL).await;
    browser.goto(bench.url("/instruments/guitar/string-up-sheet")).await;
    browser.until("return document.querySelector('.chart').naturalWidth > 0").await;
    let mut a4 = PrintParameters::default();
    (a4.page.width, a4.page.height) = (21.0, 29.7);
    let pdf = browser.driver.print_page(a4).await.unwrap();
    let pdf = String::from_utf8_lossy(&pdf);
    assert_eq!(pdf.matches("/Type /Page").count() - pdf.matches("/Type /Pages").count(), 1);
    browser.close().await;
    bench.stop().await;
}
