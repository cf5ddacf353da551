//! The other instances of the service on the same database: hears what they said, and which of all has the duty of telling
//! alerts, handing on deliveries and doing recurring work. Where the database is this program's own, it has the duty.

use std::{
    sync::{Arc, Mutex, PoisonError},
    time::Duration,
};

use store::{Database, Error};
use tokio::sync::{oneshot, watch};
use tokio_util::sync::CancellationToken;

use crate::{
    problem::Problem,
    state::{State, logged},
};

/// Longest the others go unheard when nothing rings, and the duty unasked for. The server waits four times as long.
const ASKED_EVERY: Duration = Duration::from_secs(1);

/// What links this instance with the others.
pub(crate) struct Others {
    /// A connection of its own: the duty hangs on it. None where nobody else writes.
    line: Option<Mutex<Box<dyn Database>>>,
    on_duty: watch::Sender<bool>,
}

impl Others {
    /// Links a service that has opened this database; asks for the duty at once.
    pub(crate) fn of(database: &mut dyn Database) -> Result<Self, Error> {
        if !database.is_shared() {
            return Ok(Self { line: None, on_duty: watch::Sender::new(true) });
        }
        let mut line = database.reopen()?;
        let on_duty = watch::Sender::new(line.on_duty()?);
        Ok(Self { line: Some(Mutex::new(line)), on_duty })
    }

    /// Whether other instances may write to this shop.
    pub(crate) fn may_be(&self) -> bool {
        self.line.is_some()
    }

    /// Whether this instance has the duty.
    pub(crate) fn on_duty(&self) -> bool {
        *self.on_duty.borrow()
    }

    /// Waits until this instance has the duty, or has it no more.
    pub(crate) async fn duty_is(&self, on: bool) {
        // An error means that the service is gone, and with it who waits.
        drop(self.on_duty.subscribe().wait_for(|now| *now == on).await);
    }
}

impl State {
    /// Takes in what other instances said, and waits until that is done.
    pub(crate) async fn follow(&self) -> Result<(), Problem> {
        let (tell, told) = oneshot::channel();
        self.writer.follow(move |done| drop(tell.send(done)));
        told.await.unwrap_or(Err(Error::Stopped)).map_err(|error| logged(&error))
    }

    /// Asks the line to the others something, off this thread.
    async fn ask_line<T: Send + 'static>(
        self: &Arc<Self>,
        ask: impl FnOnce(&mut dyn Database) -> Result<T, Error> + Send + 'static,
    ) -> Result<T, Problem> {
        let state = self.clone();
        let asked = tokio::task::spawn_blocking(move || {
            let line = state.others.line.as_ref().ok_or(Error::Stopped)?;
            ask(line.lock().unwrap_or_else(PoisonError::into_inner).as_mut())
        });
        asked.await.unwrap_or(Err(Error::Stopped)).map_err(|error| Problem::from(&error))
    }

    fn duty_is(&self, on: bool) {
        let changed = self.others.on_duty.send_if_modified(|now| std::mem::replace(now, on) != on);
        if changed {
            tracing::info!(on, "the duty of telling alerts changed");
            self.shared.alarms.notify_one();
            self.shared.deliveries.notify_one();
        }
    }
}

/// Asks for the duty, waits for news and follows them, until told to stop.
pub(crate) async fn run(state: Arc<State>, stop: CancellationToken) {
    let mut reached = true;
    loop {
        let asked = tokio::select! {
            () = stop.cancelled() => return,
            asked = step(&state) => asked,
        };
        if let Err(problem) = &asked {
            state.duty_is(false);
            if reached {
                tracing::error!(%problem, "the other instances are not heard; trying again");
            }
            tokio::time::sleep(ASKED_EVERY / 2).await;
        }
        reached = asked.is_ok();
    }
}

async fn step(state: &Arc<State>) -> Result<(), Problem> {
    let on = state.ask_line(|line| line.on_duty()).await?;
    if on && !state.others.on_duty() {
        // What the one before told is not due any more.
        state.follow().await?;
    }
    state.duty_is(on);
    state.ask_line(|line| line.wait_for_news(ASKED_EVERY)).await?;
    // A writer that is busy takes it in when it comes to it; the duty is not lost over that.
    tokio::time::timeout(ASKED_EVERY, state.follow()).await.unwrap_or(Ok(()))
}
