//! The command line: at the bench it speaks to a running service, on its machine it serves and keeps the journal.
#![expect(clippy::print_stdout, reason = "a command line speaks on standard output")]

mod ask;
mod bench;
mod keep;
mod print;
mod token;

use std::{path::PathBuf, process::ExitCode, time::Duration};

use clap::{CommandFactory, Parser, Subcommand, ValueEnum};
use tracing_subscriber::{EnvFilter, fmt::MakeWriter};

use crate::{
    run::StartError,
    settings::{NamedShop, Settings, SettingsError, reference},
};
use ask::{Service, To};

const AFTER: &str = "Start with: benchclock demo

Exit codes: 0 done; 1 it failed here; 2 the words were wrong; 3 the service refused it, and says why;
4 the service was not reached, or could not do it just now.";

/// The bench's clock: when can this clamp come off, when can this coat be sanded, what is next.
///
/// Register each glue-up and coat as it happens, post what the hygrometer reads, and it integrates the cure over the
/// air there was and the air to come. Every time it gives is an estimate, never a guarantee.
#[derive(Parser)]
#[command(version, after_help = AFTER)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
#[expect(clippy::large_enum_variant, reason = "there is one of it, once")]
enum Command {
    #[command(flatten)]
    Bench(bench::Verb),
    /// Whether the service can do its work; the exit code says it too.
    Health {
        #[command(flatten)]
        to: To,
    },
    /// Take everything along: the shop as lines of JSON, or one table of it as CSV.
    ///
    /// The lines fill an empty shop again with `benchclock import`.
    Export {
        #[command(flatten)]
        to: To,
        /// The file to make; without it on standard output.
        #[arg(long)]
        file: Option<PathBuf>,
        /// One table, as CSV for a spreadsheet.
        #[arg(long)]
        table: Option<crate::whole::Table>,
    },
    /// Serve the shop whose settings are given, or every shop that they name.
    ///
    /// Reads each journal, tells what came due while it was down, and listens until it is interrupted.
    Serve {
        /// The settings file; without it every key has its default. Environment variables stand above it:
        /// BENCHCLOCK_SERVER_LISTEN is server.listen.
        #[arg(long)]
        config: Option<PathBuf>,
        /// The form of the log on standard error. BENCHCLOCK_LOG says how much: warn, info, debug.
        #[arg(long, value_enum, default_value_t = Log::Text)]
        log: Log,
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
    /// Give and take away the tokens that other machines show.
    ///
    /// Works on the journal of the settings, before its first start too; a running service knows of it within seconds.
    Token {
        #[command(subcommand)]
        verb: token::Verb,
        #[command(flatten)]
        of: Of,
    },
    /// Check settings and rules without starting anything.
    ///
    /// Runs every rule's own table of expected values. Says which file, line and column to mend.
    Check {
        #[command(flatten)]
        of: Of,
    },
    /// Print the settings file that shows every key with its default and what it means.
    ///
    /// It is made from the program itself: `benchclock settings > config/benchclock.toml` after a key has changed. With a
    /// settings file what is in force with it and the environment is printed, without secrets.
    Settings {
        #[command(flatten)]
        of: Of,
    },
    /// Copy the journal to a new file, whole and checked, also while the service runs.
    Backup {
        /// The file to make; it must not be there yet.
        to: PathBuf,
        #[command(flatten)]
        of: Of,
    },
    /// Put a backup where the journal is to be. Nothing is written over: move an old journal away first.
    Restore {
        /// The backup.
        from: PathBuf,
        #[command(flatten)]
        of: Of,
    },
    /// Fill an empty shop with what another exported as lines of JSON, all or nothing.
    ///
    /// The shop's store.path must not be there yet.
    Import {
        /// The file `benchclock export` made.
        from: PathBuf,
        #[command(flatten)]
        of: Of,
    },
    /// Carry the whole shop to another database and prove that it is the same there.
    ///
    /// Facts, readings, what waits to be delivered, answers kept for repeated requests, browsers that asked for push
    /// messages, photos, keys. Stop the service first: a file that is in use is refused. The settings are those of the shop
    /// as it is now.
    Move {
        /// Where to: postgres://user@host/database, or a file that is not there yet. A password may stand in the file
        /// of store.password_file.
        #[arg(long)]
        to: String,
        #[command(flatten)]
        of: Of,
    },
    /// Give every calendar a new address: whoever knows an old one sees nothing there any more.
    ///
    /// It holds once the service, each instance of it, is started again.
    NewCalendars {
        #[command(flatten)]
        of: Of,
    },
    /// Print what a shell needs to complete these commands.
    ///
    /// For example: benchclock completions bash > /etc/bash_completion.d/benchclock
    Completions {
        /// The shell.
        shell: clap_complete::Shell,
    },
}

/// Whose settings.
#[derive(clap::Args)]
struct Of {
    /// The settings file.
    #[arg(long, global = true)]
    config: Option<PathBuf>,
    /// Which of the shops, where the settings name several.
    #[arg(long, global = true)]
    shop: Option<String>,
}

impl Of {
    /// Those of the one shop they are of.
    fn settings(&self) -> Result<Settings, StartError> {
        let all = Settings::load(self.config.as_deref())?;
        Ok(all.of_shop(self.place(&all.shops)?)?)
    }

    fn place(&self, named: &[NamedShop]) -> Result<usize, SettingsError> {
        let found = match &self.shop {
            Some(name) => named.iter().position(|shop| shop.name == *name),
            None => named.is_empty().then_some(0),
        };
        let names: Vec<_> = named.iter().map(|shop| format!("--shop {}", shop.name)).collect();
        found.ok_or_else(|| SettingsError {
            key: "shops".into(),
            what: match &self.shop {
                Some(name) => format!("none has the name \"{name}\""),
                None => "several are named".into(),
            },
            mend: if names.is_empty() { "leave --shop out".into() } else { format!("say {}", names.join(" or ")) },
        })
    }
}

/// The form of the log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
enum Log {
    /// A line for a person.
    Text,
    /// A JSON object a line, for whoever collects logs.
    Json,
}

/// Why a command was not done; each has its exit code.
#[derive(Debug)]
enum Failure {
    /// It failed here.
    Failed(String),
    /// The service refused it.
    Refused(String),
    /// The service was not reached, or could not do it.
    Away(String),
}

impl Failure {
    fn code(&self) -> u8 {
        match self {
            Self::Failed(_) => 1,
            Self::Refused(_) => 3,
            Self::Away(_) => 4,
        }
    }
}

impl From<StartError> for Failure {
    fn from(error: StartError) -> Self {
        Self::Failed(error.to_string())
    }
}

/// Runs the command the process was started with.
pub fn run() -> ExitCode {
    let cli = Cli::parse();
    log(match cli.command {
        Command::Serve { log, .. } => log,
        _ => Log::Text,
    });
    let runtime = match tokio::runtime::Builder::new_multi_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(e) => return failed(&Failure::Failed(e.to_string())),
    };
    let done = runtime.block_on(done(cli.command));
    // A nightly copy under way is made again; it does not hold up the end.
    runtime.shutdown_timeout(Duration::from_millis(200));
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => failed(&failure),
    }
}

async fn done(command: Command) -> Result<(), Failure> {
    match command {
        Command::Bench(verb) => bench::run(verb).await,
        Command::Health { to } => bench::health(&Service::for_health(to)?).await,
        Command::Export { to, file, table } => bench::export(&Service::new(to)?, file, table).await,
        Command::Serve { config, .. } => {
            let settings = Settings::load(config.as_deref()).map_err(StartError::from)?;
            Ok(keep::serve(settings, None).await?)
        }
        Command::Demo { listen, folder, scripts, time_zone } => {
            let settings = keep::demo_settings(listen, &folder, scripts, time_zone)?;
            Ok(keep::serve(settings, Some(crate::now::Now::system())).await?)
        }
        Command::Check { of } => Ok(keep::check(&of)?),
        Command::Token { verb, of } => Ok(token::run(&of.settings()?, verb)?),
        Command::Settings { of } => {
            let shown = match (&of.config, &of.shop) {
                (None, _) => Settings::default(),
                (config, None) => Settings::load(config.as_deref()).map_err(StartError::from)?,
                _ => of.settings()?,
            };
            print!("{}", reference(&shown));
            Ok(())
        }
        Command::Backup { to, of } => Ok(keep::backup(&of.settings()?, &to)?),
        Command::Restore { from, of } => Ok(keep::restore(&of.settings()?, &from)?),
        Command::Import { from, of } => Ok(keep::import(&of.settings()?, &from)?),
        Command::Move { to, of } => Ok(keep::carry(&of.settings()?, &to)?),
        Command::NewCalendars { of } => Ok(keep::new_calendars(&of.settings()?)?),
        Command::Completions { shell } => {
            clap_complete::generate(shell, &mut Cli::command(), "benchclock", &mut std::io::stdout());
            Ok(())
        }
    }
}

fn log(form: Log) {
    let filter = EnvFilter::try_from_env("BENCHCLOCK_LOG").unwrap_or_else(|_| EnvFilter::new("info"));
    let log = tracing_subscriber::fmt().with_env_filter(filter).with_writer(std::io::stderr);
    match form {
        Log::Text => log.with_ansi(std::io::IsTerminal::is_terminal(&std::io::stderr.make_writer())).init(),
        Log::Json => log.json().flatten_event(true).init(),
    }
}

fn failed(failure: &Failure) -> ExitCode {
    match failure {
        Failure::Failed(why) => tracing::error!("{why}"),
        // What the service said is for the person at the bench.
        Failure::Refused(why) | Failure::Away(why) => eprintln!("{why}"),
    }
    ExitCode::from(failure.code())
}
