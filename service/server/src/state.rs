//! What every handler and task shares: the bench, the rules, the writer, the news.

use std::{
    collections::BTreeMap,
    sync::{
        Arc, Mutex, PoisonError, RwLock, RwLockReadGuard, RwLockWriteGuard,
        atomic::{AtomicI64, Ordering},
    },
};

use chrono_tz::Tz;
use clock::{Bench, Refusal, claims};
use facts::{Entry, Fact, Reading, Recorded};
use rules::{Fault, Hooks, Rulebook};
use store::{Answer, Database, Error, Keeper, NewDelivery, Outcome, Said, Saying, Writer};
use tokio::sync::{Notify, broadcast, oneshot};

use crate::{
    access::{Book, Limits, said_by},
    alerts::Unwritten,
    believed::Believed,
    calendar::Shown,
    certificate::Certificate,
    intake::Intake,
    keys::Keys,
    meters::Meters,
    news::{News, What},
    now::{LastSeen, Now, SetBack, instant},
    others::Others,
    problem::{Kind, Problem},
    scripts::follow::Agreed,
    settings::Settings,
};

/// By whom something is said at the bench when nobody showed a token.
pub(crate) const BENCH: &str = "bench";

/// Part of the state that the writer's thread needs too.
pub struct Shared {
    /// Everything the shop knows.
    bench: RwLock<Bench>,
    /// Who wants to hear of facts. A listener that falls behind reads the journal instead.
    pub(crate) news: broadcast::Sender<News>,
    /// Place in the journal of the last fact taken in.
    pub(crate) last_seq: AtomicI64,
    /// Rung when the next alarm may have changed.
    pub(crate) alarms: Notify,
    /// Rung when something entered the outbox.
    pub(crate) deliveries: Notify,
    /// Rung when a rule came in force.
    pub(crate) rules: Notify,
    pub(crate) now: Now,
    pub(crate) meters: Meters,
}

impl Shared {
    /// An empty hall around a bench.
    pub(crate) fn new(bench: Bench, last_seq: i64, now: Now) -> Self {
        let (news, _) = broadcast::channel(1024);
        Self {
            bench: RwLock::new(bench),
            news,
            last_seq: AtomicI64::new(last_seq),
            alarms: Notify::new(),
            deliveries: Notify::new(),
            rules: Notify::new(),
            now,
            meters: Meters::new(),
        }
    }

    /// Looks at the bench.
    pub fn bench(&self) -> RwLockReadGuard<'_, Bench> {
        self.bench.read().unwrap_or_else(PoisonError::into_inner)
    }

    pub(crate) fn bench_mut(&self) -> RwLockWriteGuard<'_, Bench> {
        self.bench.write().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What every handler and task shares.
pub struct State {
    pub(crate) shared: Arc<Shared>,
    pub(crate) rulebook: Arc<Rulebook>,
    pub(crate) writer: Writer<Refusal>,
    /// A second connection for reading, so that a long list does not hold up a commit.
    reader: Mutex<Box<dyn Database>>,
    /// The other instances on the same database.
    pub(crate) others: Others,
    pub(crate) settings: Settings,
    pub(crate) intake: Intake,
    /// The shop's own scripts.
    pub(crate) hooks: Hooks,
    pub(crate) zone: Tz,
    pub(crate) keys: Keys,
    /// Who may enter.
    pub(crate) access: Book,
    /// How often.
    pub(crate) limits: Limits,
    /// What it shows of itself over TLS, where it has TLS.
    pub(crate) certificate: Option<Arc<Certificate>>,
    /// Whether the clock can be believed.
    pub(crate) believed: Believed,
    /// What was told while it could not be written down.
    pub(crate) unwritten: Unwritten,
    /// What the calendar showed last.
    pub(crate) shown: Shown,
    /// One at a time changes which rules are in force: the folder is not read while a text is saved into it.
    pub(crate) scripts: tokio::sync::Mutex<Agreed>,
    /// One at a time takes an alert back or writes down that it was told, so that nobody who was told is missed.
    pub(crate) taking_back: tokio::sync::Mutex<()>,
    /// Why nobody can be told anything, while that is so.
    pub(crate) cannot_tell: Mutex<Option<String>>,
    /// Scripts that are not in force because of a fault, by file.
    pub(crate) faults: RwLock<BTreeMap<String, Fault>>,
    /// When the alarms were last looked at.
    pub(crate) alarm_looks: LastSeen,
    /// What the clock said when the outbox was last worked off.
    pub(crate) delivery_clock: SetBack,
    /// From when on it can do its work, ms: since it started, or since its clock is right.
    pub(crate) working_since_ms: AtomicI64,
    /// The bench plan people go by.
    pub(crate) plan_wall: crate::plan::PlanWall,
    /// Ends the event streams when the service stops: a stream must not hold a worker up.
    pub(crate) stop: tokio_util::sync::CancellationToken,
}

/// What a State is made of.
pub(crate) struct Parts {
    pub(crate) shared: Arc<Shared>,
    pub(crate) rulebook: Arc<Rulebook>,
    pub(crate) writer: Writer<Refusal>,
    pub(crate) reader: Box<dyn Database>,
    pub(crate) others: Others,
    pub(crate) settings: Settings,
    pub(crate) zone: Tz,
    pub(crate) keys: Keys,
    pub(crate) certificate: Option<Arc<Certificate>>,
    pub(crate) believed: Believed,
}

impl State {
    pub(crate) fn new(parts: Parts) -> Self {
        let Parts { shared, rulebook, writer, reader, others, settings, zone, keys, certificate, believed } = parts;
        Self {
            working_since_ms: AtomicI64::new(shared.now.ms()),
            shared,
            rulebook,
            writer,
            reader: Mutex::new(reader),
            access: Book::default(),
            limits: Limits::new(settings.access.requests_per_s),
            certificate,
            others,
            plan_wall: crate::plan::PlanWall::open(settings.store.folder()),
            settings,
            intake: Intake::default(),
            hooks: Hooks::default(),
            zone,
            keys,
            believed,
            unwritten: Unwritten::default(),
            shown: Shown::default(),
            scripts: tokio::sync::Mutex::default(),
            taking_back: tokio::sync::Mutex::default(),
            cannot_tell: Mutex::default(),
            faults: RwLock::default(),
            alarm_looks: LastSeen::default(),
            delivery_clock: SetBack::default(),
            stop: tokio_util::sync::CancellationToken::new(),
        }
    }

    /// The clock everything here goes by.
    pub fn now(&self) -> &Now {
        &self.shared.now
    }

    /// Looks at the bench.
    pub fn bench(&self) -> RwLockReadGuard<'_, Bench> {
        self.shared.bench()
    }

    /// An instant as it is written in answers: RFC 3339 with the shop's offset, whole seconds.
    pub(crate) fn rfc3339(&self, at_ms: i64) -> String {
        let secs = chrono::SecondsFormat::Secs;
        instant(at_ms).with_timezone(&self.zone).to_rfc3339_opts(secs, false)
    }

    /// Asks the reading connection something, off the request's thread.
    pub(crate) async fn read<T: Send + 'static>(
        self: &Arc<Self>,
        ask: impl FnOnce(&mut dyn Database) -> Result<T, Error> + Send + 'static,
    ) -> Result<T, Problem> {
        let state = self.clone();
        let asked = tokio::task::spawn_blocking(move || {
            let mut reader = state.reader.lock().unwrap_or_else(PoisonError::into_inner);
            ask(reader.as_mut())
        });
        match asked.await {
            Ok(Ok(found)) => Ok(found),
            Ok(Err(error)) => Err(logged(&error)),
            Err(_) => Err(Problem::new(Kind::Internal, "reading the journal failed", "try again; the log says more")),
        }
    }

    /// Lets the writer do something with its own connection and waits for it.
    pub(crate) async fn act<T: Send + 'static>(
        &self,
        act: impl FnOnce(&mut dyn Database) -> Result<T, Error> + Send + 'static,
    ) -> Result<T, Problem> {
        let (tell, told) = oneshot::channel();
        self.writer.act(move |database| drop(tell.send(database.and_then(act))));
        match told.await {
            Ok(Ok(done)) => Ok(done),
            Ok(Err(error)) => Err(logged(&error)),
            Err(_) => Err(Problem::from(&Error::Stopped)),
        }
    }

    /// Says something and waits until it is on disk and taken in. Nothing is said while the clock is doubted: it would
    /// bear a time that is none.
    pub(crate) async fn say(&self, saying: Saying) -> Result<Said, Problem> {
        if let Some(doubt) = self.doubt() {
            return Err(doubt);
        }
        let (tell, told) = oneshot::channel();
        self.writer.say(saying, move |outcome| drop(tell.send(outcome)));
        match told.await {
            Ok(Outcome::Said(said)) => Ok(said),
            Ok(Outcome::Refused(refusal)) => Err(refusal.into()),
            Ok(Outcome::Failed(error)) => Err(logged(&error)),
            Err(_) => Err(Problem::from(&Error::Stopped)),
        }
    }

    /// Says one fact that happened at an instant, because `by` said so. A repeated request gets no second fact.
    pub(crate) async fn say_fact(
        &self,
        fact: Fact,
        at_ms: i64,
        by: &str,
        answer: Option<Answer>,
    ) -> Result<Said, Problem> {
        self.say_once(self.saying(fact, at_ms, by, vec![], answer)).await
    }

    /// Says something under the key of its request, if it has one; a key used for another request is a problem.
    pub(crate) async fn say_once(&self, saying: Saying) -> Result<Said, Problem> {
        match self.say(saying).await? {
            Said::KeyReused => Err(Problem::new(
                Kind::KeyReused,
                "this Idempotency-Key came before with another request",
                "use a new key for each new thing; repeat a key only to repeat the same request",
            )
            .about("Idempotency-Key")),
            said => Ok(said),
        }
    }

    pub(crate) fn saying(
        &self,
        fact: Fact,
        at_ms: i64,
        by: &str,
        deliveries: Vec<NewDelivery>,
        answer: Option<Answer>,
    ) -> Saying {
        let recorded_ms = self.now().ms();
        // What is said at the bench is said by whoever showed a token there.
        let by = if by == BENCH { said_by(by) } else { by.into() };
        let entry = Entry { happened_at: instant(at_ms), recorded_at: instant(recorded_ms), by, fact };
        Saying { entries: vec![entry], recorded_ms, deliveries, answer, ..Saying::default() }
    }
}

pub(crate) fn logged(error: &Error) -> Problem {
    tracing::error!(%error, "the store failed");
    Problem::from(error)
}

/// Remembers the text of a rule that came in force, wherever that was said.
pub(crate) fn remember(rulebook: &Rulebook, fact: &Fact) {
    if let Fact::RulePutInForce(rule) = fact {
        rulebook.remember(&rule.version, &rule.file, &rule.text);
        rule.override_reason.iter().for_each(|reason| rulebook.excuse(&rule.version, reason));
    }
}

/// The writer's view of the bench: admits against it, takes into it.
pub(crate) struct BenchKeeper {
    pub(crate) shared: Arc<Shared>,
    pub(crate) rulebook: Arc<Rulebook>,
}

impl Keeper for BenchKeeper {
    type Refusal = Refusal;

    fn admit(&mut self, saying: &Saying) -> Result<(), Refusal> {
        let (bench, now_ms) = (self.shared.bench(), self.shared.now.ms());
        for entry in &saying.entries {
            bench.admit(&entry.fact, entry.happened_at.timestamp_millis(), now_ms)?;
            if let Fact::ZoneSet(set) = &entry.fact
                && saying.fresh
                && bench.timeline(set.id.as_str()).is_some()
            {
                return Err(Refusal::Exists { what: "zone", id: set.id.to_string() });
            }
        }
        saying.readings.iter().try_for_each(|reading| bench.admit_reading(reading, now_ms))
    }

    fn claims(&self, saying: &Saying) -> Vec<String> {
        let of_entry = |entry: &Entry| {
            claims(&entry.fact).into_iter().map(|(kind, id)| format!("{kind} {id}")).collect::<Vec<_>>()
        };
        saying.entries.iter().flat_map(of_entry).collect()
    }

    fn committed(&mut self, took: std::time::Duration) {
        self.shared.meters.note(|| metrics::histogram!(crate::meters::COMMIT).record(took.as_secs_f64()));
    }

    fn take(&mut self, facts: &[Recorded], readings: &[Reading]) {
        facts.iter().for_each(|fact| remember(&self.rulebook, &fact.fact));
        {
            let mut bench = self.shared.bench_mut();
            facts.iter().for_each(|fact| bench.take(fact));
            readings.iter().for_each(|reading| bench.take_reading(reading));
        }
        if let Some(last) = facts.last() {
            self.shared.last_seq.store(last.seq, Ordering::SeqCst);
        }
        self.shared.alarms.notify_one();
        self.shared.meters.note(|| {
            metrics::counter!("benchclock_facts_total").increment(facts.len() as u64);
            metrics::counter!("benchclock_readings_total").increment(readings.len() as u64);
        });
        let tells = |fact: &Recorded| {
            let (Fact::AlertRaised(_)
            | Fact::AlertRepeated { .. }
            | Fact::AlertRetracted { .. }
            | Fact::CureWithdrawn { .. }) = fact.fact
            else {
                return false;
            };
            true
        };
        if facts.iter().any(tells) {
            self.shared.deliveries.notify_one();
        }
        if facts.iter().any(|fact| matches!(fact.fact, Fact::RulePutInForce(_))) {
            self.shared.rules.notify_one();
        }
        // Nobody listening is no error.
        if self.shared.news.receiver_count() > 0 {
            for fact in facts {
                drop(self.shared.news.send(News::of(What::Fact(fact.clone()))));
            }
            for reading in readings {
                drop(self.shared.news.send(News::of(What::Reading(reading.clone()))));
            }
        }
    }
}
