//! Recurring work. The cron library only sends the name of a job; the work is done here, one job at a time, and each
//! run is written down, so that readiness can tell when one is overdue.
//!
//! The library runs in UTC and only for coarse times. The digest follows the shop's own clock: it is looked at every
//! minute and sent once a local day.

use std::{
    collections::BTreeMap,
    path::Path,
    sync::{Arc, atomic::Ordering},
};

use chrono::NaiveDate;
use facts::{AlertId, AlertKind, AlertRaised, Meets};
use store::Run;
use tokio::sync::mpsc;
use tokio_cron_scheduler::{Job, JobScheduler};
use tokio_util::sync::CancellationToken;

use crate::{
    alerts::{alarm, climate, sensors, string_up, tell, words},
    now::{SetBack, instant},
    plan::LONGER,
    problem::{Kind, Problem},
    settings::CLOSING,
    state::State,
    tidy, wall,
};

/// One recurring job.
struct Recurring {
    name: &'static str,
    /// Seconds, minutes, hours, day, month, weekday; in UTC.
    cron: &'static str,
    /// How long after its last run it counts as overdue.
    overdue_ms: i64,
    /// Whether each of several instances does it for itself; otherwise only the one on duty.
    each: bool,
}

const MINUTE_MS: i64 = 60_000;
/// How often it is seen whether the clock was set back.
const CLOCK_LOOK: std::time::Duration = std::time::Duration::from_secs(5);
const DAY_MS: i64 = 24 * 60 * MINUTE_MS;

const JOBS: [Recurring; 9] = [
    Recurring { name: "forecast", cron: "0 */15 * * * *", overdue_ms: 40 * MINUTE_MS, each: true },
    Recurring { name: "plan", cron: "5 */10 * * * *", overdue_ms: 40 * MINUTE_MS, each: true },
    Recurring { name: "digest", cron: "15 * * * * *", overdue_ms: 10 * MINUTE_MS, each: false },
    Recurring { name: "silence", cron: "30 * * * * *", overdue_ms: 10 * MINUTE_MS, each: false },
    Recurring { name: "climate", cron: "45 * * * * *", overdue_ms: 10 * MINUTE_MS, each: false },
    Recurring { name: "string-up", cron: "55 * * * * *", overdue_ms: 10 * MINUTE_MS, each: false },
    Recurring { name: "calibration", cron: "30 20 6 * * *", overdue_ms: DAY_MS + 120 * MINUTE_MS, each: false },
    Recurring { name: "backup", cron: "30 40 1 * * *", overdue_ms: DAY_MS + 120 * MINUTE_MS, each: false },
    Recurring { name: "retention", cron: "30 10 2 * * *", overdue_ms: DAY_MS + 120 * MINUTE_MS, each: true },
];

/// How a recurring job stands.
pub(crate) struct JobHealth {
    pub(crate) name: &'static str,
    pub(crate) last_ms: Option<i64>,
    pub(crate) error: Option<String>,
    pub(crate) overdue: bool,
}

/// Whether a job is this instance's to do now.
fn is_ours(state: &State, name: &str) -> bool {
    state.others.on_duty() || JOBS.iter().any(|job| job.name == name && job.each)
}

/// Runs one job by name and writes the run down.
///
/// # Errors
/// What the job met; it is written down too, if that can be done.
pub(crate) async fn run_job(state: &Arc<State>, name: &str) -> Result<(), Problem> {
    if let Some(doubt) = state.doubt() {
        // A run written down under a time that is none would hide that the next is overdue.
        return Err(doubt);
    }
    let result = match name {
        "forecast" => {
            state.shared.bench_mut().look_again();
            state.shared.meters.sum_up();
            state.shared.alarms.notify_one();
            Ok(())
        }
        "plan" => state.replan(LONGER).await.map(drop),
        "digest" => digest(state).await,
        "climate" => climate::step(state).await,
        "string-up" => string_up::step(state).await,
        "silence" => sensors::silence(state).await.map(drop),
        "calibration" => sensors::calibrations(state).await.map(drop),
        "backup" => backup(state).await,
        "retention" => tidy::step(state).await,
        other => Err(Problem::new(Kind::Internal, format!("there is no recurring job {other}"), "name one of JOBS")),
    };
    let run = Run { job: name.into(), at_ms: state.now().ms(), error: result.as_ref().err().map(ToString::to_string) };
    if let Some(why) = &run.error {
        tracing::error!(job = name, why, "a recurring job failed");
    }
    state.act(move |database| database.record_run(&run)).await?;
    result
}

/// How every job stands. A job never run yet counts from the start of the service.
pub(crate) async fn health(state: &Arc<State>) -> Result<Vec<JobHealth>, Problem> {
    let runs = state.read(|database| database.last_runs()).await?;
    let runs: BTreeMap<String, Run> = runs.into_iter().map(|run| (run.job.clone(), run)).collect();
    let now_ms = state.now().ms();
    let of_job = |job: &Recurring| {
        let run = runs.get(job.name);
        // While the service was down nothing could run: the time it has been up counts.
        let since_ms = run.map_or(0, |run| run.at_ms).max(state.working_since_ms.load(Ordering::SeqCst));
        let overdue = now_ms - since_ms > job.overdue_ms;
        state.shared.meters.note(|| {
            metrics::gauge!("benchclock_job_overdue", "job" => job.name).set(f64::from(u8::from(overdue)));
        });
        JobHealth {
            name: job.name,
            last_ms: run.map(|run| run.at_ms),
            error: run.and_then(|run| run.error.clone()),
            overdue,
        }
    };
    Ok(JOBS.iter().map(of_job).collect())
}

/// The day ahead, told once a local day, after the shop's hour.
async fn digest(state: &Arc<State>) -> Result<(), Problem> {
    let now_ms = state.now().ms();
    let local = instant(now_ms).with_timezone(&state.zone);
    let at = state.settings.digest_at().map_err(|e| Problem::new(Kind::Internal, e.to_string(), e.mend.clone()))?;
    let id = AlertId::new(format!("digest-{}", local.date_naive())).expect("a date makes an alert id");
    if now_ms < wall::first_ms(state.zone, local.date_naive().and_time(at)) || state.bench().alerts().contains_key(&id)
    {
        return Ok(());
    }
    // The day is told as it is planned this morning.
    if let Err(problem) = state.replan(LONGER).await {
        tracing::error!(%problem, "the digest goes by the plan before");
    }
    let strung = string_up::of_day(state, local.date_naive()).await.unwrap_or_else(|problem| {
        tracing::error!(%problem, "the digest leaves stringing up out");
        vec![]
    });
    let raised = AlertRaised {
        id,
        alert_kind: AlertKind::Digest,
        cure: None,
        instrument: None,
        stage: String::new(),
        due_at: instant(now_ms),
        late: false,
        title: format!("Today at {}", state.settings.shop.name),
        body: day_ahead(state, local.date_naive(), strung, now_ms),
    };
    alarm::tell(state, raised, "").await
}

fn day_ahead(state: &State, today: NaiveDate, strung: Vec<String>, now_ms: i64) -> String {
    let bench = state.bench();
    let board = bench.board(now_ms, 500);
    let mut lines = Vec::new();
    for line in &board.cures {
        let place = words::place(&bench, line.cure);
        if line.release_clamps {
            lines.push(format!("now: clamps can come off {place}"));
        }
        for milestone in bench.milestones(line.cure, now_ms).iter().filter(|m| !m.reached) {
            // What closes is said for when it may close first.
            let at_ms = match milestone.target.meets {
                Meets::Opens => milestone.safe_ms,
                Meets::Closes => milestone.earliest_ms,
            };
            let Some(at_ms) = at_ms else { continue };
            let at = instant(at_ms).with_timezone(&state.zone);
            if at.date_naive() == today {
                lines.push(format!("{}: {}, {place}", at.format("%H:%M"), words::spoken(&milestone.target.stage)));
            }
        }
    }
    lines.extend(strung);
    // Told while nobody looked, or in quiet hours that outlasted it: it is not to be lost.
    let of_yesterday = |alert: &&clock::Alert| {
        alert.state == clock::AlertState::Open && alert.raised.due_at > instant(now_ms - DAY_MS)
    };
    let closing = |alert: &&clock::Alert| tell::kind_of(&bench, &alert.raised) == CLOSING;
    let missed = bench.alerts().values().filter(of_yesterday).filter(closing);
    lines.extend(missed.map(|alert| format!("not acknowledged: {}", alert.raised.title)));
    if let Some(standing) = state.standing() {
        lines.extend(state.plan_lines(&standing, today, now_ms));
    }
    if lines.is_empty() {
        lines.push("nothing is curing and no step is open".into());
    }
    lines.push(words::ESTIMATE.into());
    lines.join("\n")
}

/// A copy of the database for last night, checked; the oldest copies go.
async fn backup(state: &Arc<State>) -> Result<(), Problem> {
    let folder = state.settings.store.backups.clone();
    let day = instant(state.now().ms()).with_timezone(&state.zone).date_naive();
    let to = folder.join(format!("benchclock-{day}.db"));
    let keep = state.settings.store.keep_backups;
    let io = |e: std::io::Error| {
        Problem::new(Kind::Unavailable, format!("the backup folder: {e}"), "check store.backups and its owner")
    };
    std::fs::create_dir_all(&folder).map_err(io)?;
    // Under another name until it is whole: a copy that failed must not stand where a good one was, nor count as one.
    let part = to.with_extension("part");
    if part.exists() {
        std::fs::remove_file(&part).map_err(io)?;
    }
    let unfinished = part.clone();
    state.read(move |database| database.backup(&unfinished)).await?;
    std::fs::rename(&part, &to).map_err(io)?;
    let mut copies = copies(&folder).map_err(io)?;
    // One of a day that is still to come was made by a clock that was wrong: it takes no other's place.
    copies.retain(|copy| *copy <= to);
    while copies.len() > keep {
        std::fs::remove_file(copies.remove(0)).map_err(io)?;
    }
    Ok(())
}

/// Nightly copies, oldest first; their names sort by day.
fn copies(folder: &Path) -> std::io::Result<Vec<std::path::PathBuf>> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder)? {
        let path = entry?.path();
        let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if name.starts_with("benchclock-") && name.ends_with(".db") {
            found.push(path);
        }
    }
    found.sort();
    Ok(found)
}

/// Starts the cron library and works off what it sends, until told to stop.
pub(crate) async fn run(state: Arc<State>, stop: CancellationToken) {
    let (send, mut receive) = mpsc::channel::<&'static str>(64);
    let mut scheduler = match schedule(&send).await {
        Ok(scheduler) => scheduler,
        Err(e) => return tracing::error!(error = %e, "recurring work did not start; readiness will say so"),
    };
    let clock = SetBack::default();
    loop {
        if clock.look(state.now().ms()).is_some() {
            // The library waits for the hours it had worked out: it is told to begin anew.
            match schedule(&send).await {
                Ok(fresh) => {
                    let mut old = std::mem::replace(&mut scheduler, fresh);
                    if let Err(e) = old.shutdown().await {
                        tracing::warn!(error = %e, "the cron library did not stop cleanly");
                    }
                }
                Err(e) => tracing::error!(error = %e, "recurring work waits until the clock comes round again"),
            }
        }
        tokio::select! {
            () = stop.cancelled() => break,
            () = tokio::time::sleep(CLOCK_LOOK) => {}
            name = receive.recv() => match name {
                // What went wrong is written down with the run.
                Some(name) if is_ours(&state, name) => drop(run_job(&state, name).await),
                Some(_) => {}
                None => break,
            },
        }
    }
    if let Err(e) = scheduler.shutdown().await {
        tracing::warn!(error = %e, "the cron library did not stop cleanly");
    }
}

async fn schedule(send: &mpsc::Sender<&'static str>) -> Result<JobScheduler, tokio_cron_scheduler::JobSchedulerError> {
    // The default channel of 200 loses jobs in a burst.
    let scheduler = JobScheduler::new_with_channel_size(4096).await?;
    for job in &JOBS {
        let send = send.clone();
        let name = job.name;
        let ring = move |_, _| {
            // A full channel means the same job is waiting already.
            let _ = send.try_send(name);
        };
        scheduler.add(Job::new(job.cron, ring)?).await?;
    }
    scheduler.start().await?;
    Ok(scheduler)
}
