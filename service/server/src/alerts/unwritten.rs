//! What must be told while the disk takes nothing: it goes out from memory, once to each channel, and again when it has
//! been written down. Told twice is better than not told; the alert's id is the same both times.

use std::{
    collections::BTreeSet,
    sync::{Arc, Mutex, PoisonError},
};

use facts::AlertId;
use futures_util::future::join_all;
use store::{Delivery, DeliveryState, NewDelivery};

use crate::{
    alerts::{
        channel,
        message::{self, Message},
        tell,
    },
    problem::{Kind, Problem},
    settings::CLOSING,
    state::State,
};

/// Alerts that were told from memory, and by which channel. Lost with the process: then they are told once more.
#[derive(Default)]
pub(crate) struct Unwritten(Mutex<BTreeSet<(AlertId, String)>>);

impl Unwritten {
    fn told(&self) -> std::sync::MutexGuard<'_, BTreeSet<(AlertId, String)>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Whether it is the disk that failed: then the alert is right, and only its record is missing.
pub(crate) fn of_the_disk(problem: &Problem) -> bool {
    matches!(problem.kind, Kind::DiskFull | Kind::Unavailable | Kind::Internal)
}

/// Tells what could not be written down and is due. Nothing to tell means that the disk is back.
pub(crate) async fn tell(state: &Arc<State>, planned: Vec<NewDelivery>, now_ms: i64) {
    if planned.is_empty() {
        state.unwritten.told().clear();
        return;
    }
    let mut due: Vec<Delivery> = planned.into_iter().filter(|new| new.due_ms <= now_ms).map(row).collect();
    {
        let told = state.unwritten.told();
        due.retain(|row| !told.contains(&(row.alert.clone(), row.channel.clone())));
    }
    if due.is_empty() || state.stop.is_cancelled() {
        return;
    }
    let client = match channel::client(state) {
        Ok(client) => client,
        Err(e) => return tracing::error!(error = %e, "no HTTP client; nothing is told from memory"),
    };
    let sent = join_all(due.iter().map(|row| async {
        let message = message_of(state, row, now_ms);
        channel::send(state, &client, &row.channel, &message).await
    }));
    for (row, sent) in due.iter().zip(sent.await) {
        match sent {
            Ok(()) => {
                tracing::warn!(alert = %row.alert, channel = row.channel, "told from memory: it could not be written down");
                state.unwritten.told().insert((row.alert.clone(), row.channel.clone()));
            }
            Err(failure) => tracing::warn!(alert = %row.alert, channel = row.channel, why = failure.what, "not told"),
        }
    }
}

/// A row as the outbox would have it, if it could be put there.
fn row(new: NewDelivery) -> Delivery {
    let NewDelivery { alert, channel, body, since_ms, due_ms } = new;
    let state = DeliveryState::Waiting;
    Delivery { id: 0, alert, channel, body, attempts: 0, since_ms, due_ms, state, error: None }
}

fn message_of(state: &State, row: &Delivery, now_ms: i64) -> Message {
    let (closing, until_ms) = message::raised(row).map_or((false, now_ms), |raised| {
        let bench = state.bench();
        let closing = tell::kind_of(&bench, &raised) == CLOSING;
        (closing, tell::until_ms(&bench, &raised, row, now_ms))
    });
    Message::of(std::slice::from_ref(row), closing, now_ms, until_ms)
}
