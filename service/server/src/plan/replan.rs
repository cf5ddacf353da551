//! Planning anew whenever a fact changes a time: soon after a fact, within a minute after a reading, never twice at once.

use std::{sync::Arc, time::Duration};

use facts::Fact;
use tokio::{
    sync::broadcast::error::RecvError,
    time::{Instant, sleep_until},
};
use tokio_util::sync::CancellationToken;

use crate::{
    news::{News, What},
    state::State,
};

/// Facts come in handfuls: a job and its steps, a glue-up and its clamps.
const AFTER_FACT: Duration = Duration::from_millis(500);
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

/// Plans anew until told to stop.
pub(crate) async fn run(state: Arc<State>, stop: CancellationToken) {
    let mut news = state.shared.news.subscribe();
    // The first plan, as soon as the service is up.
    let mut due: Option<Instant> = after(None, AFTER_FACT);
    loop {
        let wait = async {
            match due {
                Some(at) => sleep_until(at).await,
                None => std::future::pending().await,
            }
        };
        tokio::select! {
            () = stop.cancelled() => return,
            () = wait => {
                due = None;
                if let Err(problem) = state.replan().await {
                    tracing::error!(%problem, "the bench could not be planned anew");
                }
            }
            heard = news.recv() => match heard.as_ref().map(News::what) {
                Ok(What::Fact(fact)) if moves_a_time(&fact.fact) => due = after(due, AFTER_FACT),
                Ok(What::Fact(_)) => {}
                Ok(What::Reading(_)) => due = after(due, AFTER_READING),
                Err(RecvError::Lagged(_)) => due = after(due, AFTER_FACT),
                Err(RecvError::Closed) => return,
            },
        }
    }
}

/// So long from now, or as soon as it was due already: a stream of facts must not put it off for ever.
fn after(due: Option<Instant>, wait: Duration) -> Option<Instant> {
    let at = Instant::now() + wait;
    Some(due.map_or(at, |due| due.min(at)))
}
