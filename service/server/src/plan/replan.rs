//! Planning anew whenever a fact changes a time: soon after a fact, within a minute after a reading, never twice at once.

use std::{sync::Arc, time::Duration};

use facts::Fact;
use tokio::{
    sync::broadcast::error::RecvError,
    time::{Instant, sleep_until},
};
use tokio_util::sync::CancellationToken;

use super::{FIRST, LONGER, Standing};
use crate::{
    news::{News, What},
    problem::Problem,
    state::State,
};

/// Facts come in handfuls: a job and its steps, a glue-up and its clamps.
const AFTER_FACT: Duration = Duration::from_millis(500);
/// A first answer stands so long before a better one is looked for: more facts may come.
const AFTER_FIRST: Duration = Duration::from_secs(5);
/// A reading moves times by seconds.
const AFTER_READING: Duration = Duration::from_secs(60);

/// Whether a fact can move a time of the plan.
fn moves_a_time(fact: &Fact) -> bool {
    !matches!(
        fact,
        Fact::AlertAcknowledged { .. }
            | Fact::AlertSnoozed { .. }
            | Fact::AlertRepeated { .. }
            | Fact::SetupMeasured(_)
            | Fact::StringsFitted(_)
            | Fact::StageReached(_)
            | Fact::LotUsed(_)
            | Fact::LotClosed(_)
    )
}

/// Plans anew until told to stop: a first answer soon after a fact, a better one when that has been read.
pub(crate) async fn run(state: Arc<State>, stop: CancellationToken) {
    let mut news = state.shared.news.subscribe();
    // The first plan, as soon as the service is up.
    let mut first: Option<Instant> = after(None, AFTER_FACT);
    let mut longer: Option<Instant> = None;
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            () = at(first) => {
                first = None;
                made(state.replan(FIRST).await);
                longer = after(longer, AFTER_FIRST);
            }
            () = at(longer), if first.is_none() => {
                longer = None;
                made(state.replan(LONGER).await);
            }
            heard = news.recv() => match heard.as_ref().map(News::what) {
                Ok(What::Fact(fact)) if moves_a_time(&fact.fact) => first = after(first, AFTER_FACT),
                Ok(What::Fact(_) | What::Planned(_)) => {}
                Ok(What::Reading(_)) => longer = after(longer, AFTER_READING),
                Err(RecvError::Lagged(_)) => first = after(first, AFTER_FACT),
                Err(RecvError::Closed) => return,
            },
        }
    }
}

/// Waits until then; for ever where it is never.
async fn at(due: Option<Instant>) {
    match due {
        Some(due) => sleep_until(due).await,
        None => std::future::pending().await,
    }
}

fn made(plan: Result<Arc<Standing>, Problem>) {
    if let Err(problem) = plan {
        tracing::error!(%problem, "the bench could not be planned anew");
    }
}

/// So long from now, or as soon as it was due already: a stream of facts must not put it off for ever.
fn after(due: Option<Instant>, wait: Duration) -> Option<Instant> {
    let at = Instant::now() + wait;
    Some(due.map_or(at, |due| due.min(at)))
}
