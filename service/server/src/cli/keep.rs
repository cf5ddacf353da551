//! What is done on the service's own machine: serving, checking, backing up, restoring, filling an empty shop.

use std::{
    io::BufReader,
    path::{Path, PathBuf},
    sync::Arc,
};

use rules::Rulebook;
use sd_notify::NotifyState;
use store::{Database, Sqlite, Tally};
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio_util::sync::CancellationToken;

use super::Of;
use crate::{
    demo, earlier, keys,
    now::Now,
    run::{Service, StartError},
    scripts,
    settings::{Settings, is_postgres},
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
    settings.scripts.folder = scripts;
    Ok(settings)
}

/// Serves; `demo` is the clock that the demo is lived by, when there is one.
pub(super) async fn serve(settings: Settings, demo: Option<Now>) -> Result<(), StartError> {
    allow_many_connections();
    let now = demo.clone().unwrap_or_else(Now::system);
    let now_ms = now.ms();
    if demo.is_some() {
        now.set(demo::begins_ms(now_ms));
    }
    let service = Service::build(settings, now.clone()).await?;
    if demo.is_some() {
        println!("Living through ten days of an invented shop ...");
        demo::fill(service.state(), now_ms).await?;
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

/// Checks the settings and rules of a shop, or of every shop where several are named and none is asked for.
pub(super) fn check(of: &Of) -> Result<(), StartError> {
    let all = Settings::load(of.config.as_deref())?;
    let places = match of.shop {
        None if !all.shops.is_empty() => 0..all.shops.len(),
        _ => of.place(&all.shops).map(|place| place..place + 1)?,
    };
    for place in places {
        all.shops.get(place).inspect(|shop| println!("shop {}", shop.name));
        let mut own = all.of_shop(place)?;
        if !own.scripts.folder.exists() {
            // Until its first start a shop has the rules that shops begin with.
            own.scripts.folder.clone_from(&all.scripts.folder);
        }
        check_shop(&own)?;
    }
    Ok(())
}

fn check_shop(settings: &Settings) -> Result<(), StartError> {
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
    must_be_there(settings)?;
    settings.store.open(&settings.shop.id)?.backup(to)?;
    println!("{} is a whole, checked copy", to.display());
    Ok(())
}

/// A journal in a file is not made by whoever asks for what is in it.
fn must_be_there(settings: &Settings) -> Result<(), StartError> {
    if settings.store.url.is_empty() && !settings.store.path.exists() {
        let source = std::io::Error::from(std::io::ErrorKind::NotFound);
        return Err(StartError::Io { what: format!("{} (store.path)", settings.store.path.display()), source });
    }
    Ok(())
}

/// Makes the folder of the journal; whether something is in the way is the store's to say.
pub(super) fn folder_of(path: &Path) -> Result<(), StartError> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty());
    folder
        .map_or(Ok(()), std::fs::create_dir_all)
        .map_err(|source| StartError::Io { what: "store.path".into(), source })
}

pub(super) fn restore(settings: &Settings, from: &Path) -> Result<(), StartError> {
    let path = &settings.store.path;
    folder_of(path)?;
    if settings.store.url.is_empty() {
        let (facts, readings) = store::restore(from, path)?;
        println!("{}: {facts} facts and {readings} readings are back", path.display());
        return Ok(());
    }
    // Brought up to date beside, so that the copy stays as it is.
    let beside = path.with_extension("restoring");
    forget_file(&beside);
    store::restore(from, &beside)?;
    let carried = Sqlite::open(&beside, &settings.shop.id)
        .and_then(|mut copy| store::carry(&mut copy, settings.store.open(&settings.shop.id)?.as_mut()));
    forget_file(&beside);
    tell(&carried?, "are back");
    Ok(())
}

/// Removes a database file that nobody wants, with what lies beside it.
fn forget_file(path: &Path) {
    for ending in ["", "-wal", "-shm"] {
        drop(std::fs::remove_file(format!("{}{ending}", path.display())));
    }
}

fn tell(carried: &Tally, what: &str) {
    let counts: Vec<String> = carried.counts().map(|(kind, n)| format!("{n} {kind}")).collect();
    println!("{} {what}", counts.join(", "));
}

pub(super) fn import(settings: &Settings, from: &Path) -> Result<(), StartError> {
    let path = &settings.store.path;
    let file =
        std::fs::File::open(from).map_err(|source| StartError::Io { what: from.display().to_string(), source })?;
    folder_of(path)?;
    let fresh = settings.store.url.is_empty() && !path.exists();
    let mut database = settings.store.open(&settings.shop.id)?;
    let imported = database.import(&mut whole::rows(BufReader::new(file)));
    drop(database);
    if imported.is_err() && fresh {
        // An empty journal would be in the way of the next try.
        forget_file(path);
    }
    let n = imported?;
    match settings.store.url.is_empty() {
        true => println!("{}: {n} rows were taken in", path.display()),
        false => println!("shop {}: {n} rows were taken in", settings.shop.id),
    }
    Ok(())
}

/// Carries the shop of the settings to another database: a PostgreSQL address, or a file.
pub(super) fn carry(settings: &Settings, to: &str) -> Result<(), StartError> {
    must_be_there(settings)?;
    let shop = &settings.shop.id;
    let mut from: Box<dyn Database> = match settings.store.url.as_str() {
        "" => Box::new(Sqlite::open_alone(&settings.store.path, shop)?),
        _ => settings.store.open(shop)?,
    };
    let mut there: Box<dyn Database> = if is_postgres(to) {
        settings.store.open_at(Some(to), shop)?
    } else {
        let file = Path::new(to);
        folder_of(file)?;
        Box::new(Sqlite::open(file, shop)?)
    };
    tell(&store::carry(from.as_mut(), there.as_mut())?, "were carried over and are the same there");
    let key = if is_postgres(to) { "store.url" } else { "store.path" };
    println!("Set {key} to it and start the service; what it was carried from stays as it is");
    Ok(())
}

/// Forgets what calendar addresses are made from; a new one is made at the next start.
pub(super) fn new_calendars(settings: &Settings) -> Result<(), StartError> {
    must_be_there(settings)?;
    let mut database = settings.store.open(&settings.shop.id)?;
    earlier::take_in(settings.store.folder(), database.as_mut())?;
    database.forget_file(keys::CALENDAR)?;
    println!("Every calendar has a new address once the service is started again, each instance of it");
    Ok(())
}
