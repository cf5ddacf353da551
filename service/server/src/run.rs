//! Building and running the service: replay the journal, start every task, stop them all within a deadline.

use std::{
    net::{SocketAddr, TcpListener},
    sync::Arc,
    thread::JoinHandle,
    time::Duration,
};

use actix_tls::accept::rustls_0_23::TlsStream;
use actix_web::{App, HttpServer, middleware::from_fn, rt::net::TcpStream, web};
use clock::{Bench, Laws, UsualDay};
use facts::Fact;
use rules::Rulebook;
use store::{Database, Writer};
use tokio_util::{sync::CancellationToken, task::TaskTracker};

use crate::{
    access,
    alerts::{alarm, channel, rounds},
    believed::{self, Believed},
    certificate::{self, Certificate},
    earlier,
    intake::mqtt,
    keys::Keys,
    meters,
    now::Now,
    others::{self, Others},
    pages, plan, recurring, routes, scripts,
    settings::Settings,
    state::{BenchKeeper, Parts, Shared, State, remember},
};

/// Longest a stopping service waits for requests under way, seconds.
const LAST_REQUESTS_S: u64 = 3;
/// Longest it then waits for its tasks. Together less than five seconds, and nothing acknowledged hangs on either.
const DEADLINE: Duration = Duration::from_millis(1500);
/// Facts read from the journal at once.
const PAGE: usize = 4096;

/// Why the service cannot start.
#[derive(Debug, thiserror::Error)]
pub enum StartError {
    /// A setting is wrong.
    #[error(transparent)]
    Settings(#[from] crate::settings::SettingsError),
    /// The journal cannot be opened or read.
    #[error("{0}")]
    Store(#[from] store::Error),
    /// A folder cannot be made, or the address cannot be listened at.
    #[error("{what}: {source}")]
    Io {
        /// What was tried.
        what: String,
        /// What the system said.
        source: std::io::Error,
    },
    /// A fact could not be written at start.
    #[error("{0}")]
    Problem(#[from] crate::problem::Problem),
}

fn io(what: impl Into<String>) -> impl FnOnce(std::io::Error) -> StartError {
    let what = what.into();
    |source| StartError::Io { what, source }
}

/// A service that has replayed its journal and has an address, and does not serve yet.
pub struct Service {
    state: Arc<State>,
    listener: TcpListener,
    writer: JoinHandle<()>,
}

impl Service {
    /// Opens the journal, replays it, reads the rules, and takes the address.
    ///
    /// # Errors
    /// A sentence that names the setting, the file or the address.
    pub async fn build(settings: Settings, now: Now) -> Result<Self, StartError> {
        Self::provide_tls();
        let zone = settings.zone()?;
        let beside = settings.store.folder();
        std::fs::create_dir_all(beside).map_err(io(format!("making {}", beside.display())))?;
        if let Some(kind) = settings.store.network_mount() {
            tracing::error!(kind, "the journal lies on a network file system, where its locks may not hold: move it");
        }
        let mut database = settings.store.open(&settings.shop.id)?;
        earlier::take_in(beside, database.as_mut())?;
        let keys = Keys::of(database.as_mut())?;
        let rulebook = Arc::new(Rulebook::new());
        let bridge_ms = i64::from(settings.climate.bridge_minutes) * 60_000;
        let of_clock = clock::Settings {
            bridge_ms,
            window_ms: i64::from(settings.sensors.window_minutes) * 60_000,
            apart_k: settings.sensors.apart_k,
            apart_rh_pct: settings.sensors.apart_rh_pct,
            ..clock::Settings::default()
        };
        let mut bench = Bench::new(of_clock, rulebook.clone() as Arc<dyn Laws>, Box::new(UsualDay));
        // What others say meanwhile is told to the writer.
        database.stand_still()?;
        let (last_seq, last_ms) = replay(&mut bench, &rulebook, database.as_mut())?;
        database.go_on()?;
        let tokens = database.tokens()?;
        let (reader, others) = (database.reopen()?, Others::of(database.as_mut())?);
        let shared = Arc::new(Shared::new(bench, last_seq, now));
        let keeper = BenchKeeper { shared: shared.clone(), rulebook: rulebook.clone() };
        let (sender, writer) =
            Writer::start(database, keeper, settings.store.waiting).map_err(io("starting the writer"))?;
        let address: SocketAddr = settings.server.listen.parse().map_err(|_| crate::settings::SettingsError {
            key: "server.listen".into(),
            what: "is no address".into(),
            mend: "write 127.0.0.1:8080".into(),
        })?;
        access::may_listen(&settings, address, &tokens)?;
        let certificate = Certificate::of(&settings.server)?;
        let listener = TcpListener::bind(address).map_err(io(format!("listening at {address} (server.listen)")))?;
        let believed = Believed::since(last_ms, settings.server.believe_clock);
        let parts = Parts {
            shared,
            rulebook,
            writer: sender,
            reader,
            others,
            settings,
            zone,
            keys,
            certificate,
            metrics: meters::recorder(),
            believed,
        };
        let state = Arc::new(State::new(parts));
        match state.doubt() {
            None => drop(scripts::read_folder(&state).await?),
            Some(why) => tracing::error!(%why, "holding"),
        }
        Ok(Self { state, listener, writer })
    }

    /// The TLS of outgoing requests, without which no HTTP client can be made in this process.
    pub fn provide_tls() {
        // A second installation is refused, which is what we want.
        drop(rustls::crypto::ring::default_provider().install_default());
    }

    /// The address it listens at, with the port the system gave.
    pub fn address(&self) -> SocketAddr {
        self.listener.local_addr().unwrap_or_else(|_| SocketAddr::from(([127, 0, 0, 1], 0)))
    }

    /// The same as a web address.
    pub fn url(&self) -> String {
        let scheme = if self.state.certificate.is_some() { "https" } else { "http" };
        format!("{scheme}://{}", self.address())
    }

    /// The state, for whoever drives the service step by step.
    pub fn state(&self) -> &Arc<State> {
        &self.state
    }

    /// Tells everything that is due now. Returns how many alerts were told.
    ///
    /// # Errors
    /// When the store failed.
    pub async fn alarm_step(state: &Arc<State>) -> Result<usize, crate::problem::Problem> {
        alarm::step(state).await
    }

    /// Tries every delivery that is due now. Returns how many were tried.
    ///
    /// # Errors
    /// When the outbox cannot be read or written.
    pub async fn delivery_step(state: &Arc<State>) -> Result<usize, crate::problem::Problem> {
        let client = channel::client(state).map_err(|e| {
            crate::problem::Problem::new(crate::problem::Kind::Internal, e.to_string(), "the log says more")
        })?;
        rounds::step(state, &client).await
    }

    /// Reads the scripts folder now, as after a change. Returns how many rules came in force.
    ///
    /// # Errors
    /// When the store failed.
    pub async fn scripts_step(state: &Arc<State>) -> Result<usize, crate::problem::Problem> {
        scripts::read_folder(state).await
    }

    /// Takes in what other instances on the same database said.
    ///
    /// # Errors
    /// When the database is not reached.
    pub async fn follow_step(state: &Arc<State>) -> Result<(), crate::problem::Problem> {
        state.follow().await
    }

    /// Runs one recurring job now.
    ///
    /// # Errors
    /// What the job met.
    pub async fn recurring_step(state: &Arc<State>, job: &str) -> Result<(), crate::problem::Problem> {
        recurring::run_job(state, job).await
    }

    /// Looks at the certificate now, as after a change. Whether there was another.
    ///
    /// # Errors
    /// Why the new one cannot be used; the old one goes on.
    pub fn certificate_step(state: &Arc<State>) -> Result<bool, crate::settings::SettingsError> {
        state.certificate.as_ref().map_or(Ok(false), |certificate| certificate.look())
    }

    /// Serves until `stop` is cancelled, with every task beside it when `tasks` is set; then stops them all.
    ///
    /// # Errors
    /// When the server fails.
    pub async fn run(self, stop: CancellationToken, tasks: bool) -> Result<(), StartError> {
        let Self { state, listener, writer } = self;
        let tracker = TaskTracker::new();
        if tasks {
            start_tasks(&state, &tracker, &stop);
        }
        let served = serve(&state, listener, &tracker, &stop).await;
        // Whatever ended the server ends the tasks too.
        stop.cancel();
        state.stop.cancel();
        tracker.close();
        if tokio::time::timeout(DEADLINE, tracker.wait()).await.is_err() {
            tracing::error!("a task did not end within {DEADLINE:?}");
        }
        state.writer.stop();
        let joined = tokio::task::spawn_blocking(move || writer.join()).await;
        if !matches!(joined, Ok(Ok(()))) {
            tracing::error!("the writer did not end cleanly");
        }
        served
    }
}

/// The one place where long tasks start.
fn start_tasks(state: &Arc<State>, tracker: &TaskTracker, stop: &CancellationToken) {
    if state.doubt().is_some() {
        tracker.spawn(believed::wait(state.clone(), stop.clone()));
    }
    tracker.spawn(alarm::run(state.clone(), stop.clone()));
    tracker.spawn(rounds::run(state.clone(), stop.clone()));
    tracker.spawn(recurring::run(state.clone(), stop.clone()));
    tracker.spawn(plan::run(state.clone(), stop.clone()));
    if state.others.may_be() {
        tracker.spawn(others::run(state.clone(), stop.clone()));
        tracker.spawn(scripts::follow::run(state.clone(), stop.clone()));
    }
    if !state.settings.mqtt.url.is_empty() {
        tracker.spawn(mqtt::run(state.clone(), stop.clone()));
    }
    if let Some(certificate) = &state.certificate {
        tracker.spawn(certificate::watch(certificate.clone(), stop.clone()));
    }
    if state.settings.scripts.watch {
        tracker.spawn(scripts::watch(state.clone(), stop.clone()));
    }
}

async fn serve(
    state: &Arc<State>,
    listener: TcpListener,
    tracker: &TaskTracker,
    stop: &CancellationToken,
) -> Result<(), StartError> {
    let data = web::Data::new(state.clone());
    let workers = state.settings.server.workers;
    let limit = state.settings.server.body_limit_kib * 1024;
    let app = move || {
        App::new()
            .app_data(data.clone())
            .app_data(web::PayloadConfig::new(limit))
            .wrap(from_fn(access::gate))
            .wrap(from_fn(pages::as_page))
            .wrap(from_fn(routes::as_problem))
            .wrap(from_fn(access::secured))
            .configure(routes::configure)
    };
    let patience = Duration::from_secs(state.settings.server.slow_reader_seconds.into());
    let server = HttpServer::new(app)
        .on_connect(move |io, _| close_when_stuck(io, patience))
        .workers(workers)
        .disable_signals()
        .shutdown_timeout(LAST_REQUESTS_S);
    let server = match &state.certificate {
        Some(certificate) => server.listen_rustls_0_23(listener, certificate.config()),
        None => server.listen(listener),
    };
    let server = server.map_err(io("listening"))?.run();
    let (handle, stop, streams) = (server.handle(), stop.clone(), state.stop.clone());
    tracker.spawn(async move {
        stop.cancelled().await;
        // Event streams end first: the server waits for its connections.
        streams.cancel();
        handle.stop(true).await;
    });
    server.await.map_err(io("serving"))
}

/// Has the system close a connection whose other end takes nothing for so long. What waits for it is bounded, but it
/// would wait for ever, and an export holds the log of the journal open meanwhile.
fn close_when_stuck(io: &dyn std::any::Any, patience: Duration) {
    #[cfg(target_os = "linux")]
    let plain = io.downcast_ref::<TcpStream>();
    #[cfg(target_os = "linux")]
    if let Some(stream) = plain.or_else(|| io.downcast_ref::<TlsStream<TcpStream>>().map(|tls| tls.get_ref().0))
        && let Err(error) = socket2::SockRef::from(stream).set_tcp_user_timeout(Some(patience))
    {
        tracing::warn!(%error, "a connection has no limit of patience");
    }
}

/// Reads the journal into the bench: zones and calibrations first and readings next, so that each clock is summed once. Gives the
/// place of the last fact, and the latest time at which anything was recorded or read, ms.
fn replay(bench: &mut Bench, rulebook: &Rulebook, database: &mut dyn Database) -> Result<(i64, i64), StartError> {
    for first in ["zone_set", "hygrometer_calibrated"] {
        database.facts_of(first)?.iter().for_each(|fact| bench.take(fact));
    }
    let zones: Vec<_> = bench.zones().map(|zone| zone.id.clone()).collect();
    for zone in &zones {
        database.readings(zone, i64::MIN, &mut |reading| bench.take_reading(&reading))?;
    }
    let read_ms = zones.iter().filter_map(|zone| Some(bench.timeline(zone.as_str())?.last()?.0)).max();
    let mut last_ms = read_ms.unwrap_or(i64::MIN);
    let last_seq = each_fact(database, |fact| {
        last_ms = last_ms.max(fact.recorded_at.timestamp_millis());
        remember(rulebook, &fact.fact);
        if !matches!(fact.fact, Fact::ZoneSet(_) | Fact::HygrometerCalibrated(_)) {
            bench.take(&fact);
        }
    })?;
    Ok((last_seq, last_ms))
}

fn each_fact(database: &mut dyn Database, mut each: impl FnMut(facts::Recorded)) -> Result<i64, StartError> {
    let mut seq = 0;
    loop {
        let page = database.facts_after(seq, PAGE)?;
        let Some(last) = page.last() else { return Ok(seq) };
        seq = last.seq;
        page.into_iter().for_each(&mut each);
    }
}
