//! The shops this service serves, and whose a request is. Each is a whole bench of its own (`shop.rs`), with a journal,
//! writer, rules, tokens, limits and meters that no other knows of; what they share is the process and its door.
//!
//! The wall stands in one place: `enter` gives a request the state of the shop it asks for by name, or none, and no handler
//! has another way to a state. A service of one shop without names is this with a list of one.

use std::{
    net::SocketAddr,
    rc::Rc,
    sync::{Arc, Mutex, OnceLock, PoisonError},
    time::Duration,
};

use actix_web::{
    Error,
    body::MessageBody,
    dev::{Extensions, ServiceRequest, ServiceResponse},
    http::Method,
    middleware::Next,
    web,
};
use futures_util::future::join_all;
use tokio_util::{sync::CancellationToken, task::TaskTracker};
use tracing::{Instrument, Span};

use crate::{
    access::{Caller, host},
    problem::{Kind, Problem},
    routes::{Answer, OfOne, alive, readiness, ready_of_all, stuck},
    run::StartError,
    settings::{NamedShop, Settings},
    shop::{Door, Open},
    state::State,
};

/// How often a shop that could not be opened is tried again.
const AGAIN: Duration = Duration::from_secs(5);
/// How often the system's watchdog is told that all is well, and how long ago alarms may have been looked at for that. They
/// are looked at every five seconds at least.
const WATCHED: Duration = Duration::from_secs(5);
const FRESH: Duration = Duration::from_secs(10);

/// Every shop of the service.
pub(crate) struct Shops {
    /// Those of the service, above which stand each shop's own.
    pub(crate) settings: Settings,
    pub(crate) door: Door,
    all: Vec<OneShop>,
}

struct OneShop {
    named: NamedShop,
    /// What is logged within it bears its name.
    span: Span,
    open: OnceLock<Open>,
    /// Why it is not open.
    why: Mutex<String>,
}

impl Shops {
    /// Tries to open every shop, all at once. One that fails is tried again while the others are served.
    ///
    /// # Errors
    /// When none can be opened: why the first cannot.
    pub(crate) async fn open(settings: Settings, door: Door) -> Result<Self, StartError> {
        let one = |named: NamedShop| {
            let span = match named.name.as_str() {
                "" => Span::none(),
                name => tracing::error_span!("shop", name),
            };
            OneShop { named, span, open: OnceLock::new(), why: Mutex::default() }
        };
        let all = settings.served().into_iter().map(one).collect();
        let shops = Self { settings, door, all };
        let places = 0..shops.all.len();
        let failed = join_all(places.map(async |place| shops.try_to_open(place).await.err())).await;
        match failed.into_iter().collect::<Option<Vec<_>>>().and_then(|all| all.into_iter().next()) {
            Some(first) => Err(first),
            None => Ok(shops),
        }
    }

    async fn try_to_open(&self, place: usize) -> Result<&Open, StartError> {
        let shop = &self.all[place];
        let opened = async {
            let own = self.settings.of_shop(place)?;
            // A file that was mended meanwhile may name what is another's by now.
            for other in self.all.iter().filter(|other| other.named != shop.named) {
                if let Some(open) = other.open.get() {
                    own.apart_from(&other.named.name, &open.state.settings)?;
                }
            }
            Open::open(own, &self.settings.scripts.folder, &self.door, shop.span.clone()).await
        };
        let several = !shop.named.name.is_empty();
        match opened.await {
            Ok(open) => {
                if several {
                    shop.span.in_scope(|| tracing::info!(hosts = ?shop.named.hosts, "the shop is open"));
                }
                Ok(shop.open.get_or_init(|| open))
            }
            Err(error) => {
                let why = error.to_string();
                let mut known = shop.why.lock().unwrap_or_else(PoisonError::into_inner);
                // Said once: it is tried every few seconds.
                if several && *known != why {
                    shop.span.in_scope(|| tracing::error!(why, "the shop is not open; it is tried again"));
                }
                *known = why;
                drop(known);
                Err(error)
            }
        }
    }

    /// Those that are open, in their order.
    pub(crate) fn opened(&self) -> impl Iterator<Item = &Open> {
        self.all.iter().filter_map(|shop| shop.open.get())
    }

    /// The shop of a name, if it is open.
    pub(crate) fn of_name(&self, name: &str) -> Option<&Arc<State>> {
        let shop = self.all.iter().find(|shop| shop.named.name == name)?;
        Some(shop.open.get()?.state.get_ref())
    }

    /// Starts the tasks of every open shop.
    pub(crate) fn start_tasks(self: &Arc<Self>, tracker: &TaskTracker, stop: &CancellationToken) {
        for shop in &self.all {
            if let Some(open) = shop.open.get() {
                open.start_tasks(tracker, stop, &shop.span);
            }
        }
        tracker.spawn(self.clone().watch(stop.clone()));
        tracker.spawn(self.clone().open_the_rest(tracker.clone(), stop.clone()));
    }

    /// Tries those that are not open again and again, until all are.
    async fn open_the_rest(self: Arc<Self>, tracker: TaskTracker, stop: CancellationToken) {
        let closed = || (0..self.all.len()).filter(|place| self.all[*place].open.get().is_none());
        while closed().next().is_some() {
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(AGAIN) => {}
            }
            let tried = closed().map(async |place| {
                // Why not is kept, and was said.
                let Ok(open) = self.try_to_open(place).await else { return };
                open.start_tasks(&tracker, &stop, &self.all[place].span);
            });
            tokio::select! {
                () = stop.cancelled() => return,
                _ = join_all(tried) => {}
            }
        }
    }

    /// Tells the system's watchdog, where there is one, that the alarms of every open shop are looked at: a service that looks
    /// at none is of no use, however well it answers.
    async fn watch(self: Arc<Self>, stop: CancellationToken) {
        loop {
            let fresh = |open: &Open| open.state.alarm_looks.since().is_some_and(|since| since <= FRESH);
            if self.opened().all(fresh) {
                // Without a watchdog there is nobody to tell.
                drop(sd_notify::notify(&[sd_notify::NotifyState::Watchdog]));
            }
            tokio::select! {
                () = stop.cancelled() => return,
                () = tokio::time::sleep(WATCHED) => {}
            }
        }
    }

    /// Ends the event streams of all: the server waits for its connections.
    pub(crate) fn end_streams(&self) {
        self.opened().for_each(|open| open.state.stop.cancel());
    }

    /// Ends every writer when everything said is on disk.
    pub(crate) async fn close(&self) {
        join_all(self.opened().map(Open::close)).await;
    }

    fn asked(&self, host: Option<&str>) -> Option<&OneShop> {
        self.all.iter().find(|shop| shop.named.is_asked_by(host))
    }
}

/// Where a service listens, by its settings.
///
/// # Errors
/// When it is no address.
pub(crate) fn address(settings: &Settings) -> Result<SocketAddr, crate::settings::SettingsError> {
    settings.server.listen.parse().map_err(|_| crate::settings::SettingsError {
        key: "server.listen".into(),
        what: "is no address".into(),
        mend: "write 127.0.0.1:8080".into(),
    })
}

/// The first thing that is done with a request: it is given the state of the shop it asks for, and of no other.
pub(crate) async fn enter<B: MessageBody>(
    mut request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<B>, Error> {
    let mut span = Span::none();
    let shops = request.app_data::<web::Data<Shops>>().cloned();
    if let Some(shops) = &shops {
        let host = host::named(request.request(), &shops.settings.server.trusted_proxies);
        if let Some(shop) = shops.asked(host.as_deref())
            && let Some(open) = shop.open.get()
        {
            let mut own = Extensions::new();
            own.insert(open.state.clone());
            request.add_data_container(Rc::new(own));
            span = shop.span.clone();
        }
    }
    next.call(request).instrument(span).await
}

/// What is answered to a request that was given no shop: how the service is, on its own machine; else why there is none.
pub(crate) async fn outside(request: &ServiceRequest) -> Answer {
    let nobody = || Problem::new(Kind::Internal, "this service has no shop", "the log says more");
    let shops = request.app_data::<web::Data<Shops>>().ok_or_else(nobody)?;
    let host = host::named(request.request(), &shops.settings.server.trusted_proxies);
    if shops.asked(host.as_deref()).is_some() {
        let mend = "send it again in a minute; whoever runs the service finds why in its log and at its /health/ready";
        return Err(Problem::new(Kind::Unavailable, "this shop is not open just now", mend));
    }
    let caller = Caller::of(request.request(), &shops.settings);
    match (request.method(), request.path()) {
        (&Method::GET, "/health/live") if caller.local => alive(shops.opened().find_map(|open| stuck(&open.state))),
        (&Method::GET, "/health/ready") if caller.local => {
            let each = shops.all.iter().map(async |shop| {
                let name = shop.named.name.clone();
                match shop.open.get() {
                    Some(open) => OfOne { name, why: readiness(&open.state).await.why },
                    None => OfOne { name, why: vec![shop.why.lock().unwrap_or_else(PoisonError::into_inner).clone()] },
                }
            });
            // Which shops there are is for whoever needs no token here.
            Ok(ready_of_all(join_all(each).await, caller.here))
        }
        _ => {
            let what = match host {
                Some(host) => format!("no shop here is asked for by the name \"{host}\""),
                None => "the request names no host, or more than one".into(),
            };
            let mend =
                "ask by the shop's own name, which whoever runs the service lists in shops.hosts of its settings";
            Err(Problem::new(Kind::Misdirected, what, mend))
        }
    }
}
