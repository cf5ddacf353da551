//! What is done on the service's own machine: serving, checking, backing up, restoring, filling an empty shop.

use std::{
    io::BufReader,
    path::{Path, PathBuf},
    sync::Arc,
};

use rules::Rulebook;
use sd_notify::NotifyState;
use store::{Database, Sqlite};
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio_util::sync::CancellationToken;

use crate::{
    demo,
    now::Now,
    run::{Service, StartError},
    scripts,
    settings::Settings,
    whole,
};

pub(super) fn demo_settings(
    listen: String,
    folder: &Path,
    scripts: PathBuf,
    time_zone: String,
) -> Result<Settings, StartError> {
    for name in ["demo.db", "demo.db-wal", "demo.db-shm"] {
        let old = folder.join(name);
        if old.exists() {
            let what = format!("replacing the old demo {}", old.display());
            std::fs::remove_file(&old).map_err(|source| StartError::Io { what, source })?;
        }
    }
    let mut settings = Settings::default();
    settings.shop.name = "Thistledown Fretworks (invented)".into();
    settings.shop.time_zone = time_zone;
    settings.server.listen = listen;
    settings.store.path = folder.join("demo.db");
    settings.store.backups = folder.join("backups");
    settings.store.photos = folder.join("photos");
    settings.scripts.folder = scripts;
    Ok(settings)
}

/// Serves; `demo` is the clock that the demo is lived by, when there is one.
pub(super) async fn serve(settings: Settings, demo: Option<Now>) -> Result<(), StartError> {
    allow_many_connections();
    let now = demo.clone().unwrap_or_else(Now::system);
    let service = Service::build(settings, now.clone()).await?;
    if demo.is_some() {
        println!("Living through ten days of an invented shop ...");
        demo::fill(service.state(), now.ms()).await?;
    }
    // Before anybody is told that it serves: whoever started it may end it at once.
    let interrupt = interrupted();
    notify(NotifyState::Ready);
    println!("The board is at {}/ (stop it with Ctrl-C)", service.url());
    let stop = CancellationToken::new();
    let ended = stop.clone();
    let served = service.run(stop, true);
    tokio::pin!(served);
    tokio::select! {
        done = &mut served => return done,
        () = interrupt => {
            notify(NotifyState::Stopping);
            ended.cancel();
        }
    }
    served.await
}

/// A connection is a file, and a shell lets a program have 1,024 of them unless it asks for more.
fn allow_many_connections() {
    if let Err(e) = rlimit::increase_nofile_limit(u64::MAX) {
        tracing::info!(error = %e, "the limit of open files stays as it is");
    }
}

/// Tells systemd, where that started it.
fn notify(state: NotifyState<'_>) {
    if let Err(e) = sd_notify::notify(&[state]) {
        tracing::warn!(error = %e, "systemd was not told");
    }
}

/// Listens for an interrupt or a termination from here on; the future ends when one comes.
fn interrupted() -> impl Future<Output = ()> {
    let listen = |kind| signal(kind).ok();
    let (mut interrupt, mut terminate) = (listen(SignalKind::interrupt()), listen(SignalKind::terminate()));
    async move {
        tokio::select! {
            Some(()) = heard(&mut interrupt) => {}
            Some(()) = heard(&mut terminate) => {}
            else => std::future::pending().await,
        }
    }
}

async fn heard(signal: &mut Option<Signal>) -> Option<()> {
    signal.as_mut()?.recv().await
}

pub(super) fn check(settings: &Settings) -> Result<(), StartError> {
    let folder = &settings.scripts.folder;
    let files =
        scripts::rule_files(folder).map_err(|source| StartError::Io { what: "scripts.folder".into(), source })?;
    let book = Arc::new(Rulebook::new());
    let mut faults = 0;
    for file in files {
        match file.and_then(|file| book.check(&file.file, &file.text).map(|rule| (file.file, rule))) {
            Ok((file, rule)) => println!("{file}: good ({}, version {})", rule.sheet.name, rule.version),
            Err(fault) => {
                faults += 1;
                println!("{fault}\n    {}", fault.mend);
            }
        }
    }
    let files =
        scripts::shop_files(folder).map_err(|source| StartError::Io { what: "scripts.folder".into(), source })?;
    let hooks = rules::Hooks::default();
    for fault in hooks.replace(files) {
        faults += 1;
        println!("{fault}\n    {}", fault.mend);
    }
    for tally in hooks.tallies() {
        println!("{}: good ({})", tally.file, tally.hook);
    }
    println!("settings: good");
    match faults {
        0 => Ok(()),
        n => Err(StartError::Problem(crate::problem::Problem::new(
            crate::problem::Kind::RuleFault,
            format!("{n} script(s) have a fault"),
            "mend the lines named above",
        ))),
    }
}

pub(super) fn backup(settings: &Settings, to: &Path) -> Result<(), StartError> {
    if to.exists() {
        let source = std::io::Error::from(std::io::ErrorKind::AlreadyExists);
        return Err(StartError::Io { what: format!("{} (give a new file)", to.display()), source });
    }
    if !settings.store.path.exists() {
        let source = std::io::Error::from(std::io::ErrorKind::NotFound);
        return Err(StartError::Io { what: format!("{} (store.path)", settings.store.path.display()), source });
    }
    let mut database = Sqlite::open(&settings.store.path, &settings.shop.id)?;
    database.backup(to)?;
    println!("{} is a whole, checked copy", to.display());
    Ok(())
}

/// Makes the folder of the journal; whether something is in the way is the store's to say.
pub(super) fn folder_of(settings: &Settings) -> Result<(), StartError> {
    let folder = settings.store.path.parent().filter(|folder| !folder.as_os_str().is_empty());
    folder
        .map_or(Ok(()), std::fs::create_dir_all)
        .map_err(|source| StartError::Io { what: "store.path".into(), source })
}

pub(super) fn restore(settings: &Settings, from: &Path) -> Result<(), StartError> {
    folder_of(settings)?;
    let (facts, readings) = store::restore(from, &settings.store.path)?;
    println!("{}: {facts} facts and {readings} readings are back", settings.store.path.display());
    Ok(())
}

pub(super) fn import(settings: &Settings, from: &Path) -> Result<(), StartError> {
    let path = &settings.store.path;
    let file =
        std::fs::File::open(from).map_err(|source| StartError::Io { what: from.display().to_string(), source })?;
    folder_of(settings)?;
    let fresh = !path.exists();
    let mut database = Sqlite::open(path, &settings.shop.id)?;
    let imported = database.import(&mut whole::rows(BufReader::new(file)));
    drop(database);
    if imported.is_err() && fresh {
        // An empty journal would be in the way of the next try.
        for ending in ["", "-wal", "-shm"] {
            drop(std::fs::remove_file(format!("{}{ending}", path.display())));
        }
    }
    println!("{}: {} rows were taken in", path.display(), imported?);
    Ok(())
}
