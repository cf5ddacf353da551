//! What a browser shows of what its token may not do.

use serde_json::json;

use super::driver::{Browser, PHONE};
use crate::access::Guarded;

/// Buttons of forms that write, as far as they are to be seen.
const PRESSED: &str = "return [...document.querySelectorAll('main form[method=post] button')]
    .filter(e => e.getClientRects().length).length";

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_only_looks_is_shown_nothing_to_press_that_would_be_refused() {
    let guarded = Guarded::start().await;
    let glue_up = json!({"id": "g-1", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench"});
    guarded.post("/api/v1/glue-ups", Some(&guarded.worker), glue_up).await.good();
    for (token, presses) in [(&guarded.viewer, false), (&guarded.worker, true)] {
        let browser = Browser::open(PHONE).await;
        browser.goto(guarded.bench.url("/login")).await;
        browser.run(&format!("document.querySelector('[name=token]').value = '{token}'")).await;
        browser.click("main button.main").await;
        browser.until("return location.pathname === '/'").await;
        for page in ["/cures/g-1", "/jobs/new", "/materials", "/instruments", "/rules/shellac"] {
            browser.goto(guarded.bench.url(page)).await;
            let shown = browser.run(PRESSED).await.as_u64().unwrap();
            assert_eq!(shown > 0, presses, "{page} shows {shown} buttons");
        }
        // A rule can be read by anybody.
        assert_eq!(browser.run("return document.querySelector('textarea').getClientRects().length").await, 1);
        browser.close().await;
    }
    guarded.bench.stop().await;
}
