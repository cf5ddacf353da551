//! What comes from outside: every direct dependency is listed with why, the lock is whole, and nothing is older than the
//! version in which what was known of it was mended. Licences, sources and duplicates are `cargo deny`'s (tests/run).
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

use std::{
    collections::{BTreeMap, BTreeSet},
    process::Command,
};

use bench::{program, root};
use serde_json::Value;

fn metadata(more: &[&str]) -> Value {
    let mut ask = Command::new(env!("CARGO"));
    let output = ask.args(["metadata", "--format-version", "1", "--offline", "--locked"]).args(more);
    let output = output.current_dir(root()).output().unwrap();
    assert!(output.status.success(), "Cargo.lock is not whole: {}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn text(value: &Value) -> String {
    value.as_str().unwrap_or_default().to_string()
}

/// Every dependency from outside that a crate of ours names.
fn direct() -> BTreeMap<String, Vec<Value>> {
    let mut direct: BTreeMap<String, Vec<Value>> = BTreeMap::new();
    for package in metadata(&["--no-deps"])["packages"].as_array().unwrap() {
        let outside = package["dependencies"].as_array().unwrap().iter().filter(|one| one["path"].is_null());
        outside.for_each(|one| direct.entry(text(&one["name"])).or_default().push(one.clone()));
    }
    direct
}

/// The rows of the list in DEVELOPERS.md: name and why.
fn listed() -> BTreeMap<String, String> {
    let page = std::fs::read_to_string(root().join("DEVELOPERS.md")).unwrap();
    let list =
        page.split("\n## From outside\n").nth(1).expect("DEVELOPERS.md has the section").split("\n## ").next().unwrap();
    let row = |line: &str| {
        let mut cells = line.trim().trim_matches('|').split('|').map(str::trim);
        let name = cells.next()?.strip_prefix('`')?.strip_suffix('`')?.to_string();
        Some((name, cells.next()?.to_string()))
    };
    list.lines().filter(|line| line.starts_with("| `")).filter_map(row).collect()
}

#[test]
fn every_dependency_is_listed_with_why_and_no_other() {
    let listed = listed();
    let (names, direct): (BTreeSet<_>, BTreeSet<_>) =
        (listed.keys().cloned().collect(), direct().into_keys().collect());
    assert_eq!(names, direct, "the list \"From outside\" in DEVELOPERS.md");
    for (name, why) in listed {
        assert!(why.len() > 10, "{name}: why is it there?");
    }
}

#[test]
fn a_dependency_is_asked_for_once_and_brings_no_more_than_is_used() {
    // Those whose usual features are all used, or which have none to leave out.
    let usual = [
        "askama",
        "base64",
        "chrono-tz",
        "clap",
        "clap_complete",
        "csv",
        "divan",
        "hkdf",
        "hmac",
        "kamadak-exif",
        "libm",
        "metrics",
        "notify",
        "proptest",
        "rlimit",
        "rqrr",
        "rusqlite",
        "sd-notify",
        "serde",
        "serde_json",
        "serde_path_to_error",
        "sha2",
        "socket2",
        "stacker",
        "tempfile",
        "thiserror",
        "tokio",
        "tokio-cron-scheduler",
        "tokio-stream",
        "tokio-util",
        "toml",
        "tracing",
        "tracing-subscriber",
        "url",
        "utoipa",
        "utoipa-config",
        "uuid",
    ];
    for (name, asked) in direct() {
        let asked_for: BTreeSet<String> = asked.iter().map(|one| text(&one["req"])).collect();
        assert_eq!(asked_for.len(), 1, "{name} is asked for in more than one version");
        let whole = asked.iter().any(|one| one["uses_default_features"] == true);
        assert_eq!(
            whole,
            usual.contains(&name.as_str()),
            "{name}: default features are used without being listed here"
        );
    }
}

/// Advisories of the RustSec database and CVE list against crates that are in the lock, and the version that mended each.
const MENDED: [(&str, &str, &str); 13] = [
    ("actix-http", "3.12.1", "CVE-2026-73051"),
    ("actix-http", "3.0.0-beta.9", "RUSTSEC-2021-0081"),
    ("lettre", "0.11.22", "RUSTSEC-2026-0141"),
    ("time", "0.3.47", "RUSTSEC-2026-0009"),
    ("thin-vec", "0.2.16", "RUSTSEC-2026-0103"),
    ("tokio", "1.44.2", "RUSTSEC-2025-0023"),
    ("h2", "0.4.16", "RUSTSEC-2026-0258"),
    ("quick-xml", "0.41.0", "RUSTSEC-2026-0194"),
    ("web-push", "0.10.3", "RUSTSEC-2025-0015"),
    ("tokio-postgres", "0.7.18", "RUSTSEC-2026-0178"),
    ("postgres-protocol", "0.6.12", "RUSTSEC-2026-0179, RUSTSEC-2026-0180"),
    ("rustls-webpki", "0.103.12", "RUSTSEC-2026-0098, RUSTSEC-2026-0099"),
    ("rustls-webpki", "0.103.13", "RUSTSEC-2026-0104"),
];

/// Older than what mended it and there all the same: the client of the broker names an error of it and judges no
/// certificate by it, which rustls does with the newer one.
const NAMED_ONLY: [(&str, &str); 1] = [("rustls-webpki", "0.102.8")];

fn numbers(version: &str) -> Vec<u64> {
    let plain = version.split(['-', '+']).next().unwrap();
    plain.split('.').map(|number| number.parse().unwrap()).collect()
}

#[test]
fn nothing_is_older_than_what_mended_it() {
    let metadata = metadata(&[]);
    let packages = metadata["packages"].as_array().unwrap();
    let mut looked_at = 0;
    for (name, least, advisory) in MENDED {
        for package in packages.iter().filter(|package| package["name"] == *name) {
            let version = text(&package["version"]);
            if NAMED_ONLY.contains(&(name, version.as_str())) {
                continue;
            }
            assert!(numbers(&version) >= numbers(least), "{name} {version}: {advisory} was mended in {least}");
            looked_at += 1;
        }
    }
    assert!(looked_at >= 5, "the table is about crates that are not there any more");
}

#[test]
fn licences_sources_and_duplicates_are_as_deny_toml_says() {
    let mut deny = Command::new(program::tool("cargo-deny"));
    deny.args(["--offline", "--locked", "check", "licenses", "bans", "sources"]).current_dir(root());
    let output = deny.output().unwrap();
    let said = String::from_utf8_lossy(&output.stdout) + String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}");
    assert!(said.contains("bans ok, licenses ok, sources ok"), "{said}");
}
