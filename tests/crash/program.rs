//! The program as it is installed: started with a settings file, spoken to over its port, ended by signals.

use std::{
    collections::BTreeSet,
    io::{BufRead, BufReader, Read},
    path::PathBuf,
    process::{Child, Command, Stdio},
    time::Duration,
};

use bench::{Shop, until};
use serde_json::{Value, json};

/// A folder with settings, rules and a journal.
pub(super) struct Home(Shop);

impl Home {
    pub(super) fn new() -> Self {
        let home = Self(Shop::small());
        home.listen("127.0.0.1:0");
        home
    }

    /// Writes settings that listen here.
    pub(super) fn listen(&self, address: &str) {
        let settings = &self.0.settings;
        self.write(&format!(
            "[server]\nlisten = {address:?}\nworkers = 2\n[store]\npath = {:?}\nbackups = {:?}\n[scripts]\nfolder = {:?}\n",
            settings.store.path, settings.store.backups, settings.scripts.folder,
        ));
    }

    /// Writes settings as they are given.
    pub(super) fn write(&self, settings: &str) {
        std::fs::write(self.config(), settings).unwrap();
    }

    fn config(&self) -> PathBuf {
        self.0.folder().join("benchclock.toml")
    }

    pub(super) fn journal(&self) -> PathBuf {
        self.0.settings.store.path.clone()
    }
}

/// Beside the folder of this test's own program lies the one under test.
fn binary() -> PathBuf {
    let own = std::env::current_exe().unwrap();
    let found = own.ancestors().nth(2).unwrap().join("benchclock");
    assert!(found.exists(), "{} is not there; run `cargo build -p benchclock` first", found.display());
    found
}

fn start(home: &Home) -> Child {
    let mut command = Command::new(binary());
    command.args(["serve", "--config"]).arg(home.config()).env_clear().env("BENCHCLOCK_LOG", "warn");
    command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
}

/// Starts a program that must refuse; its exit code and what it said.
pub(super) async fn refused(home: &Home) -> (Option<i32>, String) {
    let mut child = start(home);
    let code = ended(&mut child).await;
    let mut said = String::new();
    child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
    (code, said)
}

async fn ended(child: &mut Child) -> Option<i32> {
    until("the program ends", async || child.try_wait().unwrap()).await.code()
}

/// A program that serves.
pub(super) struct Program {
    child: Child,
    url: String,
    http: reqwest::Client,
}

impl Program {
    /// Starts it and waits for the line that names its address.
    pub(super) async fn serve(home: &Home) -> Self {
        let mut child = start(home);
        let lines = BufReader::new(child.stdout.take().unwrap());
        let line = tokio::task::spawn_blocking(move || lines.lines().next().and_then(Result::ok));
        let line = tokio::time::timeout(Duration::from_secs(60), line).await.expect("it speaks").unwrap();
        let Some(line) = line else {
            let mut said = String::new();
            child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
            panic!("it did not start: {said}");
        };
        let url =
            line.split(' ').find(|word| word.starts_with("http://")).unwrap_or_else(|| panic!("no address: {line}"));
        Self { child, url: url.trim_end_matches('/').into(), http: bench::client() }
    }

    pub(super) fn http(&self) -> &reqwest::Client {
        &self.http
    }

    pub(super) fn url(&self, path: &str) -> String {
        format!("{}{path}", self.url)
    }

    pub(super) async fn post(&self, path: &str, body: Value) {
        let answer = self.http.post(self.url(path)).json(&body).send().await.unwrap();
        assert!(answer.status().is_success(), "{path}: {}", answer.text().await.unwrap());
    }

    /// A zone, an instrument and its joint.
    pub(super) async fn furnish(&self) {
        let zone = json!({"id": "bench", "name": "Bench", "set_temp_c": 20, "set_rh_pct": 50});
        self.post("/api/v1/zones", zone).await;
        self.post("/api/v1/instruments", json!({"id": "guitar", "name": "the guitar"})).await;
        self.post("/api/v1/joints", json!({"id": "bridge", "instrument": "guitar", "name": "bridge"})).await;
    }

    /// Every id of a list, part by part.
    pub(super) async fn ids(&self, list: &str) -> BTreeSet<String> {
        let (mut ids, mut after) = (BTreeSet::new(), String::new());
        loop {
            let part = self.http.get(self.url(&format!("{list}?limit=1000{after}"))).send().await.unwrap();
            let part: Value = part.json().await.unwrap();
            for item in part["items"].as_array().unwrap() {
                assert!(ids.insert(item["id"].as_str().unwrap().to_string()), "{} is listed twice", item["id"]);
            }
            let Some(next) = part["next"].as_str() else { return ids };
            after = format!("&after={next}");
        }
    }

    /// Ends it as a power cut would.
    pub(super) fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Sends it a signal and waits; its exit code, if it ended by itself.
    pub(super) async fn end(mut self, signal: &str) -> Option<i32> {
        let sent = Command::new("kill").arg(format!("-{signal}")).arg(self.child.id().to_string()).status().unwrap();
        assert!(sent.success());
        ended(&mut self.child).await
    }

    /// Asks it to end, which it must do without a fault.
    pub(super) async fn terminate(self) {
        assert_eq!(self.end("TERM").await, Some(0));
    }
}

impl Drop for Program {
    /// A test that fails leaves no program behind.
    fn drop(&mut self) {
        if let Ok(None) = self.child.try_wait() {
            drop(self.child.kill());
            drop(self.child.wait());
        }
    }
}
