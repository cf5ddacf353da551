//! The image: made by a real builder (Debian's buildah) from `config/Containerfile`, and run as who it says. Its base comes
//! from a registry; here a stand-in of the same Debian packages takes its place (`tests/run` fetches them).

use std::{
    path::Path,
    process::{Command, Stdio},
};

use bench::{client, program, root, until};
use serde_json::{Value, json};

use super::install::said;
use crate::intake::mqtt::free_port;

/// Copies a folder as it is; where the file system can, without its bytes.
fn copy(from: &Path, to: &Path) {
    said(Command::new("cp").args(["--recursive", "--reflink=auto"]).arg(from).arg(to));
}

#[tokio::test(flavor = "multi_thread")]
async fn the_image_is_built_and_serves_as_nobody_in_particular() {
    let folder = tempfile::tempdir().unwrap();
    let base = program::binary().ancestors().nth(2).unwrap().join("tools/image-base");
    assert!(base.exists(), "{} is not there; run tests/run, which fetches it", base.display());
    let buildah = |words: &[&str]| {
        let mut buildah = Command::new("buildah");
        buildah.arg("--root").arg(folder.path().join("images")).arg("--runroot").arg(folder.path().join("run"));
        buildah.args(["--storage-driver", "vfs"]).args(words);
        buildah
    };
    let name = |output: String| output.lines().last().unwrap().trim().to_string();
    let stand_in = name(said(&mut buildah(&["from", "scratch"])));
    said(buildah(&["add", "--quiet", &stand_in]).arg(&base).arg("/"));
    said(&mut buildah(&["commit", "--quiet", "--rm", &stand_in, "localhost/base"]));
    // The folder it is made from: the checkout, with the program the other tests run.
    let context = folder.path().join("context");
    std::fs::create_dir(&context).unwrap();
    for part in ["config", "scripts"] {
        copy(&root().join(part), &context.join(part));
    }
    copy(&program::binary(), &context.join("program"));
    let mut build = buildah(&["build", "--isolation", "chroot", "--format", "docker", "--pull-never"]);
    build.args([
        "--build-arg",
        "BASE=localhost/base",
        "--build-arg",
        "PROGRAM=program",
        "--tag",
        "localhost/benchclock",
    ]);
    said(build.arg("--file").arg(context.join("config/Containerfile")).arg(&context));
    let about = said(&mut buildah(&["inspect", "--type", "image", "localhost/benchclock"]));
    let about: Value = serde_json::from_str(&about).unwrap();
    let config = &about["Docker"]["config"];
    assert_eq!((&config["User"], &config["StopSignal"]), (&json!("65532:65532"), &json!("SIGTERM")), "{config}");
    assert_eq!(config["Volumes"], json!({"/var/lib/benchclock": {}}));
    let health: Vec<&str> =
        config["Healthcheck"]["Test"].as_array().unwrap()[1..].iter().filter_map(Value::as_str).collect();
    let port = free_port();
    let container = name(said(&mut buildah(&["from", "--pull-never", "localhost/benchclock"])));
    let within = |words: &[&str]| {
        let mut run = buildah(&["run", "--isolation", "chroot"]);
        run.arg("--env").arg(format!("BENCHCLOCK_SERVER_LISTEN=127.0.0.1:{port}"));
        run.arg("--env").arg(format!("BENCHCLOCK_URL=http://127.0.0.1:{port}"));
        run.arg(&container).arg("--").args(words);
        run
    };
    let start: Vec<&str> = ["Entrypoint", "Cmd"]
        .iter()
        .flat_map(|part| config[part].as_array().unwrap())
        .filter_map(Value::as_str)
        .collect();
    let mut served = within(&start).stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
    let (http, url) = (client(), format!("http://127.0.0.1:{port}"));
    until("it is ready", async || {
        let answer = http.get(format!("{url}/health/ready")).send().await.ok()?;
        answer.status().is_success().then_some(())
    })
    .await;
    // It finds its rules, and writes where its volume is.
    let rules: Value = http.get(format!("{url}/api/v1/materials")).send().await.unwrap().json().await.unwrap();
    let shipped = std::fs::read_dir(root().join("scripts/materials")).unwrap().count();
    assert_eq!(rules["items"].as_array().map(Vec::len), Some(shipped));
    let zone = json!({"id": "bench", "name": "Bench", "set_temp_c": 20, "set_rh_pct": 50});
    let made = http.post(format!("{url}/api/v1/zones")).json(&zone).send().await.unwrap();
    assert_eq!(made.status().as_u16(), 201);
    // Its own health check says what a builder's would be told.
    let mut check = within(&health);
    let checked = tokio::task::spawn_blocking(move || said(&mut check)).await.unwrap();
    assert!(checked.contains("ready"), "{checked}");
    // The builder passes on that it is to end.
    said(Command::new("kill").arg(served.id().to_string()));
    drop(served.wait());
    until("it is gone", async || http.get(&url).send().await.is_err().then_some(())).await;
    // Nothing of this machine may be bound below a folder that is about to be taken away.
    let mounts = std::fs::read_to_string("/proc/mounts").unwrap();
    assert!(!mounts.contains(folder.path().to_str().unwrap()), "{mounts}");
}
