//! The README is kept: its walk runs as written against the demo shop, and what it says of files is so.

use std::process::Command;

use bench::{Bench, Shop, root};
use benchclock::Now;

fn readme() -> String {
    std::fs::read_to_string(root().join("README.md")).expect("README.md is there")
}

/// Every `sh` block of the page, in order.
fn walk() -> String {
    let page = readme();
    let blocks = page.split("```sh\n").skip(1).map(|rest| rest.split("```").next().unwrap_or_default());
    blocks.collect::<Vec<_>>().join("\n")
}

#[tokio::test(flavor = "multi_thread")]
async fn the_walk_works_as_written() {
    let mut shop = Shop::new();
    shop.settings.server.workers = 2;
    let now = Now::system();
    let bench = Bench::open(shop, now.clone(), false).await;
    benchclock::fill_demo(bench.state(), now.ms()).await.expect("the demo shop is lived through");
    let bench = bench.restart(true).await;
    let script = walk().replace("http://127.0.0.1:8080", &bench.url(""));
    assert!(script.contains(&bench.url("/api/v1")), "the walk names the address the demo prints");
    let run = move || {
        let script = format!("set -euo pipefail\n{script}");
        Command::new("bash").args(["-c", &script]).output().expect("bash and curl are there")
    };
    let output = tokio::task::spawn_blocking(run).await.expect("the walk ends");
    let said = String::from_utf8_lossy(&output.stdout);
    let complained = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}\n{complained}");
    for expected in [
        "fresh-bottle",
        "\"id\": \"slot-1\"",
        "{\"taken\":1,\"known\":0}",
        "clamp_off: likely",
        "Clamps can come off: saddle slot of the parlour guitar",
        "{\"clamps_on\":[]}",
        "Wood Handbook, FPL-GTR-190 (2010), table 13-5",
        "\"equivalent_rh_pct\":28",
        "\"when_back\"",
        "Not yet: ",
        "{\"tension_n\":104.43,\"change_n\":-16.68}",
        "if this is °F, send 20.0",
    ] {
        assert!(said.contains(expected), "the walk did not say {expected}:\n{said}\n{complained}");
    }
    bench.stop().await;
}
