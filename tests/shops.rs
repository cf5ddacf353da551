//! Many shops in one service: a shop is a wall.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

mod hosts;
mod settings;
mod start;
mod wall;

use std::{path::Path, sync::Arc};

use bench::{Answer, BEGIN, ms, program::command, root};
use benchclock::{Now, Service, Settings, State};
use reqwest::{Method, RequestBuilder};
use serde_json::{Value, json};
use tokio::task::JoinHandle;
use tokio_util::{sync::CancellationToken, task::TaskTracker};

/// The shops of these tests; each has a host of its name, with `.test` behind it.
const NAMES: [&str; 2] = ["north", "south"];

/// Settings of a service of both, with two rules to begin with and a file for each; `server` are more lines of that
/// section, `own` what each shop's file says.
fn write_settings(folder: &Path, url: &str, server: &str, own: [&str; 2]) {
    let rules = folder.join("usual/materials");
    std::fs::create_dir_all(&rules).unwrap();
    for rule in ["aliphatic-resin", "shellac"] {
        let file = format!("{rule}.rhai");
        std::fs::copy(root().join("scripts/materials").join(&file), rules.join(&file)).unwrap();
    }
    let mut text = format!(
        "[server]\nlisten = \"127.0.0.1:0\"\nworkers = 1\n{server}\n[store]\npath = {:?}\nurl = {url:?}\n\
         [scripts]\nfolder = {:?}\nwatch = false\n[shop]\nprocedures = {:?}\ndigest_at = \"23:59\"\n\
         [alerts]\nallow_private = [\"127.0.0.0/8\"]\n",
        folder.join("data/none.db"),
        folder.join("usual"),
        root().join("config/procedures"),
    );
    for (name, own) in NAMES.iter().zip(own) {
        let file = folder.join(format!("{name}.toml"));
        std::fs::write(&file, own).unwrap();
        text += &format!("[[shops]]\nname = \"{name}\"\nhosts = [\"{name}.test\"]\nsettings = {file:?}\n");
    }
    std::fs::write(folder.join("benchclock.toml"), text).unwrap();
}

/// Makes an owner's token of a shop, as whoever runs the service does.
async fn owner_of(folder: &Path, name: &str) -> String {
    let config = folder.join("benchclock.toml").display().to_string();
    let made = command(["token", "add", "olga", "--role", "owner", "--config", &config, "--shop", name]).await;
    made.good().trim().to_string()
}

/// Both shops in a service of this process, with a clock that stands.
struct Pair {
    /// Where both keep what they have; gone when it ends.
    folder: tempfile::TempDir,
    now: Now,
    url: String,
    http: reqwest::Client,
    states: [Arc<State>; 2],
    owners: [String; 2],
    stop: CancellationToken,
    served: JoinHandle<()>,
}

impl Pair {
    /// Two empty shops, on PostgreSQL where there is an address of one.
    async fn start(url: &str, server: &str, own: [&str; 2]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        write_settings(folder.path(), url, server, own);
        let owners = [owner_of(folder.path(), "north").await, owner_of(folder.path(), "south").await];
        let now = Now::standing_at(ms(BEGIN));
        let settings = Settings::load(Some(&folder.path().join("benchclock.toml"))).unwrap();
        let service = Service::build(settings, now.clone()).await.unwrap();
        let states = NAMES.map(|name| service.shop(name).expect("it is open").clone());
        let (url, stop) = (format!("http://{}", service.address()), CancellationToken::new());
        let ended = stop.clone();
        let served = TaskTracker::new().spawn(async move { service.run(ended, false).await.unwrap() });
        let http = reqwest::Client::builder().redirect(reqwest::redirect::Policy::none()).build().unwrap();
        Self { folder, now, url, http, states, owners, stop, served }
    }

    async fn end(self) {
        self.stop.cancel();
        drop(self.http);
        self.served.await.unwrap();
        drop(self.folder);
    }

    /// A request to a shop by its place, with nothing shown.
    fn ask(&self, at: usize, method: Method, path: &str) -> RequestBuilder {
        self.http.request(method, format!("{}{path}", self.url)).header("host", format!("{}.test", NAMES[at]))
    }

    /// GET as the owner of the shop itself.
    async fn get(&self, at: usize, path: &str) -> Answer {
        let request = self.ask(at, Method::GET, path).bearer_auth(&self.owners[at]);
        Answer::of(request.send().await.unwrap()).await
    }

    /// POST as the owner of the shop itself, which must be taken.
    async fn post(&self, at: usize, path: &str, body: Value) -> Value {
        let request = self.ask(at, Method::POST, path).bearer_auth(&self.owners[at]).json(&body);
        Answer::of(request.send().await.unwrap()).await.good()
    }

    /// A zone, an instrument and a joint by the same ids in each shop, named for it.
    async fn furnish(&self, at: usize) {
        let mark = format!("{}mark", NAMES[at]);
        let zone = json!({"id": "bench", "name": mark, "set_temp_c": 20, "set_rh_pct": 50});
        self.post(at, "/api/v1/zones", zone).await;
        self.post(at, "/api/v1/instruments", json!({"id": "guitar", "name": mark})).await;
        self.post(at, "/api/v1/joints", json!({"id": "bridge", "instrument": "guitar", "name": mark})).await;
    }
}
