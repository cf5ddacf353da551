//! The program as it is installed: started with a settings file, spoken to over its port, ended by signals.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

use std::{
    collections::BTreeSet,
    io::{BufRead, BufReader, Read},
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    sync::Mutex,
    time::Duration,
};

use serde_json::{Value, json};
use tokio::task::JoinHandle;

use crate::{Answer, Shop, until};

/// A folder with settings, rules and a journal.
pub struct Home(Shop);

impl Default for Home {
    fn default() -> Self {
        Self::new()
    }
}

impl Home {
    /// A shop with two rules that listens at a port the system gives.
    pub fn new() -> Self {
        let home = Self(Shop::small());
        home.listen("127.0.0.1:0");
        home
    }

    /// Writes settings that listen here.
    pub fn listen(&self, address: &str) {
        self.write(&self.settings(address, ""));
    }

    /// Writes settings that keep the journal at this path, with more lines of the section of the server, and whole
    /// sections, behind them. The shop's digest does not come in between.
    pub fn keep_at(&mut self, journal: PathBuf, server: &str, sections: &str) {
        self.0.settings.store.path = journal;
        let settings = self.settings("127.0.0.1:0", server);
        self.write(&format!("{settings}[shop]\ndigest_at = \"23:59\"\n{sections}"));
    }

    /// Writes settings that keep the facts in a PostgreSQL database.
    pub fn keep_in(&mut self, url: String) {
        self.0.settings.store.url = url;
        self.listen("127.0.0.1:0");
    }

    fn settings(&self, address: &str, server: &str) -> String {
        let settings = &self.0.settings;
        format!(
            "[server]\nlisten = {address:?}\nworkers = 2\n{server}[store]\npath = {:?}\nurl = {:?}\nbackups = {:?}\n[scripts]\nfolder = {:?}\n\
             [alerts]\nallow_private = [\"127.0.0.0/8\"]\n",
            settings.store.path, settings.store.url, settings.store.backups, settings.scripts.folder,
        )
    }

    /// Writes settings as they are given.
    pub fn write(&self, settings: &str) {
        std::fs::write(self.config(), settings).unwrap();
    }

    /// The settings file.
    pub fn config(&self) -> PathBuf {
        self.0.folder().join("benchclock.toml")
    }

    /// The folder all of it is in.
    pub fn folder(&self) -> &Path {
        self.0.folder()
    }

    /// The journal.
    pub fn journal(&self) -> PathBuf {
        self.0.settings.store.path.clone()
    }
}

/// What the system says of a process under a name of `/proc/N/status`: "VmRSS:" in KiB, "Threads:".
pub fn status_of(id: u32, name: &str) -> u64 {
    let status = std::fs::read_to_string(format!("/proc/{id}/status")).unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix(name)).unwrap();
    line.split_whitespace().next().unwrap().parse().unwrap()
}

/// Processor time in a process and in the system for it, s.
pub fn cpu_s(id: u32) -> f64 {
    let stat = std::fs::read_to_string(format!("/proc/{id}/stat")).unwrap();
    // Behind the name, which may hold anything: state is the first field there, the two times the 12th and 13th.
    let fields: Vec<&str> = stat.rsplit_once(')').unwrap().1.split_whitespace().collect();
    fields[11..13].iter().map(|field| field.parse::<u64>().unwrap()).sum::<u64>() as f64 / 100.0
}

/// Beside the folder of this test's own program lies the one under test.
pub fn binary() -> PathBuf {
    let own = std::env::current_exe().unwrap();
    let found = own.ancestors().nth(2).unwrap().join("benchclock");
    assert!(found.exists(), "{} is not there; run `cargo build -p benchclock` first", found.display());
    found
}

/// A tool that `tests/run` fetched.
pub fn tool(name: &str) -> PathBuf {
    let found = binary().ancestors().nth(2).unwrap().join("tools/bin").join(name);
    assert!(found.exists(), "{} is not there; run tests/run, which fetches it", found.display());
    found
}

/// A library in C that is laid over the system's calls of a program (`LD_PRELOAD`), compiled once from `tests/peers`.
///
/// # Panics
/// When it cannot be compiled.
pub fn laid_over(name: &str) -> String {
    static COMPILED: Mutex<BTreeSet<String>> = Mutex::new(BTreeSet::new());
    let library = binary().with_file_name(format!("{name}.so"));
    let mut compiled = COMPILED.lock().unwrap();
    if compiled.insert(name.into()) {
        let source = crate::root().join(format!("tests/peers/{name}.c"));
        let mut cc = Command::new("cc");
        cc.args(["-shared", "-fPIC", "-O1", "-o"]).arg(&library).arg(source).arg("-ldl");
        let done = cc.output().expect("cc is there; tests/run installs it");
        assert!(done.status.success(), "{}", String::from_utf8_lossy(&done.stderr));
    }
    library.display().to_string()
}

/// What a command came to.
#[derive(Debug)]
pub struct Done {
    /// Its exit code.
    pub code: Option<i32>,
    /// What it said.
    pub said: String,
    /// What it complained of.
    pub complained: String,
}

impl Done {
    /// What it said, if all went well.
    #[track_caller]
    pub fn good(self) -> String {
        assert_eq!(self.code, Some(0), "{}{}", self.said, self.complained);
        self.said
    }
}

/// Runs a command of the program to its end.
pub async fn command(arguments: impl IntoIterator<Item = impl AsRef<std::ffi::OsStr>>) -> Done {
    command_with(arguments, &[]).await
}

/// The same with something in its environment.
pub async fn command_with(
    arguments: impl IntoIterator<Item = impl AsRef<std::ffi::OsStr>>,
    env: &[(&str, &str)],
) -> Done {
    let mut command = Command::new(binary());
    command.args(arguments).env_clear().env("BENCHCLOCK_LOG", "warn").envs(env.iter().copied());
    tokio::task::spawn_blocking(move || {
        let output = command.output().unwrap();
        let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
        Done { code: output.status.code(), said: text(output.stdout), complained: text(output.stderr) }
    })
    .await
    .unwrap()
}

fn start(home: &Home, env: &[(&str, &str)], more: &[&str]) -> Child {
    let mut command = Command::new(binary());
    command.args(["serve", "--config"]).arg(home.config()).args(more).env_clear().env("BENCHCLOCK_LOG", "warn");
    command.envs(env.iter().copied());
    command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap()
}

/// Starts a program that must refuse; its exit code and what it said.
pub async fn refused(home: &Home) -> (Option<i32>, String) {
    refused_with(home, &[]).await
}

/// The same, with variables of the environment.
pub async fn refused_with(home: &Home, env: &[(&str, &str)]) -> (Option<i32>, String) {
    let mut child = start(home, env, &[]);
    let code = ended(&mut child).await;
    let mut said = String::new();
    child.stderr.take().unwrap().read_to_string(&mut said).unwrap();
    (code, said)
}

async fn ended(child: &mut Child) -> Option<i32> {
    until("the program ends", async || child.try_wait().unwrap()).await.code()
}

/// A program that serves.
pub struct Program {
    child: Child,
    /// What it complains of, read all the while: a pipe that nobody reads holds up whoever writes.
    complained: JoinHandle<String>,
    url: String,
    http: reqwest::Client,
}

impl Program {
    /// Starts it and waits for the line that names its address.
    pub async fn serve(home: &Home) -> Self {
        Self::serve_with(home, &[], &[]).await
    }

    /// The same, with variables of the environment and further arguments.
    pub async fn serve_with(home: &Home, env: &[(&str, &str)], more: &[&str]) -> Self {
        Self::serve_within(Duration::from_secs(60), home, env, more).await
    }

    /// The same, of a shop that takes longer to read its journal.
    pub async fn serve_within(longest: Duration, home: &Home, env: &[(&str, &str)], more: &[&str]) -> Self {
        let mut child = start(home, env, more);
        let mut stderr = child.stderr.take().unwrap();
        let complained = tokio::task::spawn_blocking(move || {
            let mut said = String::new();
            stderr.read_to_string(&mut said).unwrap();
            said
        });
        let lines = BufReader::new(child.stdout.take().unwrap());
        let line = tokio::task::spawn_blocking(move || lines.lines().next().and_then(Result::ok));
        let line = tokio::time::timeout(longest, line).await.expect("it speaks").unwrap();
        let Some(line) = line else {
            panic!("it did not start: {}", complained.await.unwrap());
        };
        let url =
            line.split(' ').find(|word| word.starts_with("http://")).unwrap_or_else(|| panic!("no address: {line}"));
        Self { child, complained, url: url.trim_end_matches('/').into(), http: crate::client() }
    }

    /// A client for it.
    pub fn http(&self) -> &reqwest::Client {
        &self.http
    }

    /// Its process.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// An address of it.
    pub fn url(&self, path: &str) -> String {
        format!("{}{path}", self.url)
    }

    /// The number of its process.
    pub fn pid(&self) -> u32 {
        self.child.id()
    }

    /// What it answers to a GET.
    pub async fn get(&self, path: &str) -> Answer {
        Answer::of(self.http.get(self.url(path)).send().await.unwrap()).await
    }

    /// What it answers to a POST under a key.
    pub async fn post_once(&self, key: &str, path: &str, body: &Value) -> Answer {
        let request = self.http.post(self.url(path)).header("idempotency-key", key).json(body);
        Answer::of(request.send().await.unwrap()).await
    }

    /// POST of a JSON body that must be taken.
    pub async fn post(&self, path: &str, body: Value) {
        let answer = self.http.post(self.url(path)).json(&body).send().await.unwrap();
        assert!(answer.status().is_success(), "{path}: {}", answer.text().await.unwrap());
    }

    /// A zone, an instrument and its joint.
    pub async fn furnish(&self) {
        let zone = json!({"id": "bench", "name": "Bench", "set_temp_c": 20, "set_rh_pct": 50});
        self.post("/api/v1/zones", zone).await;
        self.post("/api/v1/instruments", json!({"id": "guitar", "name": "the guitar"})).await;
        self.post("/api/v1/joints", json!({"id": "bridge", "instrument": "guitar", "name": "bridge"})).await;
    }

    /// Every id of a list, part by part.
    pub async fn ids(&self, list: &str) -> BTreeSet<String> {
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
    pub fn kill(mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    /// Sends it a signal and waits; its exit code, if it ended by itself.
    pub async fn end(self, signal: &str) -> Option<i32> {
        self.end_saying(signal).await.0
    }

    /// The same, with what it complained of.
    pub async fn end_saying(mut self, signal: &str) -> (Option<i32>, String) {
        let sent = Command::new("kill").arg(format!("-{signal}")).arg(self.child.id().to_string()).status().unwrap();
        assert!(sent.success());
        let code = ended(&mut self.child).await;
        (code, (&mut self.complained).await.unwrap())
    }

    /// Asks it to end, which it must do without a fault.
    pub async fn terminate(self) {
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
