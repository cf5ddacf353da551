//! The one writer: a thread that owns the database, commits whatever gathered while its last commit was under way,
//! lets the keeper take it in, and only then answers.

use std::{
    collections::HashSet,
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
        mpsc::{Receiver, SyncSender, TrySendError, sync_channel},
    },
    thread::JoinHandle,
    time::{Duration, Instant},
};

use facts::{Reading, Recorded};

use crate::{Answer, Database, Error, Said, Saying};

/// Most sayings committed at once: one commit of 512 takes about as long as ten of one.
const BATCH: usize = 512;
/// Most sayings that may wait: some seconds' worth on a slow disk.
const WAITING: usize = 8192;

/// Who holds the state that facts are admitted against and taken into.
pub trait Keeper: Send + 'static {
    /// Why a saying is not admitted.
    type Refusal: Send + 'static;

    /// Whether a saying may be said, as things stand now.
    ///
    /// # Errors
    /// The refusal; it changes nothing.
    fn admit(&mut self, saying: &Saying) -> Result<(), Self::Refusal>;

    /// What a saying lays hold of; two that share a claim are not committed together, so that the second is held
    /// against what the first changed.
    fn claims(&self, saying: &Saying) -> Vec<String>;

    /// Told how long a commit took until it was on disk.
    fn committed(&mut self, _took: Duration) {}

    /// Takes in what is on disk now. Called before anybody is answered.
    fn take(&mut self, facts: &[Recorded], readings: &[Reading]);
}

/// What became of a saying, in all.
pub enum Outcome<R> {
    /// The database spoke.
    Said(Said),
    /// The keeper did not admit it.
    Refused(R),
    /// The database failed; the same failure is told to everybody who was in the commit.
    Failed(Arc<Error>),
}

type Reply<T> = Box<dyn FnOnce(T) + Send>;
type Act = Box<dyn FnOnce(Result<&mut dyn Database, Error>) + Send>;

enum Command<R> {
    Say(Box<Saying>, Reply<Outcome<R>>),
    Act(Act),
    Stop,
}

/// A handle to the writer. Cheap to clone; the thread ends when it is told to stop.
pub struct Writer<R> {
    send: SyncSender<Command<R>>,
    waiting: Arc<AtomicUsize>,
}

impl<R> Clone for Writer<R> {
    fn clone(&self) -> Self {
        Self { send: self.send.clone(), waiting: self.waiting.clone() }
    }
}

impl<R: Send + 'static> Writer<R> {
    /// Starts the writer on a thread of its own; join the handle after [`Writer::stop`].
    ///
    /// # Errors
    /// When the thread cannot be started.
    pub fn start(
        database: Box<dyn Database>,
        keeper: impl Keeper<Refusal = R>,
    ) -> std::io::Result<(Self, JoinHandle<()>)> {
        let (send, receive) = sync_channel(WAITING);
        let waiting = Arc::new(AtomicUsize::new(0));
        let desk = Desk { database, keeper, waiting: waiting.clone(), doubted: false };
        let thread = std::thread::Builder::new().name("writer".into()).spawn(move || desk.run(&receive))?;
        Ok((Self { send, waiting }, thread))
    }

    /// Says something; `reply` is called once, from the writer's thread, when it is on disk and taken in.
    /// It is called at once when nothing more may wait.
    pub fn say(&self, saying: Saying, reply: impl FnOnce(Outcome<R>) + Send + 'static) {
        self.waiting.fetch_add(1, Ordering::Relaxed);
        if let Err(error) = self.send.try_send(Command::Say(Box::new(saying), Box::new(reply))) {
            let waiting = self.waiting.fetch_sub(1, Ordering::Relaxed) - 1;
            let (command, error) = match error {
                TrySendError::Full(command) => (command, Error::Busy { waiting }),
                TrySendError::Disconnected(command) => (command, Error::Stopped),
            };
            if let Command::Say(_, reply) = command {
                reply(Outcome::Failed(Arc::new(error)));
            }
        }
    }

    /// How many sayings wait.
    pub fn waiting(&self) -> usize {
        self.waiting.load(Ordering::Relaxed)
    }

    /// Does something else with the database between two commits. It is told the error at once when nothing more may
    /// wait or the writer has stopped: whoever asks is never held up.
    pub fn act(&self, act: impl FnOnce(Result<&mut dyn Database, Error>) + Send + 'static) {
        let (command, error) = match self.send.try_send(Command::Act(Box::new(act))) {
            Ok(()) => return,
            Err(TrySendError::Full(command)) => (command, Error::Busy { waiting: self.waiting() }),
            Err(TrySendError::Disconnected(command)) => (command, Error::Stopped),
        };
        if let Command::Act(act) = command {
            act(Err(error));
        }
    }

    /// Stops the writer once everything said before is on disk.
    pub fn stop(&self) {
        // An error means that it has stopped already.
        drop(self.send.send(Command::Stop));
    }
}

/// The writer's own side.
struct Desk<K> {
    database: Box<dyn Database>,
    keeper: K,
    waiting: Arc<AtomicUsize>,
    /// Whether the last commit failed on this connection.
    doubted: bool,
}

type Waiting<R> = (Box<Saying>, Reply<Outcome<R>>);

impl<K: Keeper> Desk<K> {
    fn run(mut self, receive: &Receiver<Command<K::Refusal>>) {
        let mut late: Vec<Waiting<K::Refusal>> = Vec::new();
        let mut stopping = false;
        while !stopping || !late.is_empty() {
            let mut batch = std::mem::take(&mut late);
            let mut acts = Vec::new();
            if batch.is_empty() {
                match receive.recv() {
                    Ok(command) => stopping |= sort(command, &mut batch, &mut acts),
                    Err(_) => break,
                }
            }
            while batch.len() < BATCH
                && let Ok(command) = receive.try_recv()
            {
                stopping |= sort(command, &mut batch, &mut acts);
            }
            late = self.commit(batch);
            for act in acts {
                act(Ok(self.database.as_mut()));
            }
        }
    }

    /// Commits a batch and answers it; gives back what must wait for the next one.
    fn commit(&mut self, batch: Vec<Waiting<K::Refusal>>) -> Vec<Waiting<K::Refusal>> {
        let (mut held, mut late) = (HashSet::new(), Vec::new());
        let mut admitted: Vec<Waiting<K::Refusal>> = Vec::with_capacity(batch.len());
        for (saying, reply) in batch {
            let mut claims = self.keeper.claims(&saying);
            claims.extend(saying.answer.iter().map(|answer| format!("key {}", answer.key)));
            if claims.iter().any(|claim| held.contains(claim)) {
                late.push((saying, reply));
                continue;
            }
            match self.before(saying.answer.as_ref()) {
                Ok(Some(said)) => self.answer(reply, Outcome::Said(said)),
                Err(error) => self.answer(reply, Outcome::Failed(Arc::new(error))),
                Ok(None) => match self.keeper.admit(&saying) {
                    Err(refusal) => self.answer(reply, Outcome::Refused(refusal)),
                    Ok(()) => {
                        held.extend(claims);
                        admitted.push((saying, reply));
                    }
                },
            }
        }
        if !admitted.is_empty() {
            self.write(admitted);
        }
        late
    }

    /// What was answered to the same request before.
    fn before(&mut self, answer: Option<&Answer>) -> Result<Option<Said>, Error> {
        let Some(asked) = answer else { return Ok(None) };
        Ok(self.database.answer(&asked.key)?.map(|kept| match kept.fingerprint == asked.fingerprint {
            true => Said::Before(kept),
            false => Said::KeyReused,
        }))
    }

    fn write(&mut self, admitted: Vec<Waiting<K::Refusal>>) {
        let sayings: Vec<&Saying> = admitted.iter().map(|(saying, _)| saying.as_ref()).collect();
        #[expect(clippy::disallowed_methods, reason = "how long a commit took, never when it was")]
        let began = Instant::now();
        let committed = self.trusted().and_then(|()| self.database.commit(&sayings));
        self.keeper.committed(began.elapsed());
        let seqs = match committed {
            Ok(seqs) => seqs,
            Err(error) => return self.fail(admitted, error),
        };
        let mut seqs = seqs.into_iter();
        let mut replies = Vec::with_capacity(admitted.len());
        let (mut facts, mut readings) = (Vec::new(), Vec::new());
        for (saying, reply) in admitted {
            facts.extend(saying.entries.into_iter().zip(&mut seqs).map(|(entry, seq)| Recorded {
                seq,
                happened_at: entry.happened_at,
                recorded_at: entry.recorded_at,
                by: entry.by,
                fact: entry.fact,
            }));
            readings.extend(saying.readings);
            replies.push(reply);
        }
        self.keeper.take(&facts, &readings);
        for reply in replies {
            self.answer(reply, Outcome::Said(Said::Kept));
        }
    }

    /// A commit failed: nobody's facts were written. The connection is not trusted any further, since after a failed
    /// flush nobody knows what the system still holds.
    fn fail(&mut self, admitted: Vec<Waiting<K::Refusal>>, error: Error) {
        self.doubted = true;
        let error = Arc::new(error);
        for (_, reply) in admitted {
            self.answer(reply, Outcome::Failed(error.clone()));
        }
    }

    /// A fresh connection in place of one that failed, which has proved that it can write: on a disk that became
    /// read-only it opens as well and cannot. Without it nothing more is written.
    fn trusted(&mut self) -> Result<(), Error> {
        if self.doubted {
            let mut fresh = self.database.reopen()?;
            fresh.probe()?;
            (self.database, self.doubted) = (fresh, false);
        }
        Ok(())
    }

    fn answer(&self, reply: Reply<Outcome<K::Refusal>>, outcome: Outcome<K::Refusal>) {
        self.waiting.fetch_sub(1, Ordering::Relaxed);
        reply(outcome);
    }
}

/// Puts a command where it belongs; whether it was the last.
fn sort<R>(command: Command<R>, batch: &mut Vec<Waiting<R>>, acts: &mut Vec<Act>) -> bool {
    match command {
        Command::Say(saying, reply) => batch.push((saying, reply)),
        Command::Act(act) => acts.push(act),
        Command::Stop => return true,
    }
    false
}
