//! Many shops in one process: `cargo build --release -p benchclock && cargo bench -p bench-tests --bench shops`.
//!
//! The real program with so many empty shops, each with every shipped rule: how long until it serves, at the first start
//! (the rules are copied and judged) and at the next, and what it holds and does while nobody asks. On SQLite, and on
//! PostgreSQL with the sessions that takes there. Figures stand in DEVELOPERS.md.
#![allow(missing_docs, clippy::unwrap_used, clippy::print_stdout, clippy::disallowed_methods)]

use std::time::{Duration, Instant};

use bench::{
    postgres,
    program::{Home, Program, cpu_s, status_of},
    root,
};

/// Longest start on a busy machine; it is printed, not held against anything.
const LONGEST_START: Duration = Duration::from_secs(600);
/// For how long it is watched while nobody asks.
const IDLE: Duration = Duration::from_secs(20);

fn main() {
    // `cargo test --benches` only asks whether it runs.
    if std::env::args().any(|arg| arg == "--test") {
        return;
    }
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    println!("shops, database: first start, next start; memory, threads and open files, processor while idle");
    for shops in [1, 10, 50] {
        runtime.block_on(measured(shops, None));
    }
    // A server as it is installed has room for a hundred sessions.
    for shops in [1, 10, 30] {
        runtime.block_on(measured(shops, Some(&postgres::Database::that_flushes())));
    }
}

async fn measured(shops: usize, server: Option<&postgres::Database>) {
    let home = Home::new();
    let url = server.map_or(String::new(), postgres::Database::url);
    let mut text = format!(
        "[server]\nlisten = \"127.0.0.1:0\"\n[store]\npath = {:?}\nurl = {url:?}\n[scripts]\nfolder = {:?}\n",
        home.folder().join("data/none.db"),
        root().join("scripts"),
    );
    for n in 0..shops {
        text += &format!("[[shops]]\nname = \"shop-{n}\"\nhosts = [\"shop-{n}.test\"]\n");
    }
    home.write(&text);
    let (first, first_s) = started(&home).await;
    first.terminate().await;
    let (program, next_s) = started(&home).await;
    let before_s = cpu_s(program.pid());
    tokio::time::sleep(IDLE).await;
    let share = (cpu_s(program.pid()) - before_s) / IDLE.as_secs_f64();
    let files = std::fs::read_dir(format!("/proc/{}/fd", program.pid())).unwrap().count();
    let sessions = server.map_or(String::new(), |server| {
        let sessions = server.ask("SELECT count(*) FROM pg_stat_activity WHERE usename = 'bench'");
        format!(", {sessions} sessions")
    });
    println!(
        "{shops} {}: {first_s:.1} s, {next_s:.1} s; {:.0} MB, {} threads, {files} files, {share:.3} processors{sessions}",
        if server.is_some() { "PostgreSQL" } else { "SQLite" },
        status_of(program.pid(), "VmRSS:") as f64 / 1024.0,
        status_of(program.pid(), "Threads:"),
    );
    program.terminate().await;
}

async fn started(home: &Home) -> (Program, f64) {
    let begun = Instant::now();
    let program = Program::serve_within(LONGEST_START, home, &[], &[]).await;
    (program, begun.elapsed().as_secs_f64())
}
