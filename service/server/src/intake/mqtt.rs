//! Readings from an MQTT broker. One task keeps the session and gathers messages, another takes in what gathered and
//! acknowledges it once it is on disk: a message whose commit is lost comes again.
//!
//! A broker that is down or goes away is said and tried again, ever more slowly; it never stops the service.

mod message;
mod session;

use std::{
    sync::{
        Arc, Mutex, MutexGuard, PoisonError,
        atomic::{AtomicU64, Ordering},
    },
    time::Duration,
};

use tokio::sync::mpsc::{self, error::TrySendError};
use tokio_util::sync::CancellationToken;

pub(crate) use message::{Pattern, read};
use session::{Acks, Happened, Message, Session};

use super::{Gate, Offer, Refused};
use crate::{problem::Problem, settings::Mqtt, state::State};

/// Messages that may wait to be taken in. A broker has no more than 65,535 without an acknowledgement; only messages
/// sent without asking for one can be more, and those promise nothing.
const WAITING: usize = 70_000;
/// Messages taken in by one commit.
const BATCH: usize = 512;
/// Waits between two tries to reach the broker: the first, and the longest.
const FIRST_WAIT: Duration = Duration::from_millis(500);
const LONGEST_WAIT: Duration = Duration::from_secs(30);
/// How long the disk is left alone after a commit failed.
const DISK_WAIT: Duration = Duration::from_secs(1);

/// How the way to the broker stands, for readiness.
#[derive(Debug, Clone, Default)]
pub(crate) struct Status {
    pub(crate) connected: bool,
    pub(crate) since_ms: i64,
    /// Why it is not connected, or what it may not hear.
    pub(crate) why: Option<String>,
    pub(crate) taken: usize,
    pub(crate) known: usize,
    pub(crate) held: usize,
    pub(crate) refused: usize,
    pub(crate) last_refusal: Option<String>,
}

/// The status, where tasks and readiness find it.
#[derive(Default)]
pub(crate) struct Broker(Mutex<Status>);

impl Broker {
    pub(crate) fn status(&self) -> MutexGuard<'_, Status> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Writes down a change, and says it once.
    fn is(&self, connected: bool, why: Option<String>, now_ms: i64) {
        let mut status = self.status();
        if status.connected != connected || status.since_ms == 0 {
            status.since_ms = now_ms;
            match &why {
                None => tracing::info!("the MQTT broker is connected"),
                Some(why) => tracing::warn!(why, "the MQTT broker is not there; trying again"),
            }
        }
        (status.connected, status.why) = (connected, why);
    }
}

/// A message and the connection it came by: its acknowledgement means nothing on another.
struct Came {
    message: Box<Message>,
    connection: u64,
}

/// Keeps the session while this instance has the duty, until told to stop: a broker knows one listener of a name.
pub(crate) async fn run(state: Arc<State>, stop: CancellationToken) {
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            () = state.others.duty_is(true) => {}
        }
        let turn = stop.child_token();
        let ends = async {
            tokio::select! {
                () = turn.cancelled() => {}
                () = state.others.duty_is(false) => turn.cancel(),
            }
        };
        tokio::join!(hear(&state, turn.clone()), ends);
    }
}

/// Keeps the session and takes its messages in, until told to stop.
async fn hear(state: &Arc<State>, stop: CancellationToken) {
    let mqtt = &state.settings.mqtt;
    // Both were checked with the settings.
    let (Ok(Some(address)), Ok(pattern)) = (mqtt.address(), Pattern::of(&mqtt.topic)) else { return };
    let mut session = Session::new(mqtt, &address);
    let (acks, connection) = (session.acks(), AtomicU64::new(0));
    let (send, receive) = mpsc::channel(WAITING);
    tokio::join!(
        listen(state, &mut session, &pattern, &connection, send, &stop),
        take(state, &pattern, &connection, acks, receive, &stop)
    );
    session.disconnect();
    // Says good-bye; a broker that does not listen is not waited for.
    let said = async { while session.next().await.is_ok() {} };
    drop(tokio::time::timeout(DISK_WAIT, said).await);
}

/// Polls the session: nothing slow may happen here.
async fn listen(
    state: &State,
    session: &mut Session,
    pattern: &Pattern,
    connection: &AtomicU64,
    send: mpsc::Sender<Came>,
    stop: &CancellationToken,
) {
    let broker = &state.intake.broker;
    let mut wait = FIRST_WAIT;
    loop {
        let happened = tokio::select! {
            () = stop.cancelled() => return,
            happened = session.next() => happened,
        };
        match happened {
            Ok(Happened::Connected) => {
                wait = FIRST_WAIT;
                connection.fetch_add(1, Ordering::SeqCst);
                let subscribed = session.subscribe(&pattern.filter());
                broker.is(true, subscribed.err(), state.now().ms());
            }
            Ok(Happened::Subscribed) => tracing::info!(topics = pattern.filter(), "hearing the broker"),
            Ok(Happened::NotAllowed) => {
                let why = format!("the broker does not let us hear {}", pattern.filter());
                tracing::error!(why, "check mqtt.username and the broker's permissions");
                broker.status().why = Some(why);
            }
            Ok(Happened::Message(message)) => {
                let came = Came { message, connection: connection.load(Ordering::SeqCst) };
                if let Err(TrySendError::Full(came)) = send.try_send(came) {
                    tracing::error!(
                        topic = came.message.topic,
                        "too many messages wait; this one is left to the broker"
                    );
                    broker.status().refused += 1;
                }
            }
            Ok(Happened::Nothing) => {}
            Err(why) => {
                broker.is(false, Some(why), state.now().ms());
                tokio::select! {
                    () = stop.cancelled() => return,
                    () = tokio::time::sleep(wait) => {}
                }
                wait = (wait * 2).min(LONGEST_WAIT);
            }
        }
    }
}

/// Takes in what gathered, and acknowledges it when it is on disk.
async fn take(
    state: &State,
    pattern: &Pattern,
    connection: &AtomicU64,
    acks: Acks,
    mut receive: mpsc::Receiver<Came>,
    stop: &CancellationToken,
) {
    let mut batch = Vec::new();
    loop {
        batch.clear();
        tokio::select! {
            () = stop.cancelled() => return,
            n = receive.recv_many(&mut batch, BATCH) => if n == 0 { return },
        }
        while let Err(problem) = take_in(state, pattern, &batch).await {
            tracing::error!(%problem, "readings from the broker could not be written; trying again");
            tokio::select! {
                // They were not acknowledged: the broker sends them again.
                () = stop.cancelled() => return,
                () = tokio::time::sleep(DISK_WAIT) => {}
            }
        }
        for came in batch.iter().filter(|came| came.connection == connection.load(Ordering::SeqCst)) {
            acks.acknowledge(&came.message).await;
        }
    }
}

async fn take_in(state: &State, pattern: &Pattern, batch: &[Came]) -> Result<(), Problem> {
    let mqtt: &Mqtt = &state.settings.mqtt;
    let now_ms = state.now().ms();
    let (mut offers, mut refused) = (Vec::new(), Vec::new());
    for (row, Came { message, .. }) in batch.iter().enumerate() {
        match message::read(mqtt, pattern, &message.topic, &message.payload, now_ms) {
            Ok((source, sample, stamped)) => offers.push(Offer { row, source, sample, stamped }),
            Err(problem) => refused.push(Refused::of(row, problem)),
        }
    }
    let (_, tally) = state.take_in(&mut Gate::new("mqtt"), offers, refused, |_| None).await?;
    let mut status = state.intake.broker.status();
    status.taken += tally.taken;
    status.known += tally.known;
    for refused in &tally.refused {
        let topic = &batch[refused.row].message.topic;
        let said = format!("{topic}: {}; {}", refused.detail, refused.mend);
        match refused.quarantined {
            Some(_) => {
                status.held += 1;
                tracing::info!(said, "a reading from the broker is held");
            }
            None => {
                status.refused += 1;
                tracing::warn!(said, "a message from the broker is no reading");
            }
        }
        status.last_refusal = Some(said);
    }
    Ok(())
}
