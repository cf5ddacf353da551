//! The delivery task: works off the outbox in rounds, one for each channel. A channel whose receiver hangs is in its round
//! for as long as that takes and holds up nobody else; what falls due for it meanwhile waits for its next.

use std::{
    collections::{BTreeSet, HashMap},
    panic::AssertUnwindSafe,
    sync::{Arc, PoisonError},
    time::Duration,
};

use facts::AlertId;
use futures_util::FutureExt;
use tokio::task::{Id, JoinSet};
use tokio_util::sync::CancellationToken;
use tracing::Instrument;

use crate::{
    alerts::{channel, delivery, reach::Outward, taken_back},
    problem::Problem,
    state::State,
};

/// Deliveries of one channel in one round.
const OF_EACH: usize = 16;
/// Channels served at once.
const AT_ONCE: usize = 64;
/// What was due so soon when the clock was set back is due now.
const SOON_MS: i64 = 60_000;
/// How long a stopping service waits for what is under way. What is cut off was not written down and is tried again.
const LAST_ANSWERS: Duration = Duration::from_secs(1);

/// How long after no client could be made it is tried again.
const AGAIN: Duration = Duration::from_secs(30);

/// The rounds under way.
#[derive(Default)]
struct Rounds {
    tasks: JoinSet<()>,
    /// The channel each serves.
    channels: HashMap<Id, String>,
    /// Alerts taken back that were looked at since this instance has the duty.
    looked: BTreeSet<AlertId>,
}

impl Rounds {
    fn serves(&self, channel: &str) -> bool {
        self.channels.values().any(|served| served == channel)
    }

    /// Begins a round for every channel with something due and none under way. Returns how many deliveries that are.
    async fn begin(&mut self, state: &Arc<State>, client: &Outward) -> Result<usize, Problem> {
        if state.doubt().is_some() {
            return Ok(0);
        }
        let now_ms = state.now().ms();
        if let Some(last_ms) = state.delivery_clock.look(now_ms) {
            // What was due a moment ago does not wait until the clock comes round again; nor does the first try after that.
            state.act(move |database| database.bring_forward(now_ms, last_ms + SOON_MS)).await?;
        }
        taken_back::look_over(state, &mut self.looked).await?;
        let mut of_channel: HashMap<String, Vec<_>> = HashMap::new();
        for row in state.read(move |database| database.due_deliveries(now_ms, OF_EACH)).await? {
            if !self.serves(&row.channel) {
                of_channel.entry(row.channel.clone()).or_default().push(row);
            }
        }
        let mut begun = 0;
        for (channel, rows) in of_channel.into_iter().take(AT_ONCE.saturating_sub(self.channels.len())) {
            begun += rows.len();
            let task = self.tasks.spawn(round(state.clone(), client.clone(), channel.clone(), rows).in_current_span());
            self.channels.insert(task.id(), channel);
        }
        Ok(begun)
    }

    /// Waits until a round ends; none where none is under way.
    async fn ended(&mut self) -> Option<()> {
        let id = match self.tasks.join_next_with_id().await? {
            Ok((id, ())) => id,
            Err(e) => e.id(),
        };
        self.channels.remove(&id);
        Some(())
    }

    /// How long nothing falls due for a channel that is free.
    async fn idle(&self, state: &Arc<State>) -> Duration {
        let next = state.read(|database| database.next_deliveries()).await.unwrap_or_default();
        let free = next.iter().filter(|(channel, _)| !self.serves(channel)).map(|(_, due_ms)| *due_ms).min();
        let left_ms = free.map_or(i64::MAX, |due_ms| (due_ms - state.now().ms()).max(0));
        Duration::from_millis(left_ms as u64).min(Duration::from_secs(5))
    }
}

async fn round(state: Arc<State>, client: Outward, channel: String, rows: Vec<store::Delivery>) {
    // A round that panics must not begin anew at once and for ever.
    let why = match AssertUnwindSafe(delivery::hand_over(&state, &client, rows)).catch_unwind().await {
        Ok(Ok(())) => return,
        Ok(Err(problem)) => problem.to_string(),
        Err(_) => "it panicked".to_string(),
    };
    tracing::error!(why, channel, "the outbox could not be worked off; trying again");
    // The channel is left alone for as long.
    tokio::time::sleep(Duration::from_secs(1)).await;
}

/// Tries everything that is due and waits until all of it ended. Returns how many were due.
///
/// # Errors
/// When the outbox cannot be read.
pub(crate) async fn step(state: &Arc<State>, client: &Outward) -> Result<usize, Problem> {
    let mut rounds = Rounds::default();
    let begun = rounds.begin(state, client).await?;
    while rounds.ended().await.is_some() {}
    Ok(begun)
}

/// The client all HTTP goes through, as soon as one can be made: the certificates it wants may come later. None when the
/// service stops before.
async fn client(state: &State, stop: &CancellationToken) -> Option<Outward> {
    loop {
        let made = channel::client(state);
        let why = made.as_ref().err().map(|e| format!("nothing is delivered: {}", channel::deepest(e)));
        state.cannot_tell.lock().unwrap_or_else(PoisonError::into_inner).clone_from(&why);
        let Some(why) = why else { return made.ok() };
        tracing::error!("{why}");
        tokio::select! {
            () = stop.cancelled() => return None,
            () = tokio::time::sleep(AGAIN) => {}
        }
    }
}

/// Runs rounds until told to stop.
pub(crate) async fn run(state: Arc<State>, stop: CancellationToken) {
    let Some(client) = client(&state, &stop).await else { return };
    let mut rounds = Rounds::default();
    loop {
        let begun = if state.others.on_duty() { rounds.begin(&state, &client).await.map(Some) } else { Ok(None) };
        let idle = match begun {
            Ok(Some(_)) => rounds.idle(&state).await,
            // Another instance hands on; the duty rings when it comes here.
            Ok(None) => {
                rounds.looked.clear();
                Duration::from_secs(5)
            }
            Err(problem) => {
                tracing::error!(%problem, "the outbox could not be read; trying again");
                Duration::from_secs(1)
            }
        };
        tokio::select! {
            () = stop.cancelled() => break,
            () = state.shared.deliveries.notified() => {}
            Some(()) = rounds.ended() => {}
            () = tokio::time::sleep(idle) => {}
        }
    }
    let last = async { while rounds.ended().await.is_some() {} };
    drop(tokio::time::timeout(LAST_ANSWERS, last).await);
}
