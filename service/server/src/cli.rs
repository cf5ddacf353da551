//! The command line: serve, demo, check, backup.
#![expect(clippy::print_stdout, reason = "a command line speaks on standard output")]

use std::{
    path::{Path, PathBuf},
    process::ExitCode,
    sync::Arc,
};

use clap::{Parser, Subcommand};
use rules::Rulebook;
use store::{Database, Sqlite};
use tokio::signal::unix::{Signal, SignalKind, signal};
use tokio_util::sync::CancellationToken;
use tracing_subscriber::EnvFilter;

use crate::{
    demo,
    now::Now,
    run::{Service, StartError},
    scripts,
    settings::Settings,
};

/// The bench's clock: when can this clamp come off, when can this coat be sanded, what is next.
///
/// Register each glue-up and coat as it happens, post what the hygrometer reads, and it integrates the cure over the
/// air there was and the air to come. Every time it gives is an estimate, never a guarantee.
#[derive(Parser)]
#[command(
    version,
    after_help = "Start with: benchclock demo\nExit codes: 0 done, 1 it failed, 2 the words were wrong."
)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Serve the shop whose settings are given.
    ///
    /// Reads the journal, tells what came due while it was down, and listens until it is interrupted.
    Serve {
        /// The settings file; without it every key has its default. Environment variables stand above it:
        /// BENCHCLOCK_SERVER_LISTEN is server.listen.
        #[arg(long)]
        config: Option<PathBuf>,
    },
    /// Serve an invented shop with ten days behind it, to look at and to try things on.
    ///
    /// It is made anew each time, in a folder of its own, and touches no other journal.
    Demo {
        /// Where to listen.
        #[arg(long, default_value = "127.0.0.1:8080")]
        listen: String,
        /// Where to keep it; whatever demo was there before is replaced.
        #[arg(long, default_value = "data/demo")]
        folder: PathBuf,
        /// Folder with the rules.
        #[arg(long, default_value = "scripts")]
        scripts: PathBuf,
        /// IANA time zone of the demo shop.
        #[arg(long, default_value = "UTC")]
        time_zone: String,
    },
    /// Check settings and rules without starting anything.
    ///
    /// Runs every rule's own table of expected values. Says which file, line and column to mend.
    Check {
        /// The settings file.
        #[arg(long)]
        config: Option<PathBuf>,
    },
    /// Copy the journal to a new file, whole and checked, also while the service runs.
    Backup {
        /// The file to make; it must not be there yet.
        to: PathBuf,
        /// The settings file.
        #[arg(long)]
        config: Option<PathBuf>,
    },
}

/// Runs the command the process was started with.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    let filter = EnvFilter::try_from_env("BENCHCLOCK_LOG").unwrap_or_else(|_| EnvFilter::new("info"));
    tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr).init();
    let runtime = match tokio::runtime::Builder::new_multi_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(e) => return failed(&e),
    };
    let done = runtime.block_on(async {
        match cli.command {
            Command::Serve { config } => serve(Settings::load(config.as_deref())?, None).await,
            Command::Demo { listen, folder, scripts, time_zone } => {
                let settings = demo_settings(listen, &folder, scripts, time_zone)?;
                let now = Now::system();
                serve(settings, Some(now)).await
            }
            Command::Check { config } => check(&Settings::load(config.as_deref())?),
            Command::Backup { to, config } => backup(&Settings::load(config.as_deref())?, &to),
        }
    });
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => failed(&e),
    }
}

fn failed(error: &dyn std::fmt::Display) -> ExitCode {
    tracing::error!("{error}");
    ExitCode::FAILURE
}

fn demo_settings(listen: String, folder: &Path, scripts: PathBuf, time_zone: String) -> Result<Settings, StartError> {
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
async fn serve(settings: Settings, demo: Option<Now>) -> Result<(), StartError> {
    let now = demo.clone().unwrap_or_else(Now::system);
    let service = Service::build(settings, now.clone()).await?;
    if demo.is_some() {
        println!("Living through ten days of an invented shop ...");
        demo::fill(service.state(), now.ms()).await?;
    }
    // Before anybody is told that it serves: whoever started it may end it at once.
    let interrupt = interrupted();
    println!("The board is at http://{}/ (stop it with Ctrl-C)", service.address());
    let stop = CancellationToken::new();
    let ended = stop.clone();
    let served = service.run(stop, true);
    tokio::pin!(served);
    tokio::select! {
        done = &mut served => return done,
        () = interrupt => ended.cancel(),
    }
    served.await
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

fn check(settings: &Settings) -> Result<(), StartError> {
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

fn backup(settings: &Settings, to: &Path) -> Result<(), StartError> {
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
