//! The README is kept: its walk runs as written against the demo shop, and what it says of files is so.

use std::{path::Path, process::Command};

use bench::{Bench, Shop, root};
use benchclock::Now;

fn readme() -> String {
    std::fs::read_to_string(root().join("README.md")).expect("README.md is there")
}

/// Every block of the page that is marked so, in order.
fn blocks(mark: &str) -> String {
    let (page, begins) = (readme(), format!("```{mark}\n"));
    let blocks = page.split(&begins).skip(1).map(|rest| rest.split("```").next().unwrap_or_default());
    blocks.collect::<Vec<_>>().join("\n")
}

/// Runs a script to its end; all it said.
async fn run(script: String) -> String {
    let run = move || {
        let script = format!("set -euo pipefail\n{script}");
        Command::new("bash").args(["-c", &script]).output().expect("bash and curl are there")
    };
    let output = tokio::task::spawn_blocking(run).await.expect("the script ends");
    let said = String::from_utf8_lossy(&output.stdout).into_owned();
    let complained = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}\n{complained}");
    format!("{said}\n{complained}")
}

/// The commands of the section on the terminal, each with the program beside this test.
fn at_the_terminal(url: &str, csv: &Path) -> String {
    let page = readme();
    let section = page.split("## At the terminal").nth(1).expect("there is one");
    let block = section.split("```\n").nth(1).expect("it has commands");
    let program = bench::program::binary().display().to_string();
    let lines = block.lines().map(|line| line.replace("june.csv", &csv.display().to_string()));
    let lines = lines.map(|line| line.replacen("benchclock", &program, 1)).collect::<Vec<_>>().join("\n");
    format!("export BENCHCLOCK_URL={url}\n{lines}")
}

#[tokio::test(flavor = "multi_thread")]
async fn the_walk_works_as_written() {
    let mut shop = Shop::new();
    shop.settings.server.workers = 2;
    let now = Now::system();
    let bench = Bench::open(shop, now.clone(), false).await;
    benchclock::fill_demo(bench.state(), now.ms()).await.expect("the demo shop is lived through");
    let bench = bench.restart(true).await;
    let script = blocks("sh").replace("http://127.0.0.1:8080", &bench.url(""));
    assert!(script.contains(&bench.url("/api/v1")), "the walk names the address the demo prints");
    let said = run(script).await;
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
        assert!(said.contains(expected), "the walk did not say {expected}:\n{said}");
    }
    let csv = bench.shop.folder().join("june.csv");
    std::fs::write(&csv, "time,temp_c,rh_pct\n2026-06-01T08:00:00Z,20.5,48\n").expect("a logger's file");
    let said = run(at_the_terminal(&bench.url(""), &csv)).await;
    assert!(said.contains("nut-1: no clamps are on it"), "{said}");
    bench.stop().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn an_empty_shop_is_set_up_as_written() {
    let bench = Bench::small().await;
    run(blocks("bash").replace("http://127.0.0.1:8080", &bench.url(""))).await;
    let begun = bench.items("/api/v1/glue-ups").await;
    assert_eq!((begun.len(), &begun[0]["joint"]["id"]), (1, &serde_json::json!("bridge")));
    bench.stop().await;
}
