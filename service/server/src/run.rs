//! Building and running the service: open every shop, start every task, stop them all within a deadline.

use std::{
    net::{SocketAddr, TcpListener},
    sync::Arc,
    time::Duration,
};

use actix_tls::accept::rustls_0_23::TlsStream;
use actix_web::{App, HttpServer, middleware::from_fn, rt::net::TcpStream, web};
use tokio_util::{sync::CancellationToken, task::TaskTracker};

use crate::{
    access,
    alerts::{alarm, channel, rounds},
    certificate::{self, Certificate},
    now::Now,
    pages, recurring, routes, scripts,
    settings::Settings,
    shop::Door,
    shops::{self, Shops},
    state::State,
};

/// Longest a stopping service waits for requests under way, seconds.
const LAST_REQUESTS_S: u64 = 3;
/// Longest it then waits for its tasks. Together less than five seconds, and nothing acknowledged hangs on either.
const DEADLINE: Duration = Duration::from_millis(1500);

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

pub(crate) fn io(what: impl Into<String>) -> impl FnOnce(std::io::Error) -> StartError {
    let what = what.into();
    |source| StartError::Io { what, source }
}

/// A service that has an address and has opened its shops, and does not serve yet.
pub struct Service {
    shops: Arc<Shops>,
    listener: TcpListener,
}

impl Service {
    /// Takes the address, and opens the shops of the settings: one that cannot be opened is tried again while the others
    /// are served.
    ///
    /// # Errors
    /// A sentence that names the setting, the file or the address; when no shop can be opened, why the first cannot.
    pub async fn build(settings: Settings, now: Now) -> Result<Self, StartError> {
        Self::provide_tls();
        let address = shops::address(&settings)?;
        let certificate = Certificate::of(&settings.server)?;
        let listener = TcpListener::bind(address).map_err(io(format!("listening at {address} (server.listen)")))?;
        let shops = Arc::new(Shops::open(settings, Door { address, certificate, now, judging: Arc::default() }).await?);
        Ok(Self { shops, listener })
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
        let scheme = if self.shops.door.certificate.is_some() { "https" } else { "http" };
        format!("{scheme}://{}", self.address())
    }

    /// The state of its shop, or of the first of several that is open, for whoever drives the service step by step.
    ///
    /// # Panics
    /// Never: a service without an open shop is not built.
    pub fn state(&self) -> &Arc<State> {
        self.shops.opened().next().expect("a service is built with an open shop").state.get_ref()
    }

    /// The state of the shop of a name, if it is open.
    pub fn shop(&self, name: &str) -> Option<&Arc<State>> {
        self.shops.of_name(name)
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
        let Self { shops, listener } = self;
        let tracker = TaskTracker::new();
        if tasks {
            shops.start_tasks(&tracker, &stop);
            if let Some(certificate) = &shops.door.certificate {
                tracker.spawn(certificate::watch(certificate.clone(), stop.clone()));
            }
        }
        let served = serve(&shops, listener, &tracker, &stop).await;
        // Whatever ended the server ends the tasks too.
        stop.cancel();
        shops.end_streams();
        tracker.close();
        if tokio::time::timeout(DEADLINE, tracker.wait()).await.is_err() {
            tracing::error!("a task did not end within {DEADLINE:?}");
        }
        shops.close().await;
        served
    }
}

async fn serve(
    shops: &Arc<Shops>,
    listener: TcpListener,
    tracker: &TaskTracker,
    stop: &CancellationToken,
) -> Result<(), StartError> {
    let data = web::Data::from(shops.clone());
    let of_server = &shops.settings.server;
    let limit = of_server.body_limit_kib * 1024;
    let app = move || {
        App::new()
            .app_data(data.clone())
            .app_data(web::PayloadConfig::new(limit))
            .wrap(from_fn(access::gate))
            .wrap(from_fn(pages::as_page))
            .wrap(from_fn(routes::as_problem))
            .wrap(from_fn(access::secured))
            // What is wrapped last is asked first.
            .wrap(from_fn(shops::enter))
            .configure(routes::configure)
    };
    let patience = Duration::from_secs(of_server.slow_reader_seconds.into());
    let server = HttpServer::new(app)
        .on_connect(move |io, _| close_when_stuck(io, patience))
        .workers(of_server.workers)
        .disable_signals()
        .shutdown_timeout(LAST_REQUESTS_S);
    let server = match &shops.door.certificate {
        Some(certificate) => server.listen_rustls_0_23(listener, certificate.config()),
        None => server.listen(listener),
    };
    let server = server.map_err(io("listening"))?.run();
    let (handle, stop, ending) = (server.handle(), stop.clone(), shops.clone());
    tracker.spawn(async move {
        stop.cancelled().await;
        ending.end_streams();
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
