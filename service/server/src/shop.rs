//! One shop, opened: its journal replayed, its writer on a thread of its own, its rules in force. Its tasks, and its end.

use std::{
    net::SocketAddr,
    path::Path,
    sync::{Arc, Mutex, PoisonError},
    thread::JoinHandle,
};

use actix_web::web::Data;
use clock::{Bench, Laws, UsualDay};
use facts::Fact;
use rules::Rulebook;
use store::{Database, Writer};
use tokio_util::{sync::CancellationToken, task::TaskTracker};
use tracing::{Instrument, Span};

use crate::{
    access,
    alerts::{alarm, rounds},
    believed::{self, Believed},
    certificate::Certificate,
    earlier,
    intake::mqtt,
    keys::Keys,
    now::Now,
    others::{self, Others},
    plan,
    problem::{Kind, Problem},
    recurring,
    run::{StartError, io},
    scripts,
    settings::Settings,
    state::{BenchKeeper, Parts, Shared, State, remember},
};

/// Facts read from the journal at once.
const PAGE: usize = 4096;

/// What all shops of a service share.
#[derive(Clone)]
pub(crate) struct Door {
    /// Where it listens.
    pub(crate) address: SocketAddr,
    /// What it shows of itself over TLS, where it has TLS.
    pub(crate) certificate: Option<Arc<Certificate>>,
    pub(crate) now: Now,
    /// One shop at a time has its rules judged as it opens: each may take only so long, and takes all processors.
    pub(crate) judging: Arc<tokio::sync::Mutex<()>>,
}

/// A shop that is open.
pub(crate) struct Open {
    /// Its state, as handlers take it.
    pub(crate) state: Data<Arc<State>>,
    writer: Mutex<Option<JoinHandle<()>>>,
}

impl Open {
    /// Opens the journal, replays it, and reads the rules; `usual` is the folder whose rules a shop begins with that has
    /// none. What it says in the log stands under `span`.
    ///
    /// # Errors
    /// A sentence that names the setting or the file.
    pub(crate) async fn open(settings: Settings, usual: &Path, door: &Door, span: Span) -> Result<Self, StartError> {
        let judging = door.judging.clone();
        let (usual, door, within) = (usual.to_path_buf(), door.clone(), span.clone());
        let replayed = tokio::task::spawn_blocking(move || {
            within.in_scope(|| {
                furnish(&settings.scripts.folder, &usual).map_err(io("copying the rules to scripts.folder"))?;
                replayed(settings, door)
            })
        });
        let failed = |_| Problem::new(Kind::Internal, "reading the journal failed", "the log says more");
        let (parts, writer) = replayed.await.map_err(failed)??;
        let opened = Self { state: Data::new(Arc::new(State::new(parts))), writer: Mutex::new(Some(writer)) };
        let read = async {
            let _alone = judging.lock().await;
            match opened.state.doubt() {
                None => scripts::read_folder(&opened.state).await.map(drop),
                Some(why) => {
                    tracing::error!(%why, "holding");
                    Ok(())
                }
            }
        };
        if let Err(problem) = read.instrument(span).await {
            opened.close().await;
            return Err(problem.into());
        }
        Ok(opened)
    }

    /// The one place where the long tasks of a shop start.
    pub(crate) fn start_tasks(&self, tracker: &TaskTracker, stop: &CancellationToken, span: &Span) {
        let state = || self.state.get_ref().clone();
        // From here on its alarms are to be looked at.
        self.state.alarm_looks.note();
        if self.state.doubt().is_some() {
            tracker.spawn(believed::wait(state(), stop.clone()).instrument(span.clone()));
        }
        tracker.spawn(alarm::run(state(), stop.clone()).instrument(span.clone()));
        tracker.spawn(rounds::run(state(), stop.clone()).instrument(span.clone()));
        tracker.spawn(recurring::run(state(), stop.clone()).instrument(span.clone()));
        tracker.spawn(plan::run(state(), stop.clone()).instrument(span.clone()));
        if self.state.others.may_be() {
            tracker.spawn(others::run(state(), stop.clone()).instrument(span.clone()));
            tracker.spawn(scripts::follow::run(state(), stop.clone()).instrument(span.clone()));
        }
        if !self.state.settings.mqtt.url.is_empty() {
            tracker.spawn(mqtt::run(state(), stop.clone()).instrument(span.clone()));
        }
        if self.state.settings.scripts.watch {
            tracker.spawn(scripts::watch(state(), stop.clone()).instrument(span.clone()));
        }
    }

    /// Ends the writer when everything said is on disk, and waits for it.
    pub(crate) async fn close(&self) {
        self.state.stop.cancel();
        self.state.writer.stop();
        let Some(writer) = self.writer.lock().unwrap_or_else(PoisonError::into_inner).take() else { return };
        let joined = tokio::task::spawn_blocking(move || writer.join()).await;
        if !matches!(joined, Ok(Ok(()))) {
            tracing::error!("the writer did not end cleanly");
        }
    }
}

/// Gives a shop that has no rules those a shop usually begins with.
fn furnish(folder: &Path, usual: &Path) -> std::io::Result<()> {
    if folder.exists() || !usual.is_dir() {
        return Ok(());
    }
    // Under another name until it is whole: half the rules would be taken for all of them.
    let part = folder.with_extension("part");
    if part.exists() {
        std::fs::remove_dir_all(&part)?;
    }
    copy_folder(usual, &part)?;
    std::fs::rename(&part, folder)
}

fn copy_folder(from: &Path, to: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(to)?;
    for entry in std::fs::read_dir(from)? {
        let (path, to) = (entry?.path(), |path: &Path| to.join(path.file_name().unwrap_or_default()));
        if path.is_dir() {
            copy_folder(&path, &to(&path))?;
        } else {
            // Not `copy`: rules that came with the program may be read-only, and these are the shop's to change.
            std::fs::write(to(&path), std::fs::read(&path)?)?;
        }
    }
    Ok(())
}

/// What a state is made of, and the writer's thread. Waits for disk and database: not for a thread that answers requests.
fn replayed(settings: Settings, door: Door) -> Result<(Parts, JoinHandle<()>), StartError> {
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
    access::may_listen(&settings, door.address, &database.tokens()?)?;
    let (reader, others) = (database.reopen()?, Others::of(database.as_mut())?);
    let shared = Arc::new(Shared::new(bench, last_seq, door.now));
    let keeper = BenchKeeper { shared: shared.clone(), rulebook: rulebook.clone() };
    let (sender, writer) =
        Writer::start(database, keeper, settings.store.waiting).map_err(io("starting the writer"))?;
    let believed = Believed::since(last_ms, settings.server.believe_clock);
    let certificate = door.certificate;
    let parts = Parts { shared, rulebook, writer: sender, reader, others, settings, zone, keys, certificate, believed };
    Ok((parts, writer))
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
