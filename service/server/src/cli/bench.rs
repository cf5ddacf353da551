//! The verbs of the bench: what a luthier says to a running service and asks of it.

use std::{io::Write, path::PathBuf};

use clap::{Args, Subcommand};
use serde::Serialize;
use serde_json::Value;

use super::{
    Failure,
    ask::{Service, To},
    print,
};
use crate::whole::Table;

#[derive(Subcommand)]
pub(super) enum Verb {
    /// Register a glue-up: a joint was closed.
    #[command(name = "glue-up")]
    GlueUp {
        #[command(flatten)]
        to: To,
        #[command(flatten)]
        said: GlueUp,
    },
    /// Register a coat: a film was laid.
    Coat {
        #[command(flatten)]
        to: To,
        #[command(flatten)]
        said: Coat,
    },
    /// Say that clamps came off a glue-up.
    #[command(name = "clamps-off")]
    ClampsOff {
        #[command(flatten)]
        to: To,
        /// The glue-up.
        cure: String,
        /// Which clamp; all of them if not said.
        #[arg(long = "clamp")]
        clamps: Vec<String>,
        /// How long ago, minutes.
        #[arg(long)]
        minutes_ago: Option<f64>,
    },
    /// What is ready: every milestone that was told and that nobody has answered yet.
    Ready {
        #[command(flatten)]
        to: To,
    },
    /// What comes next: milestones ahead, and the next step of each job.
    Next {
        #[command(flatten)]
        to: To,
        /// How far to look, hours.
        #[arg(long, default_value_t = 48.0)]
        within_h: f64,
    },
    /// The bench plan: what to do when across every open job, why then, and how long it could wait.
    Plan {
        #[command(flatten)]
        to: To,
        /// How far to look, hours.
        #[arg(long, default_value_t = 24.0)]
        within_h: f64,
    },
    /// Post what a hygrometer reads.
    Reading {
        #[command(flatten)]
        to: To,
        /// Which zone.
        #[arg(long)]
        zone: String,
        #[command(flatten)]
        said: Reading,
    },
    /// Send the CSV file of a logger.
    Logger {
        #[command(flatten)]
        to: To,
        /// The file.
        file: PathBuf,
        /// Which zone.
        #[arg(long)]
        zone: String,
        /// Which sensor of the zone.
        #[arg(long)]
        sensor: Option<String>,
        /// IANA time zone of its times, where they name none.
        #[arg(long)]
        time_zone: Option<String>,
        /// Show what was understood and change nothing.
        #[arg(long)]
        dry_run: bool,
    },
    /// Say that something was taken from a bottle.
    Used {
        #[command(flatten)]
        to: To,
        /// The bottle.
        lot: String,
        #[command(flatten)]
        amount: Amount,
        /// The glue-up or coat it was for.
        #[arg(long)]
        cure: Option<String>,
    },
    /// Say that a bottle left the shelf: used up, or thrown out with what was left in it.
    #[command(name = "off-shelf")]
    OffShelf {
        #[command(flatten)]
        to: To,
        /// The bottle.
        lot: String,
        #[command(flatten)]
        left: Amount,
        /// Why, in your words.
        #[arg(long, default_value = "")]
        reason: String,
    },
    /// What is on the shelf: how long each bottle keeps, what it cost, what to buy soon, what was thrown out.
    Stock {
        #[command(flatten)]
        to: To,
    },
}

/// A glue-up as it is said; the body of the request has the same names.
#[derive(Args, Serialize)]
#[group(skip)]
pub(super) struct GlueUp {
    /// The joint; or name a job and a step that has one.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    joint: Option<String>,
    #[command(flatten)]
    #[serde(flatten)]
    cure: Cure,
    /// A clamp that holds it; say it once for each.
    #[arg(long = "clamp")]
    clamps: Vec<String>,
    /// Gap between the faces, µm; that of the joint if not said.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    gap_um: Option<f64>,
}

/// A coat as it is said.
#[derive(Args, Serialize)]
#[group(skip)]
pub(super) struct Coat {
    /// The instrument; or name a job.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    instrument: Option<String>,
    /// The surface, in your words: top, neck.
    #[arg(long)]
    surface: String,
    #[command(flatten)]
    #[serde(flatten)]
    cure: Cure,
    /// Wet film, µm.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    film_um: Option<f64>,
}

/// What is said of glue-ups and coats alike.
#[derive(Args, Serialize)]
#[group(skip)]
struct Cure {
    /// An id for it; one is made if not said.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    id: Option<String>,
    /// What it cures by; or name a job and a step that has it.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    material: Option<String>,
    /// The zone it lies in.
    #[arg(long)]
    zone: String,
    /// The bottle it came from.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    lot: Option<String>,
    #[command(flatten)]
    #[serde(skip_serializing_if = "Used::is_none")]
    used: Used,
    /// The job it moves on.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    job: Option<String>,
    /// The step of that job.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    step: Option<String>,
    /// How long ago, minutes; now if not said.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    minutes_ago: Option<f64>,
    /// Measured temperature of the faces or the surface, °C.
    #[arg(long, allow_hyphen_values = true)]
    #[serde(skip_serializing_if = "Option::is_none")]
    surface_temp_c: Option<f64>,
}

/// How much was taken from the bottle named.
#[derive(Args, Serialize)]
#[group(skip)]
struct Used {
    /// How much of the bottle, mL; in g where it is sold by weight.
    #[arg(long, requires = "lot", conflicts_with = "used_g")]
    #[serde(rename = "ml", skip_serializing_if = "Option::is_none")]
    used_ml: Option<f64>,
    /// How much of the bottle, g.
    #[arg(long, requires = "lot")]
    #[serde(rename = "g", skip_serializing_if = "Option::is_none")]
    used_g: Option<f64>,
}

impl Used {
    fn is_none(&self) -> bool {
        self.used_ml.is_none() && self.used_g.is_none()
    }
}

/// How much, in the unit the bottle is sold in.
#[derive(Args, Serialize)]
#[group(required = true, multiple = false)]
pub(super) struct Amount {
    /// Volume, mL.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    ml: Option<f64>,
    /// Mass, g.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    g: Option<f64>,
}

/// A reading as it is said.
#[derive(Args, Serialize)]
#[group(skip)]
pub(super) struct Reading {
    /// Temperature, °C.
    #[arg(long, allow_hyphen_values = true)]
    temp_c: f64,
    /// Relative humidity, %.
    #[arg(long)]
    rh_pct: f64,
    /// Which sensor of the zone.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    sensor: Option<String>,
    /// How long ago, minutes; now if not said.
    #[arg(long)]
    #[serde(skip_serializing_if = "Option::is_none")]
    minutes_ago: Option<f64>,
}

pub(super) async fn run(verb: Verb) -> Result<(), Failure> {
    match verb {
        Verb::GlueUp { to, said } => {
            let service = Service::new(to)?;
            show(&service, &service.post("/api/v1/glue-ups", &said).await?, print::cure)
        }
        Verb::Coat { to, said } => {
            let service = Service::new(to)?;
            show(&service, &service.post("/api/v1/coats", &said).await?, print::cure)
        }
        Verb::ClampsOff { to, cure, clamps, minutes_ago } => {
            let service = Service::new(to)?;
            let mut body = serde_json::Map::new();
            if !clamps.is_empty() {
                body.insert("clamps".into(), clamps.into());
            }
            if let Some(minutes) = minutes_ago {
                body.insert("minutes_ago".into(), minutes.into());
            }
            let path = format!("/api/v1/glue-ups/{cure}/clamps-off");
            show(&service, &service.post(&path, &body).await?, print::clamps)
        }
        Verb::Ready { to } => ready(&Service::new(to)?).await,
        Verb::Next { to, within_h } => next(&Service::new(to)?, within_h).await,
        Verb::Plan { to, within_h } => {
            let service = Service::new(to)?;
            show(&service, &service.get("/api/v1/plan", &[]).await?, |plan| print::plan(plan, within_h))
        }
        Verb::Reading { to, zone, said } => {
            let service = Service::new(to)?;
            let path = format!("/api/v1/zones/{zone}/readings");
            show(&service, &service.post(&path, &said).await?, print::tally)
        }
        Verb::Logger { to, file, zone, sensor, time_zone, dry_run } => {
            let service = Service::new(to)?;
            let csv = std::fs::read(&file).map_err(|e| Failure::Failed(format!("{}: {e}", file.display())))?;
            let query = [("sensor", sensor), ("time_zone", time_zone), ("dry_run", dry_run.then(|| "true".into()))];
            let query: Vec<_> = query.iter().filter_map(|(key, value)| Some((*key, value.as_deref()?))).collect();
            let answer = service.file(&format!("/api/v1/zones/{zone}/readings/csv"), &query, csv).await?;
            show(&service, &answer, print::tally)
        }
        Verb::Used { to, lot, amount, cure } => {
            let service = Service::new(to)?;
            let body = serde_json::json!({ "used": amount, "cure": cure });
            show(&service, &service.post(&format!("/api/v1/lots/{lot}/use"), &body).await?, print::lot)
        }
        Verb::OffShelf { to, lot, left, reason } => {
            let service = Service::new(to)?;
            let body = serde_json::json!({ "left": left, "reason": reason });
            show(&service, &service.post(&format!("/api/v1/lots/{lot}/close"), &body).await?, print::lot)
        }
        Verb::Stock { to } => {
            let service = Service::new(to)?;
            show(&service, &service.get("/api/v1/stock", &[]).await?, print::stock)
        }
    }
}

/// Prints an answer as it came, or in words.
fn show(service: &Service, answer: &Value, words: impl FnOnce(&Value) -> String) -> Result<(), Failure> {
    let text = if service.json() { format!("{answer:#}\n") } else { words(answer) };
    say(text.as_bytes())
}

/// Writes to standard output; whoever reads it may have seen enough.
fn say(text: &[u8]) -> Result<(), Failure> {
    match std::io::stdout().write_all(text) {
        Err(e) if e.kind() != std::io::ErrorKind::BrokenPipe => Err(Failure::Failed(e.to_string())),
        _ => Ok(()),
    }
}

async fn ready(service: &Service) -> Result<(), Failure> {
    let (mut told, mut before) = (Vec::new(), String::new());
    loop {
        let mut query = vec![("state", "open")];
        if !before.is_empty() {
            query.push(("before", &before));
        }
        let part = service.get("/api/v1/alerts", &query).await?;
        let of_part = part["items"].as_array().cloned().unwrap_or_default();
        told.extend(of_part.into_iter().filter(|alert| alert["kind"] == "milestone"));
        match part["next"].as_str() {
            Some(next) => before = next.into(),
            None => break,
        }
    }
    told.sort_by_key(|alert| alert["seq"].as_i64());
    show(service, &serde_json::json!({ "items": told }), print::ready)
}

async fn next(service: &Service, within_h: f64) -> Result<(), Failure> {
    let within = within_h.to_string();
    let ahead = service.get("/api/v1/milestones", &[("within_h", &within)]).await?;
    let board = service.get("/api/v1/board", &[]).await?;
    let both = serde_json::json!({ "milestones": ahead["items"], "next_steps": board["next_steps"] });
    show(service, &both, print::next)
}

/// What readiness says; a service that is not ready is one that cannot do its work just now.
pub(super) async fn health(service: &Service) -> Result<(), Failure> {
    let answer = service.get("/health/ready", &[]).await?;
    show(service, &answer, |_| "ready\n".into())
}

pub(super) async fn export(service: &Service, file: Option<PathBuf>, table: Option<Table>) -> Result<(), Failure> {
    let path = table.map_or_else(|| "/api/v1/export".into(), |table| format!("/api/v1/export/{}.csv", table.name()));
    let mut answer = service.parts(&path).await?;
    let failed = |what: &std::path::Path, e: std::io::Error| Failure::Failed(format!("{}: {e}", what.display()));
    let mut made = match &file {
        Some(path) => Some(std::fs::File::create_new(path).map_err(|e| failed(path, e))?),
        None => None,
    };
    loop {
        let part = answer.chunk().await;
        let part = part.map_err(|e| Failure::Away(format!("it broke off and is not whole: {e}; do it again")))?;
        match (part, &mut made, &file) {
            (None, Some(made), Some(path)) => return made.sync_all().map_err(|e| failed(path, e)),
            (None, ..) => return Ok(()),
            (Some(part), Some(made), Some(path)) => made.write_all(&part).map_err(|e| failed(path, e))?,
            (Some(part), ..) => say(&part)?,
        }
    }
}
