//! The one writer: a thread that owns the database, commits whatever gathered while its last commit was under way,
//! lets the keeper take it in, and only then answers.

use std::{
    collections::{HashMap, HashSet},
    sync::{
        Arc,
        atomic::{AtomicUsize, Ordering},
        mpsc::{Receiver, SyncSender, TrySendError, sync_channel},
    },
    thread::JoinHandle,
    time::{Duration, Instant},
};

use facts::{Reading, Recorded};

use crate::{Answer, Database, Error, Said, Saying, Since};

/// Most sayings committed at once: one commit of 512 takes about as long as ten of one.
const BATCH: usize = 512;
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
    Follow(Reply<Result<(), Error>>),
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
    /// Starts the writer on a thread of its own; join the handle after [`Writer::stop`]. At most `most` commands wait for
    /// it, from 1; what is said beyond is refused at once.
    ///
    /// # Errors
    /// When the thread cannot be started.
    pub fn start(
        database: Box<dyn Database>,
        keeper: impl Keeper<Refusal = R>,
        most: usize,
    ) -> std::io::Result<(Self, JoinHandle<()>)> {
        let (send, receive) = sync_channel(most);
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

    /// Takes in what others said to a shared database; `reply` is called when that is done. Where more waits than may, it
    /// is called at once: the commits that wait take it in anyway.
    pub fn follow(&self, reply: impl FnOnce(Result<(), Error>) + Send + 'static) {
        match self.send.try_send(Command::Follow(Box::new(reply))) {
            Err(TrySendError::Full(Command::Follow(reply))) => reply(Ok(())),
            Err(TrySendError::Disconnected(Command::Follow(reply))) => reply(Err(Error::Stopped)),
            _ => {}
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
            let (mut acts, mut followers) = (Vec::new(), Vec::new());
            if batch.is_empty() {
                match receive.recv() {
                    Ok(command) => stopping |= sort(command, &mut batch, &mut acts, &mut followers),
                    Err(_) => break,
                }
            }
            while batch.len() < BATCH
                && let Ok(command) = receive.try_recv()
            {
                stopping |= sort(command, &mut batch, &mut acts, &mut followers);
            }
            if !batch.is_empty() {
                late = self.commit(batch);
            }
            for act in acts {
                act(Ok(self.database.as_mut()));
            }
            for reply in followers {
                reply(self.follow());
            }
        }
    }

    /// Takes in what others said since it last heard of them.
    fn follow(&mut self) -> Result<(), Error> {
        let since = self.database.since()?;
        self.take_others(&since);
        Ok(())
    }

    fn take_others(&mut self, since: &Since) {
        if !since.facts.is_empty() || !since.readings.is_empty() {
            self.keeper.take(&since.facts, &since.readings);
        }
    }

    /// Commits a batch and answers it; gives back what must wait for the next one.
    fn commit(&mut self, batch: Vec<Waiting<K::Refusal>>) -> Vec<Waiting<K::Refusal>> {
        // What others said counts before anything is held against the bench.
        let before = self.fit_for_the_pen().and_then(|()| self.database.take_pen()).and_then(|since| {
            self.take_others(&since);
            self.before(&batch)
        });
        let before = match before {
            Ok(before) => before,
            Err(error) => {
                self.fail(batch, error);
                return vec![];
            }
        };
        let (mut held, mut late) = (HashSet::new(), Vec::new());
        let mut admitted: Vec<Waiting<K::Refusal>> = Vec::with_capacity(batch.len());
        for (saying, reply) in batch {
            let mut claims = self.keeper.claims(&saying);
            claims.extend(saying.answer.iter().map(|answer| format!("key {}", answer.key)));
            if claims.iter().any(|claim| held.contains(claim)) {
                late.push((saying, reply));
                continue;
            }
            match saying.answer.as_ref().and_then(|asked| said_before(&before, asked)) {
                Some(said) => self.answer(reply, Outcome::Said(said)),
                None => match self.keeper.admit(&saying) {
                    Err(refusal) => self.answer(reply, Outcome::Refused(refusal)),
                    Ok(()) => {
                        held.extend(claims);
                        admitted.push((saying, reply));
                    }
                },
            }
        }
        match admitted.is_empty() {
            true => self.database.lay_down(),
            false => self.write(admitted),
        }
        late
    }

    /// What was answered before to requests with these keys.
    fn before(&mut self, batch: &[Waiting<K::Refusal>]) -> Result<HashMap<String, Answer>, Error> {
        let keys: Vec<&str> =
            batch.iter().filter_map(|(saying, _)| saying.answer.as_ref()).map(|answer| answer.key.as_str()).collect();
        if keys.is_empty() {
            return Ok(HashMap::new());
        }
        Ok(self.database.answers(&keys)?.into_iter().map(|kept| (kept.key.clone(), kept)).collect())
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

    /// A commit failed: nobody's facts were written, or nobody knows whether they were. The connection is not trusted any
    /// further, since after a failed flush nobody knows what the system still holds.
    fn fail(&mut self, admitted: Vec<Waiting<K::Refusal>>, error: Error) {
        self.database.lay_down();
        self.doubted = true;
        let error = Arc::new(error);
        for (_, reply) in admitted {
            self.answer(reply, Outcome::Failed(error.clone()));
        }
    }

    /// A pen is of the connection that took it: one to a shared database is made afresh before, not between.
    fn fit_for_the_pen(&mut self) -> Result<(), Error> {
        if self.database.is_shared() { self.trusted() } else { Ok(()) }
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

/// What was answered to the same request before, or that its key was used for another.
fn said_before(before: &HashMap<String, Answer>, asked: &Answer) -> Option<Said> {
    let kept = before.get(&asked.key)?;
    Some(match kept.fingerprint == asked.fingerprint {
        true => Said::Before(kept.clone()),
        false => Said::KeyReused,
    })
}

type Followers = Vec<Reply<Result<(), Error>>>;

/// Puts a command where it belongs; whether it was the last.
fn sort<R>(command: Command<R>, batch: &mut Vec<Waiting<R>>, acts: &mut Vec<Act>, followers: &mut Followers) -> bool {
    match command {
        Command::Say(saying, reply) => batch.push((saying, reply)),
        Command::Act(act) => acts.push(act),
        Command::Follow(reply) => followers.push(reply),
        Command::Stop => return true,
    }
    false
}
