//! What is installed: the unit shuts the service in as far as it says, and the Debian package holds a program that runs.

use std::{
    path::{Path, PathBuf},
    process::Command,
};

use bench::{program, root};

/// Runs a command that must succeed; what it said.
#[track_caller]
pub(super) fn said(command: &mut Command) -> String {
    let output = command.output().unwrap_or_else(|e| panic!("{command:?}: {e}"));
    let said = String::from_utf8_lossy(&output.stdout) + String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{command:?}: {said}");
    said.into_owned()
}

/// `systemd-analyze security` of systemd 252 (Debian 12) rates the exposure of a unit from 0 (shut in) to 10; below 2 is
/// what it calls OK. README.md states the figure.
#[test]
fn the_unit_is_as_shut_in_as_the_readme_says() {
    let unit = root().join("config/benchclock.service");
    let mut rate = Command::new("systemd-analyze");
    let report = said(rate.args(["security", "--offline=true", "--threshold=20", "--no-pager"]).arg(unit));
    let figure = report.split("Overall exposure level for benchclock.service: ").nth(1).unwrap();
    let figure = figure.split(' ').next().unwrap();
    let page = std::fs::read_to_string(root().join("README.md")).unwrap();
    assert!(page.contains(&format!("exposure of {figure}")), "README.md does not say {figure}");
}

/// Builds the package from the program the other tests run, into a folder.
fn package(folder: &Path) -> PathBuf {
    let target = program::binary().ancestors().nth(2).unwrap().to_path_buf();
    let file = folder.join("benchclock.deb");
    let mut build = Command::new(program::tool("cargo-deb"));
    build.args([
        "deb",
        "--package",
        "benchclock",
        "--profile",
        "dev",
        "--no-build",
        "--no-strip",
        "--fast",
        "--output",
    ]);
    build.arg(&file).current_dir(root()).env("CARGO_TARGET_DIR", target);
    said(&mut build);
    file
}

#[tokio::test(flavor = "multi_thread")]
async fn the_debian_package_installs_a_program_that_finds_its_settings_and_rules_and_goes_away_whole() {
    let folder = tempfile::tempdir().unwrap();
    let package = package(folder.path());
    let about = said(Command::new("dpkg-deb").arg("--info").arg(&package));
    for line in ["Package: benchclock", "Section: science", "Depends: ", "libc6 (>= ", "ca-certificates"] {
        assert!(about.contains(line), "no {line} in {about}");
    }
    // What a luthier has changed is not written over by the next version.
    let kept = said(Command::new("dpkg-deb").args(["--info"]).arg(&package).arg("conffiles"));
    let rules = std::fs::read_dir(root().join("scripts/materials")).unwrap().count();
    assert_eq!(kept.matches("/etc/benchclock/scripts/materials/").count(), rules, "{kept}");
    assert!(kept.contains("/etc/benchclock/benchclock.toml"), "{kept}");
    assert!(kept.contains("/etc/benchclock/procedures/bridge.toml"), "{kept}");
    // A root of its own, with an empty package database: this machine is left alone.
    let root = folder.path().join("root");
    std::fs::create_dir_all(root.join("var/lib/dpkg/info")).unwrap();
    std::fs::create_dir_all(root.join("var/lib/dpkg/updates")).unwrap();
    std::fs::write(root.join("var/lib/dpkg/status"), "").unwrap();
    let dpkg = |verb: &str, what: &std::ffi::OsStr| {
        let mut dpkg = Command::new("dpkg");
        dpkg.arg(format!("--root={}", root.display())).args(["--force-depends", "--force-not-root", verb]).arg(what);
        said(&mut dpkg)
    };
    dpkg("--install", package.as_os_str());
    let config = root.join("etc/benchclock/benchclock.toml");
    let shipped = std::fs::read_to_string(bench::root().join("config/benchclock.toml")).unwrap();
    assert_eq!(std::fs::read_to_string(&config).unwrap(), shipped);
    let unit = std::fs::read_to_string(root.join("usr/lib/systemd/system/benchclock.service")).unwrap();
    let exec = unit.lines().find_map(|line| line.strip_prefix("ExecStart=")).unwrap();
    let mut words = exec.split(' ');
    let installed = root.join(words.next().unwrap().trim_start_matches('/'));
    assert_eq!(words.collect::<Vec<_>>(), ["serve", "--config", "/etc/benchclock/benchclock.toml"]);
    // The rules and the usual jobs are where the unit says; what is written goes where the unit lets it be written.
    let said_for = |key: &str| {
        let key = format!("Environment=BENCHCLOCK_{key}=");
        unit.lines().find_map(|line| line.strip_prefix(key.as_str())).unwrap_or_else(|| panic!("no {key}"))
    };
    let scripts = root.join(said_for("SCRIPTS_FOLDER").trim_start_matches('/'));
    assert!(root.join(said_for("SHOP_PROCEDURES").trim_start_matches('/')).join("bridge.toml").exists());
    for key in ["STORE_PATH", "STORE_BACKUPS"] {
        assert!(said_for(key).starts_with("/var/lib/benchclock/"), "{key}");
    }
    let mut check = Command::new(&installed);
    let check = said(check.args(["check", "--config"]).arg(&config).env("BENCHCLOCK_SCRIPTS_FOLDER", &scripts));
    assert_eq!(check.matches(", version ").count(), rules, "{check}");
    assert!(check.contains("settings: good"), "{check}");
    dpkg("--purge", "benchclock".as_ref());
    for gone in [&installed, &config, &scripts] {
        assert!(!gone.exists(), "{} is left behind", gone.display());
    }
}
