//! PostgreSQL: one database that several instances of the service may serve, and several shops live in.
//!
//! The row of a shop in the table `shop` is the **pen**: who writes facts or readings holds it (`FOR UPDATE`) from before
//! they are admitted until they are on disk, and it says how many there are. So places in the journal have no gaps and
//! become visible in their order, and whoever looks again learns what others wrote by asking for what stands behind the
//! last place it knows. A commit rings (`NOTIFY`) for the others. Who tells alerts holds the **duty**, a lock of its session,
//! which the server takes away from whoever has not spoken for four seconds.
//!
//! Start reading at `postgres/schema.rs`.

mod held;
mod journal;
mod kept;
mod line;
mod outbox;
mod schema;
mod tokens;
mod whole;

use std::{collections::BTreeSet, path::Path, time::Duration};

use facts::{Entry, Reading, Recorded, ZoneId};

use crate::{
    Answer, Database, Delivery, EachPiece, Error, Held, HeldState, Mean, NewDelivery, Off, Piece, Run, Saying, Since,
    Sqlite, Subscription, Token, WhichDeliveries,
};
use line::{Line, Place};

/// Facts read at once when others wrote many.
const PART: usize = 4096;

const PEN: &str = "SELECT last_fact, last_reading FROM shop FOR UPDATE";
const ENDS: &str = "SELECT last_fact, last_reading FROM shop";
const MOVE_ENDS: &str = "WITH moved AS (UPDATE shop SET last_fact = $1, last_reading = $2 RETURNING shop) \
                         SELECT pg_notify('benchclock', shop) FROM moved";
const DUTY: &str =
    "SELECT pg_try_advisory_lock(hashtextextended('benchclock duty ' || current_setting('benchclock.shop'), 0))";

/// How many facts and readings there are, as places of the last of them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Ends {
    fact: i64,
    reading: i64,
}

/// A shop in a PostgreSQL database.
pub struct Postgres {
    line: Line,
    /// Up to where whoever asks has heard.
    heard: Ends,
    /// The ends as they were when the pen was taken, while it is held.
    pen: Option<Ends>,
    /// Whether everything is seen as at one instant.
    still: bool,
    on_duty: bool,
    listens: bool,
    /// Months of readings that have a table.
    months: BTreeSet<i64>,
}

impl Postgres {
    /// Opens a shop in the database at a `postgres://` address, making the schema or bringing it up to date.
    ///
    /// # Errors
    /// When the address is none, the server is not reached, the schema too new, or the role may look over walls.
    pub fn open(url: &str, password: Option<&str>, shop: &str) -> Result<Self, Error> {
        let mut line = Line::connect(&Place::read(url, password, shop)?)?;
        schema::migrate(&mut line)?;
        Ok(Self::on(line))
    }

    fn on(line: Line) -> Self {
        let months = BTreeSet::new();
        Self { line, heard: Ends::default(), pen: None, still: false, on_duty: false, listens: false, months }
    }

    /// The line, connected again if it broke. What broke with it is told: a commit does not go on without its beginning.
    fn line(&mut self) -> Result<&mut Line, Error> {
        if self.line.is_closed() {
            let torn = self.pen.take().is_some() | std::mem::take(&mut self.still);
            (self.on_duty, self.listens) = (false, false);
            self.months.clear();
            self.line = Line::connect(&self.line.place.clone())?;
            if torn {
                let path = self.line.place.named.clone();
                return Err(Error::Away { path, why: "the line broke in the middle of it".into() });
            }
        }
        Ok(&mut self.line)
    }

    fn ends(&mut self, sql: &str) -> Result<Ends, Error> {
        let rows = self.line()?.query(sql, &[])?;
        let row = rows.first().ok_or_else(|| line::unreadable("the shop", "its row is gone; restore it"))?;
        Ok(Ends { fact: row.get(0), reading: row.get(1) })
    }

    /// What stands behind what was heard, facts to the last and readings to `ends`.
    fn behind(&mut self, ends: Ends) -> Result<Since, Error> {
        let mut since = Since::default();
        let mut heard = self.heard;
        while ends.fact > heard.fact {
            let part = journal::facts_after(self.line()?, heard.fact, PART)?;
            let Some(last) = part.last() else { break };
            heard.fact = last.seq;
            since.facts.extend(part);
        }
        if ends.reading > heard.reading {
            since.readings = journal::readings_after(self.line()?, heard.reading, ends.reading)?;
            heard.reading = ends.reading;
        }
        self.heard = heard;
        Ok(since)
    }

    fn write(&mut self, sayings: &[&Saying], ends: Ends) -> Result<(Vec<i64>, Ends), Error> {
        let entries: Vec<&Entry> = sayings.iter().flat_map(|saying| &saying.entries).collect();
        let numbered: Vec<(i64, &Entry)> = (ends.fact + 1..).zip(entries).collect();
        let mut came: Vec<journal::Came<'_>> = Vec::new();
        for saying in sayings {
            came.extend(saying.readings.iter().map(|reading| (saying.recorded_ms, reading)));
        }
        self.line()?;
        journal::make_months(&mut self.line, &mut self.months, &came)?;
        let line = &mut self.line;
        journal::add_facts(line, &numbered)?;
        journal::add_readings(line, ends.reading, &came)?;
        sayings.iter().try_for_each(|saying| held::add(line, saying))?;
        let deliveries: Vec<&NewDelivery> = sayings.iter().flat_map(|saying| &saying.deliveries).collect();
        outbox::add(line, &deliveries)?;
        let answers: Vec<(&Answer, i64)> =
            sayings.iter().filter_map(|saying| Some((saying.answer.as_ref()?, saying.recorded_ms))).collect();
        kept::add_answers(line, &answers)?;
        let ends = Ends { fact: ends.fact + numbered.len() as i64, reading: ends.reading + came.len() as i64 };
        line.execute(MOVE_ENDS, &[&ends.fact, &ends.reading])?;
        Ok((numbered.into_iter().map(|(seq, _)| seq).collect(), ends))
    }

    /// Several statements as one, without the pen: none of them is a fact or a reading.
    fn at_once<T>(&mut self, work: impl FnOnce(&mut Line) -> Result<T, Error>) -> Result<T, Error> {
        let line = self.line()?;
        line.batch("BEGIN")?;
        let done = work(line).and_then(|done| line.batch("COMMIT").map(|()| done));
        if done.is_err() {
            // The line may be gone, and the work with it.
            drop(line.batch("ROLLBACK"));
        }
        done
    }
}

impl Database for Postgres {
    fn is_shared(&self) -> bool {
        true
    }

    fn take_pen(&mut self) -> Result<Since, Error> {
        self.line()?.batch("BEGIN")?;
        self.pen = Some(Ends::default());
        let taken = self.ends(PEN).and_then(|ends| {
            self.pen = Some(ends);
            self.behind(ends)
        });
        if taken.is_err() {
            self.lay_down();
        }
        taken
    }

    fn lay_down(&mut self) {
        if self.pen.take().is_some() {
            // A line that broke has laid it down already.
            drop(self.line.batch("ROLLBACK"));
            self.months.clear();
        }
    }

    fn since(&mut self) -> Result<Since, Error> {
        let ends = self.ends(ENDS)?;
        self.behind(ends)
    }

    fn stand_still(&mut self) -> Result<(), Error> {
        self.line()?.batch(
            "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY; SET LOCAL idle_in_transaction_session_timeout = 0",
        )?;
        self.still = true;
        self.heard = self.ends(ENDS)?;
        Ok(())
    }

    fn go_on(&mut self) -> Result<(), Error> {
        self.still = false;
        self.line.batch("ROLLBACK")
    }

    fn wait_for_news(&mut self, at_most: Duration) -> Result<bool, Error> {
        self.line()?;
        if !self.listens {
            self.line.batch("LISTEN benchclock")?;
            self.listens = true;
            // What was rung until now nobody heard.
            return Ok(true);
        }
        Ok(self.line.wait(at_most))
    }

    fn on_duty(&mut self) -> Result<bool, Error> {
        self.line()?;
        if self.on_duty {
            // The server takes the lock from whoever does not speak.
            self.line.batch("SELECT 1").inspect_err(|_| self.on_duty = false)?;
        } else {
            self.line.batch("SET idle_session_timeout = '4s'")?;
            self.on_duty = self.line.query(DUTY, &[])?[0].get(0);
        }
        Ok(self.on_duty)
    }

    fn commit(&mut self, sayings: &[&Saying]) -> Result<Vec<i64>, Error> {
        if self.pen.is_none() {
            self.take_pen()?;
        }
        let before = self.pen.unwrap_or_default();
        match self.write(sayings, before) {
            Ok((seqs, ends)) => {
                let committed = self.line.batch("COMMIT");
                self.pen = None;
                committed.inspect_err(|_| self.months.clear())?;
                self.heard = ends;
                Ok(seqs)
            }
            Err(error) => {
                self.lay_down();
                Err(error)
            }
        }
    }

    fn answers(&mut self, keys: &[&str]) -> Result<Vec<Answer>, Error> {
        kept::answers(self.line()?, keys)
    }

    fn facts_after(&mut self, seq: i64, at_most: usize) -> Result<Vec<Recorded>, Error> {
        journal::facts_after(self.line()?, seq, at_most)
    }

    fn facts_of(&mut self, kind: &str) -> Result<Vec<Recorded>, Error> {
        journal::facts_of(self.line()?, kind)
    }

    fn readings(&mut self, zone: &ZoneId, from_ms: i64, each: &mut dyn FnMut(Reading)) -> Result<(), Error> {
        journal::readings(self.line()?, zone, from_ms, each)
    }

    fn held(&mut self, zone: &ZoneId, state: HeldState, after: i64, at_most: usize) -> Result<Vec<Held>, Error> {
        held::list(self.line()?, zone, state, after, at_most)
    }

    fn held_one(&mut self, id: i64) -> Result<Option<Held>, Error> {
        held::one(self.line()?, id)
    }

    fn due_deliveries(&mut self, now_ms: i64, of_each: usize) -> Result<Vec<Delivery>, Error> {
        outbox::due(self.line()?, now_ms, of_each)
    }

    fn bring_forward(&mut self, now_ms: i64, before_ms: i64) -> Result<(), Error> {
        outbox::bring_forward(self.line()?, now_ms, before_ms)
    }

    fn taken_at(&mut self, channel: &str, at_ms: i64) -> Result<Vec<Delivery>, Error> {
        outbox::taken_at(self.line()?, channel, at_ms)
    }

    fn fresh_deliveries(&mut self, channel: &str, now_ms: i64) -> Result<Vec<Delivery>, Error> {
        outbox::fresh(self.line()?, channel, now_ms)
    }

    fn next_deliveries(&mut self) -> Result<Vec<(String, i64)>, Error> {
        outbox::next(self.line()?)
    }

    fn deliveries_of(&mut self, alert: &str) -> Result<Vec<Delivery>, Error> {
        outbox::of_alert(self.line()?, alert)
    }

    fn list_deliveries(&mut self, which: &WhichDeliveries, at_most: usize) -> Result<Vec<Delivery>, Error> {
        outbox::list(self.line()?, which, at_most)
    }

    fn last_tried(&mut self) -> Result<Vec<Delivery>, Error> {
        outbox::last_tried(self.line()?)
    }

    fn record_deliveries(&mut self, gone: &[Delivery], next: &[NewDelivery]) -> Result<(), Error> {
        let next: Vec<&NewDelivery> = next.iter().collect();
        self.at_once(|line| outbox::record(line, gone).and_then(|()| outbox::add(line, &next)))
    }

    fn put_subscription(&mut self, subscription: &Subscription) -> Result<(), Error> {
        kept::put_subscription(self.line()?, subscription)
    }

    fn subscriptions(&mut self, person: Option<&str>) -> Result<Vec<Subscription>, Error> {
        kept::subscriptions(self.line()?, person)
    }

    fn forget_subscription(&mut self, id: &str) -> Result<bool, Error> {
        kept::forget_subscription(self.line()?, id)
    }

    fn switch_off(&mut self, off: &Off) -> Result<(), Error> {
        kept::switch_off(self.line()?, off)
    }

    fn switch_on(&mut self, channel: &str) -> Result<(), Error> {
        kept::switch_on(self.line()?, channel)
    }

    fn switched_off(&mut self) -> Result<Vec<Off>, Error> {
        kept::switched_off(self.line()?)
    }

    fn keep_file(&mut self, name: &str, bytes: &[u8]) -> Result<bool, Error> {
        kept::keep_file(self.line()?, name, bytes)
    }

    fn file(&mut self, name: &str) -> Result<Option<Vec<u8>>, Error> {
        kept::file(self.line()?, name)
    }

    fn forget_file(&mut self, name: &str) -> Result<bool, Error> {
        kept::forget_file(self.line()?, name)
    }

    fn add_token(&mut self, token: &Token) -> Result<bool, Error> {
        tokens::add(self.line()?, token)
    }

    fn tokens(&mut self) -> Result<Vec<Token>, Error> {
        tokens::list(self.line()?)
    }

    fn token_used(&mut self, id: &str, at_ms: i64) -> Result<(), Error> {
        tokens::used(self.line()?, id, at_ms)
    }

    fn revoke_token(&mut self, name: &str, by: &str, at_ms: i64) -> Result<bool, Error> {
        self.at_once(|line| tokens::revoke(line, name, by, at_ms))
    }

    fn end_session(&mut self, id: &str) -> Result<(), Error> {
        tokens::end_session(self.line()?, id)
    }

    fn record_run(&mut self, run: &Run) -> Result<(), Error> {
        kept::record_run(self.line()?, run)
    }

    fn last_runs(&mut self) -> Result<Vec<Run>, Error> {
        kept::last_runs(self.line()?)
    }

    fn thin_readings(&mut self, zone: &ZoneId, before_ms: i64, means: &[Mean]) -> Result<(), Error> {
        self.at_once(|line| held::thin(line, zone, before_ms, means))
    }

    fn means(&mut self, zone: &str, from_ms: i64, to_ms: i64) -> Result<Vec<Mean>, Error> {
        held::means(self.line()?, zone, from_ms, to_ms)
    }

    fn forget_means(&mut self, before_ms: i64) -> Result<(), Error> {
        self.line()?.execute("DELETE FROM reading_mean WHERE from_ms < $1", &[&before_ms]).map(drop)
    }

    fn forget_finished(&mut self, before_ms: i64) -> Result<(), Error> {
        self.at_once(|line| kept::forget_finished(line, before_ms))
    }

    fn days_on_record(&mut self, until_ms: i64, at_most: usize) -> Result<Vec<i64>, Error> {
        kept::days(self.line()?, until_ms, at_most)
    }

    fn probe(&mut self) -> Result<(), Error> {
        kept::record_run(self.line()?, &Run { job: "probe".into(), at_ms: 0, error: None })
    }

    /// The copy is a file of SQLite: the whole shop, which can be served, or moved back.
    fn backup(&mut self, to: &Path) -> Result<(), Error> {
        let shop = self.line.place.shop.clone();
        let mut copy = Sqlite::open(to, &shop)?;
        crate::carry(self, &mut copy)?;
        copy.close_whole(to)
    }

    fn everything(&mut self, each: &mut EachPiece<'_>) -> Result<(), Error> {
        self.stand_still()?;
        let handed = whole::everything(self.line()?, each);
        self.go_on()?;
        handed
    }

    fn fill(&mut self, pieces: &mut dyn Iterator<Item = Result<Piece, String>>) -> Result<u64, Error> {
        self.take_pen()?;
        let filled = self.fill_held(pieces);
        self.pen = None;
        match filled {
            Ok(n) => self.line.batch("COMMIT").map(|()| n),
            Err(error) => {
                drop(self.line.batch("ROLLBACK"));
                self.months.clear();
                Err(error)
            }
        }
    }

    fn reopen(&self) -> Result<Box<dyn Database>, Error> {
        let line = Line::connect(&self.line.place)?;
        Ok(Box::new(Self { heard: self.heard, ..Self::on(line) }))
    }
}

impl Postgres {
    /// Fills the shop while the pen is held, which nobody takes away for thinking.
    fn fill_held(&mut self, pieces: &mut dyn Iterator<Item = Result<Piece, String>>) -> Result<u64, Error> {
        let before = self.pen.unwrap_or_default();
        self.line()?.batch("SET LOCAL idle_in_transaction_session_timeout = 0")?;
        if before != Ends::default() {
            return Err(Error::NotEmpty { path: self.line.place.named.clone() });
        }
        let filled = whole::fill(&mut self.line, &mut self.months, pieces)?;
        self.line.execute(MOVE_ENDS, &[&filled.last_fact, &filled.last_reading])?;
        self.heard = Ends { fact: filled.last_fact, reading: filled.last_reading };
        Ok(filled.pieces)
    }
}
