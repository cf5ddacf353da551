//! House rules: what the design forbids is found here, not in a review.

use std::{
    collections::{BTreeMap, BTreeSet},
    fs,
    path::{Path, PathBuf},
    process::Command,
};

use bench::root;
use serde_json::Value;

/// Who may depend on whom, edge by edge. A crate may use only what stands behind it here.
const ARROWS: [(&str, &[&str]); 7] = [
    ("physics", &[]),
    ("planner", &[]),
    ("facts", &[]),
    ("clock", &["facts", "physics"]),
    ("rules", &["clock", "facts", "physics"]),
    ("store", &["facts"]),
    ("benchclock", &["clock", "facts", "physics", "planner", "rules", "store"]),
];

/// What a pure crate may use from outside.
const OUTSIDE: [(&str, &[&str]); 4] = [
    ("physics", &[]),
    ("planner", &[]),
    ("facts", &["chrono", "serde", "thiserror"]),
    ("clock", &["chrono", "serde", "thiserror"]),
];

fn metadata() -> Value {
    let output = Command::new(env!("CARGO"))
        .args(["metadata", "--format-version", "1", "--no-deps", "--offline"])
        .current_dir(root())
        .output()
        .expect("cargo is there");
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).expect("cargo metadata is JSON")
}

/// Normal dependencies of each package of the workspace.
fn dependencies() -> BTreeMap<String, BTreeSet<String>> {
    let metadata = metadata();
    let packages = metadata["packages"].as_array().expect("a list of packages");
    let of_package = |package: &Value| {
        let all = package["dependencies"].as_array().expect("a list of dependencies");
        let normal = all.iter().filter(|d| d["kind"].is_null()).filter_map(|d| d["name"].as_str());
        (package["name"].as_str().unwrap_or_default().to_string(), normal.map(str::to_string).collect())
    };
    packages.iter().map(of_package).collect()
}

#[test]
fn the_arrows_of_the_design_are_the_crate_graph() {
    let dependencies = dependencies();
    let ours: BTreeSet<&str> = ARROWS.iter().map(|(name, _)| *name).collect();
    for (name, allowed) in ARROWS {
        let used: BTreeSet<&str> = dependencies[name].iter().map(String::as_str).filter(|d| ours.contains(d)).collect();
        assert_eq!(used, allowed.iter().copied().collect(), "{name} points at other rooms than the design says");
    }
    for (name, allowed) in OUTSIDE {
        let outside: Vec<&String> = dependencies[name].iter().filter(|d| !ours.contains(d.as_str())).collect();
        assert!(outside.iter().all(|d| allowed.contains(&d.as_str())), "{name} uses {outside:?}");
    }
}

/// Every Rust file of the checkout, with its text.
fn rust_files() -> Vec<(PathBuf, String)> {
    let mut files = Vec::new();
    let mut folders = vec![root().join("service"), root().join("tests")];
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).expect("a folder of the checkout") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else if path.extension().is_some_and(|ending| ending == "rs") {
                let text = fs::read_to_string(&path).expect("a readable file");
                files.push((path, text));
            }
        }
    }
    files
}

fn named(path: &Path) -> String {
    path.strip_prefix(root()).unwrap_or(path).display().to_string()
}

#[test]
fn no_file_is_longer_than_500_lines_and_each_says_what_it_is_for() {
    for (path, text) in rust_files() {
        let lines = text.lines().count();
        assert!(lines <= 500, "{} has {lines} lines: it is two subjects", named(&path));
        assert!(text.starts_with("//!"), "{} does not open by saying what it is for", named(&path));
    }
}

#[test]
fn no_drawer_is_called_utils() {
    for (path, _) in rust_files() {
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let drawers = ["util", "utils", "common", "helper", "helpers", "types", "manager", "misc", "mod"];
        assert!(!drawers.contains(&stem.as_str()), "{}: name it for its subject", named(&path));
    }
}

#[test]
fn sql_stands_only_in_the_store_and_statuses_only_in_the_server() {
    // Written so that this file does not find itself.
    let sql = [["INSERT ", "INTO "].concat(), ["CREATE ", "TABLE"].concat(), ["PRAGMA", " "].concat()];
    for (path, text) in rust_files().into_iter().filter(|(path, _)| named(path).starts_with("service")) {
        let name = named(&path);
        if !name.starts_with("service/store") {
            assert!(!sql.iter().any(|word| text.contains(word)), "{name} speaks SQL");
        }
        if !name.starts_with("service/server") {
            assert!(!text.contains("StatusCode") && !text.contains("env::var"), "{name} reaches outside");
        }
    }
}

#[test]
fn only_one_file_reads_the_wall_clock() {
    let readers: Vec<String> = rust_files()
        .into_iter()
        .filter(|(path, text)| named(path).starts_with("service") && text.contains("SystemTime::now("))
        .map(|(path, _)| named(&path))
        .collect();
    assert_eq!(readers, ["service/server/src/now.rs"]);
}

#[test]
fn every_test_file_is_listed_and_no_example_is_ignored() {
    let tests = root().join("tests");
    let list = fs::read_to_string(tests.join("all.rs")).expect("the list of tests");
    for entry in fs::read_dir(&tests).expect("the tests") {
        let path = entry.expect("an entry").path();
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        if path.extension().is_some_and(|ending| ending == "rs") && stem != "all" {
            assert!(list.contains(&format!("mod {stem};")), "tests/{stem}.rs is not listed in tests/all.rs");
        }
    }
    let hidden = ["```", "ignore"].concat();
    for (path, text) in rust_files() {
        assert!(!text.contains(&hidden), "{}: an example that does not run rots", named(&path));
    }
}

#[test]
fn no_engine_type_stands_outside_rules() {
    for (path, text) in rust_files().into_iter().filter(|(path, _)| named(path).starts_with("service")) {
        let name = named(&path);
        assert!(name.starts_with("service/rules") || !text.contains("rhai::"), "{name} names an engine type");
    }
}

#[test]
fn the_top_level_holds_only_what_the_design_names() {
    let output = Command::new("git").args(["ls-files"]).current_dir(root()).output().expect("git is there");
    let listed = String::from_utf8_lossy(&output.stdout).into_owned();
    let allowed = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "CHANGELOG.md",
        "LICENSE",
        "service",
        "scripts",
        "config",
        "tests",
        ".ci",
        ".gitignore",
        "clippy.toml",
        "deny.toml",
        "rustfmt.toml",
    ];
    for top in listed.lines().filter_map(|path| path.split('/').next()) {
        assert!(allowed.contains(&top), "{top} does not belong at the top level");
    }
}
