//! Pages that follow the bench: none calls a link dead that lives, tabs nobody looks at hold no connection, and a service that
//! stands still is noticed.

use std::{process::Command, time::Duration};

use bench::program::{Home, Program};
use serde_json::json;

use super::{
    access::{PAGES, busy},
    driver::{Browser, PHONE, WALL},
    shop_now,
};

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn no_page_calls_a_link_dead_that_lives() {
    let bench = busy().await;
    let browser = Browser::open(WALL).await;
    let mut followed = 0;
    for page in PAGES {
        browser.goto(bench.url(page)).await;
        let follows = browser.run("return document.querySelector('script[src=\"/follow.js\"]') !== null").await;
        if follows == true {
            followed += 1;
            // It fetches itself again as soon as it listens.
            browser
                .until("return performance.getEntriesByType('resource').some(e => e.name === location.href && e.responseEnd > 0)")
                .await;
            tokio::time::sleep(Duration::from_millis(300)).await;
        }
        let said = browser.run("return document.getElementById('link').textContent").await;
        assert_eq!(said, "", "{page}");
    }
    assert!(followed >= 5, "only {followed} pages follow");
    browser.close().await;
    bench.stop().await;
}

/// A browser keeps six connections to a service over HTTP/1.1.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn eight_tabs_are_open_and_the_first_goes_on_when_it_is_looked_at_again() {
    let bench = shop_now().await;
    bench.glue_up("g-1").await;
    let browser = Browser::open(WALL).await;
    browser.driver.set_page_load_timeout(Duration::from_secs(40)).await.unwrap();
    browser.goto(bench.url("/")).await;
    let first = browser.driver.window().await.unwrap();
    for _ in 0..7 {
        let tab = browser.driver.new_tab().await.unwrap();
        browser.driver.switch_to_window(tab).await.unwrap();
        browser.goto(bench.url("/cures/g-1")).await;
        browser.until_said("scrape flush").await;
    }
    bench.post("/api/v1/glue-ups/g-1/withdraw", json!({"reason": "a slip"})).await.good();
    browser.driver.switch_to_window(first).await.unwrap();
    browser.until_said("Nothing is curing").await;
    browser.close().await;
    bench.stop().await;
}

fn signal(program: &Program, name: &str) {
    let sent = Command::new("kill").args([format!("-{name}"), program.pid().to_string()]).status().unwrap();
    assert!(sent.success());
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_service_that_stands_still_is_noticed_and_what_was_pressed_is_sent_once() {
    let home = Home::new();
    let program = Program::serve(&home).await;
    program.furnish().await;
    let (wall, phone) = (Browser::open(WALL).await, Browser::open(PHONE).await);
    wall.goto(program.url("/")).await;
    wall.until_said("Nothing is curing").await;
    phone.goto(program.url("/glue-up?step=none")).await;
    let fill = "for (const [name, value] of [['joint', 'bridge'], ['material', 'aliphatic-resin'], ['zone', 'bench']])
                  document.querySelector(`[name=${name}]`).value = value";
    phone.run(fill).await;
    signal(&program, "STOP");
    phone.click("button.main").await;
    phone.until_said("sending").await;
    phone.until_said("kept on this device").await;
    wall.until_said("The link to the service is down").await;
    signal(&program, "CONT");
    wall.until("return document.getElementById('link').textContent === ''").await;
    phone.until("return location.pathname.startsWith('/cures/')").await;
    phone.until("return localStorage.getItem('kept') === '[]'").await;
    wall.until("return document.querySelectorAll('.curing article').length === 1").await;
    assert_eq!(program.ids("/api/v1/glue-ups").await.len(), 1);
    for browser in [wall, phone] {
        browser.close().await;
    }
    program.terminate().await;
}
