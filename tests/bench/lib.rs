//! The bench: the real service on a port of its own, a journal of its own, and a clock the test sets.
//! Verbs are the luthier's: `glue_up`, `wait_minutes`, `board`. Background work is stepped, never slept for.

pub mod answer;
pub mod designed;
pub mod draw;
pub mod instances;
pub mod postgres;
pub mod program;
pub mod stock;
pub mod thrown;

use std::{
    io::{Read, Write},
    net::TcpStream,
    path::PathBuf,
    sync::Arc,
    time::Duration,
};

use benchclock::{Now, Service, Settings, State};
use serde_json::{Value, json};
use tokio::task::JoinHandle;
use tokio_util::{sync::CancellationToken, task::TaskTracker};

/// When every bench begins: a Monday morning in winter, UTC.
pub const BEGIN: &str = "2026-03-02T08:00:00Z";

/// An answer of the service.
#[derive(Debug, Clone)]
pub struct Answer {
    /// Its status.
    pub status: u16,
    /// Its content type.
    pub media: String,
    /// Seconds after which it asks to be tried again, if it does.
    pub retry_after: Option<u32>,
    /// Its body, if that is JSON.
    pub json: Value,
    /// Its body as text.
    pub text: String,
}

impl Answer {
    /// Reads an answer to its end.
    ///
    /// # Panics
    /// When it breaks off.
    pub async fn of(answer: reqwest::Response) -> Self {
        let status = answer.status().as_u16();
        let media = answer.headers().get("content-type").map_or("", |v| v.to_str().unwrap_or_default()).to_string();
        let retry_after = answer.headers().get("retry-after").and_then(|v| v.to_str().ok()?.parse().ok());
        let text = answer.text().await.expect("a whole body");
        Self { status, media, retry_after, json: serde_json::from_str(&text).unwrap_or(Value::Null), text }
    }

    /// The body of an answer that must be a success.
    ///
    /// # Panics
    /// When it is not.
    #[track_caller]
    pub fn good(self) -> Value {
        assert!((200..300).contains(&self.status), "{} {}", self.status, self.text);
        self.json
    }

    /// The problem document of an answer that must be one with this status and this word in its type.
    ///
    /// # Panics
    /// When it is not a whole problem document of that kind.
    #[track_caller]
    pub fn problem(self, status: u16, slug: &str) -> Value {
        assert_eq!(self.status, status, "{}", self.text);
        assert_eq!(self.media, "application/problem+json", "{}", self.text);
        assert_eq!(self.json["status"], status, "{}", self.text);
        assert_eq!(self.json["type"], format!("urn:benchclock:problem:{slug}"), "{}", self.text);
        for part in ["title", "detail", "mend"] {
            assert!(self.json[part].as_str().is_some_and(|text| !text.is_empty()), "no {part}: {}", self.text);
        }
        self.json
    }
}

/// The shop's folder, where its journal is; gone when dropped.
pub struct Shop {
    folder: tempfile::TempDir,
    /// Changed before a bench is started.
    pub settings: Settings,
}

impl Default for Shop {
    fn default() -> Self {
        Self::new()
    }
}

impl Shop {
    /// An empty shop with the shipped rules.
    ///
    /// # Panics
    /// When there is no room for a folder.
    pub fn new() -> Self {
        let folder = tempfile::tempdir().expect("a folder for the journal");
        let mut settings = Settings::default();
        settings.server.listen = "127.0.0.1:0".into();
        settings.server.workers = 1;
        settings.store.path = folder.path().join("journal.db");
        settings.store.backups = folder.path().join("backups");
        settings.scripts.folder = root().join("scripts");
        settings.scripts.watch = false;
        // Receivers of tests listen on this machine.
        settings.alerts.allow_private = vec!["127.0.0.0/8".parse().expect("a network")];
        settings.shop.procedures = root().join("config/procedures");
        Self { folder, settings }
    }

    /// An empty shop with two rules in a folder of its own, where a test may change them. Every rule is tried at start,
    /// and fourteen of them take a second.
    ///
    /// # Panics
    /// When there is no room for a folder.
    pub fn small() -> Self {
        let mut shop = Self::new();
        let scripts = shop.folder().join("scripts");
        std::fs::create_dir_all(scripts.join("materials")).expect("a folder for the rules");
        for rule in ["aliphatic-resin", "shellac"] {
            let file = format!("materials/{rule}.rhai");
            std::fs::copy(root().join("scripts").join(&file), scripts.join(&file)).expect("a shipped rule");
        }
        shop.settings.scripts.folder = scripts;
        shop
    }

    /// The shop's folder.
    pub fn folder(&self) -> &std::path::Path {
        self.folder.path()
    }
}

/// The root of the checkout.
pub fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// Milliseconds of an RFC 3339 time.
///
/// # Panics
/// When it is none.
#[track_caller]
pub fn ms(rfc3339: &str) -> i64 {
    chrono::DateTime::parse_from_rfc3339(rfc3339).expect(rfc3339).timestamp_millis()
}

/// Waits until something is so, for what a real timer or another process has to do first.
///
/// # Panics
/// After a minute, which nothing here should ever take.
pub async fn until<T>(what: &str, mut so: impl AsyncFnMut() -> Option<T>) -> T {
    let wait = async {
        loop {
            if let Some(found) = so().await {
                return found;
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
    };
    tokio::time::timeout(Duration::from_secs(60), wait).await.unwrap_or_else(|_| panic!("never so: {what}"))
}

/// Sends bytes as they are to a service at `url`; what came back until it hung up, whose silence is put up with for so long.
///
/// # Panics
/// When it does not hang up in time.
pub async fn raw(url: &str, text: String, patience: Duration) -> String {
    let address = url.trim_start_matches("http://").to_string();
    let sent = tokio::task::spawn_blocking(move || {
        let mut stream = TcpStream::connect(address).expect("the service listens");
        stream.set_read_timeout(Some(patience)).expect("a time");
        stream.write_all(text.as_bytes()).expect("it is taken");
        let mut said = Vec::new();
        stream.read_to_end(&mut said).expect("the service hangs up");
        String::from_utf8_lossy(&said).into_owned()
    });
    sent.await.expect("it was sent")
}

/// A client for requests to a service that is not in this process.
///
/// # Panics
/// When none can be made.
pub fn client() -> reqwest::Client {
    Service::provide_tls();
    // The service closes a connection after five idle seconds. On a busy machine that may be the moment it is used again.
    reqwest::Client::builder().pool_idle_timeout(Duration::from_secs(1)).build().expect("a client")
}

/// The running service.
pub struct Bench {
    /// Where its journal is.
    pub shop: Shop,
    /// Its clock.
    pub now: Now,
    state: Arc<State>,
    url: String,
    http: reqwest::Client,
    stop: CancellationToken,
    served: JoinHandle<()>,
}

impl Bench {
    /// Starts an empty shop at [`BEGIN`], without background tasks.
    pub async fn start() -> Self {
        Self::open(Shop::new(), Now::standing_at(ms(BEGIN)), false).await
    }

    /// Starts an empty shop with two rules at [`BEGIN`], without background tasks.
    pub async fn small() -> Self {
        Self::open(Shop::small(), Now::standing_at(ms(BEGIN)), false).await
    }

    /// Starts a shop at an instant, with its background tasks if wanted.
    ///
    /// # Panics
    /// When the service does not start.
    pub async fn open(shop: Shop, now: Now, tasks: bool) -> Self {
        let service = Service::build(shop.settings.clone(), now.clone()).await.expect("the service starts");
        let url = format!("http://{}", service.address());
        let (state, stop) = (service.state().clone(), CancellationToken::new());
        let ended = stop.clone();
        let served = TaskTracker::new().spawn(async move {
            service.run(ended, tasks).await.expect("the service runs until it is stopped");
        });
        Self { shop, now, state, url, http: client(), stop, served }
    }

    /// Stops the service; what it kept is on disk.
    ///
    /// # Panics
    /// When it does not end.
    pub async fn stop(self) -> (Shop, Now) {
        self.stop.cancel();
        drop(self.http);
        self.served.await.expect("every task ends");
        (self.shop, self.now)
    }

    /// Stops the service and starts it again on the same journal.
    pub async fn restart(self, tasks: bool) -> Self {
        let (shop, now) = self.stop().await;
        Self::open(shop, now, tasks).await
    }

    /// The state, for steps and looks inside.
    pub fn state(&self) -> &Arc<State> {
        &self.state
    }

    /// An address of the service.
    pub fn url(&self, path: &str) -> String {
        format!("{}{path}", self.url)
    }

    /// Sends a request as it is and reads the answer.
    ///
    /// # Panics
    /// When the service does not answer at all.
    pub async fn send(&self, request: reqwest::RequestBuilder) -> Answer {
        Answer::of(request.send().await.expect("the service answers")).await
    }

    /// A client to make requests of one's own with.
    pub fn http(&self) -> &reqwest::Client {
        &self.http
    }

    /// GET.
    pub async fn get(&self, path: &str) -> Answer {
        self.send(self.http.get(self.url(path))).await
    }

    /// POST of a JSON body.
    pub async fn post(&self, path: &str, body: Value) -> Answer {
        self.send(self.http.post(self.url(path)).json(&body)).await
    }

    /// POST of a JSON body under an idempotency key.
    pub async fn post_once(&self, key: &str, path: &str, body: Value) -> Answer {
        self.send(self.http.post(self.url(path)).header("idempotency-key", key).json(&body)).await
    }

    /// PUT of a JSON body.
    pub async fn put(&self, path: &str, body: Value) -> Answer {
        self.send(self.http.put(self.url(path)).json(&body)).await
    }

    /// The items of a list that must be there.
    ///
    /// # Panics
    /// When it is none.
    pub async fn items(&self, path: &str) -> Vec<Value> {
        self.get(path).await.good()["items"].as_array().expect("a list").clone()
    }

    /// The board, which stands for everything the service derives.
    pub async fn board(&self) -> Value {
        self.get("/api/v1/board?limit=1000").await.good()
    }

    /// An alert with its deliveries.
    pub async fn alert(&self, id: &str) -> Value {
        self.get(&format!("/api/v1/alerts/{id}")).await.good()
    }

    /// A zone "bench" at 20 °C and 50 %, the guitar, its bridge joint and three clamps.
    pub async fn furnish(&self) {
        let zone = json!({"id": "bench", "name": "Bench", "set_temp_c": 20, "set_rh_pct": 50});
        self.post("/api/v1/zones", zone).await.good();
        self.post("/api/v1/instruments", json!({"id": "guitar", "name": "the guitar"})).await.good();
        let joint = json!({"id": "bridge", "instrument": "guitar", "name": "bridge"});
        self.post("/api/v1/joints", joint).await.good();
        for clamp in ["cam-1", "cam-2", "cam-3"] {
            self.post("/api/v1/clamps", json!({"id": clamp, "name": clamp})).await.good();
        }
    }

    /// Posts what the hygrometer reads now.
    pub async fn read_air(&self, zone: &str, temp_c: f64, rh_pct: f64) {
        let path = format!("/api/v1/zones/{zone}/readings");
        self.post(&path, json!({"temp_c": temp_c, "rh_pct": rh_pct})).await.good();
    }

    /// Registers a glue-up of the bridge with aliphatic resin under two clamps; gives its id.
    ///
    /// # Panics
    /// When it is not taken.
    pub async fn glue_up(&self, id: &str) -> Value {
        let body = json!({"id": id, "joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
                          "clamps": ["cam-1", "cam-2"]});
        self.post("/api/v1/glue-ups", body).await.good()
    }

    /// Lets time pass.
    pub fn wait_minutes(&self, minutes: i64) {
        self.now.set(self.now.ms() + minutes * 60_000);
    }

    /// Lets a little time pass.
    pub fn wait_seconds(&self, seconds: i64) {
        self.now.set(self.now.ms() + seconds * 1000);
    }

    /// Lets time pass while the hygrometer reads the same every five minutes and the alarms are looked at.
    pub async fn live_minutes(&self, zone: &str, minutes: i64, temp_c: f64, rh_pct: f64) -> usize {
        let mut told = 0;
        for _ in 0..minutes / 5 {
            self.wait_minutes(5);
            self.read_air(zone, temp_c, rh_pct).await;
            told += self.alarms().await;
        }
        told
    }

    /// Tells what is due; how many alerts that were.
    ///
    /// # Panics
    /// When the store fails.
    pub async fn alarms(&self) -> usize {
        Service::alarm_step(&self.state).await.expect("what is due is told")
    }

    /// Waits until an alert is told, where the background tasks run.
    pub async fn until_told(&self, id: &str) {
        let path = format!("/api/v1/alerts/{id}");
        until(id, async || (self.get(&path).await.status == 200).then_some(())).await;
    }

    /// Tries what waits in the outbox; how many that were.
    ///
    /// # Panics
    /// When the store fails.
    pub async fn deliveries(&self) -> usize {
        Service::delivery_step(&self.state).await.expect("the outbox is worked off")
    }

    /// Runs one recurring job now.
    ///
    /// # Panics
    /// When it fails.
    pub async fn recurring(&self, job: &str) {
        Service::recurring_step(&self.state, job).await.expect("the job runs");
    }

    /// The milestone of a glue-up or coat.
    ///
    /// # Panics
    /// When it has none of that stage.
    pub async fn milestone(&self, cure: &str, stage: &str) -> Value {
        let glue_up = self.get(&format!("/api/v1/glue-ups/{cure}")).await.status == 200;
        let kind = if glue_up { "glue-ups" } else { "coats" };
        let items = self.items(&format!("/api/v1/{kind}/{cure}/milestones")).await;
        items.into_iter().find(|m| m["stage"] == stage).expect(stage)
    }
}
