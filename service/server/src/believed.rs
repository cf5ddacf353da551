//! Whether the machine's clock can be believed. A board without a clock of its own wakes in 1970, or at the hour it last
//! wrote down; a glue-up registered then would be taken for older than it is, and its clamps told off too early.
//!
//! So while the clock is behind the last thing on record when the service started, nothing is recorded, told or worked
//! off; everything can be looked at, and every page, readiness and a metric say why. It ends by itself when the clock is
//! set. A clock that is set back while the service runs is believed: somebody set it.

use std::{
    sync::{Arc, atomic::Ordering},
    time::Duration,
};

use tokio_util::sync::CancellationToken;

use crate::{
    now::instant,
    problem::{Kind, Problem},
    scripts,
    state::State,
};

/// Clocks of one machine differ by so much between two starts.
const SLACK_MS: i64 = 60_000;
/// How often a doubted clock is looked at.
const LOOK: Duration = Duration::from_secs(1);

/// What the clock is held against.
pub(crate) struct Believed {
    last_ms: i64,
    always: bool,
}

impl Believed {
    /// By the latest time on record; `always` where the record is what is wrong.
    pub(crate) fn since(last_ms: i64, always: bool) -> Self {
        Self { last_ms, always }
    }
}

impl State {
    /// Why nothing may be recorded or told now, if that is so.
    pub(crate) fn doubt(&self) -> Option<Problem> {
        let (Believed { last_ms, always }, now_ms) = (&self.believed, self.now().ms());
        if *always || now_ms >= last_ms.saturating_sub(SLACK_MS) {
            return None;
        }
        // Not `rfc3339`: an hour is easily taken for the right one where the year is not.
        let say = |at_ms: i64| instant(at_ms).with_timezone(&self.zone).format("%-d %B %Y %H:%M:%S");
        Some(Problem::new(
            Kind::Unavailable,
            format!(
                "the clock of this machine says {}, but something is on record from {}: nothing is recorded or told until it \
                 is right",
                say(now_ms),
                say(*last_ms)
            ),
            "set the clock, or wait until the network has set it; if it is the record that is wrong, set \
             server.believe_clock",
        ))
    }
}

/// Waits until the clock can be believed, and then begins what was left at start.
pub(crate) async fn wait(state: Arc<State>, stop: CancellationToken) {
    while state.doubt().is_some() {
        tokio::select! {
            () = stop.cancelled() => return,
            () = tokio::time::sleep(LOOK) => {}
        }
    }
    tracing::info!("the clock is right again; going on");
    state.working_since_ms.store(state.now().ms(), Ordering::SeqCst);
    if let Err(problem) = scripts::read_folder(&state).await {
        tracing::error!(%problem, "the scripts were not read");
    }
    state.shared.alarms.notify_one();
}
