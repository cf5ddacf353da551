//! SQLite: the statements about facts, readings, answers and runs. The schema is in `schema.rs`, what is held back in
//! `held.rs`, deliveries in `outbox.rs`, who receives them in `receivers.rs`, who may enter in `tokens.rs`, photos and keys in
//! `files.rs`.
//!
//! Write-ahead log with `synchronous = FULL`: a commit is on disk when it returns. Writers begin IMMEDIATE, because
//! a deferred transaction that reads and then writes fails at once when another wrote in between. No mmap.

use std::{path::Path, time::Duration};

use chrono::{DateTime, Utc};
use facts::{Fact, Reading, Recorded, RhPct, SensorId, TempC, ZoneId};
use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};

use crate::{
    Answer, Database, Delivery, EachPiece, Error, Held, HeldState, Mean, NewDelivery, Off, Piece, Row, Run, Saying,
    Subscription, Token, WhichDeliveries, files, held, means, outbox, private, receivers, schema::MIGRATIONS, tokens,
    whole,
};

/// SQLite before this could corrupt its write-ahead log when two connections met at a checkpoint.
const LEAST_VERSION: (&str, i32) = ("3.51.3", 3_051_003);

/// What a log that grew while somebody read for long is cut back to, bytes; otherwise it stays as large as it ever was.
const LOG_KEPT: i64 = 16 << 20;

/// Facts read at once on the way out.
const PART: i64 = 4096;

const ADD_FACT: &str = "INSERT INTO journal (shop, kind, happened_ms, recorded_ms, by_whom, body) \
                        VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
pub(crate) const ADD_READING: &str = "INSERT INTO reading (zone, at_ms, recorded_ms, n, temp_c, rh_pct, sensor) VALUES \
     (?1, ?2, ?3, (SELECT count(*) FROM reading WHERE zone = ?1 AND at_ms = ?2), ?4, ?5, ?6)";
pub(crate) const ADD_ANSWER: &str =
    "INSERT INTO answer (key, fingerprint, status, body, recorded_ms) VALUES (?1, ?2, ?3, ?4, ?5)";
const FIND_ANSWER: &str = "SELECT key, fingerprint, status, body FROM answer WHERE key = ?1";
const FACTS_AFTER: &str =
    "SELECT seq, happened_ms, recorded_ms, by_whom, body FROM journal WHERE seq > ?1 ORDER BY seq LIMIT ?2";
const FACTS_OF: &str = "SELECT seq, happened_ms, recorded_ms, by_whom, body FROM journal WHERE kind = ?1 ORDER BY seq";
const READINGS: &str = "SELECT at_ms, temp_c, rh_pct, sensor FROM reading WHERE zone = ?1 AND at_ms >= ?2 \
                        ORDER BY at_ms, n";

/// A SQLite database file.
pub struct Sqlite {
    connection: Connection,
    path: String,
    shop: String,
}

impl Sqlite {
    /// Opens a database, making it or bringing its schema up to date.
    ///
    /// # Errors
    /// When the linked SQLite is too old, the file too new, or it cannot be opened for writing.
    pub fn open(path: &Path, shop: &str) -> Result<Self, Error> {
        if rusqlite::version_number() < LEAST_VERSION.1 {
            return Err(Error::TooOld { found: rusqlite::version().into(), needed: LEAST_VERSION.0 });
        }
        let named = path.display().to_string();
        private::shut(path);
        let connection = Connection::open(path).map_err(|e| Error::of(e, &named))?;
        let mut database = Self { connection, path: named, shop: shop.into() };
        database.prepare().map_err(|e| database.error(e))?;
        database.migrate()?;
        Ok(database)
    }

    /// Opens a database that no other program has open, nor can open while this one has.
    ///
    /// # Errors
    /// As [`Sqlite::open`], and when another program has it open.
    pub fn open_alone(path: &Path, shop: &str) -> Result<Self, Error> {
        let database = Self::open(path, shop)?;
        let alone = "PRAGMA locking_mode = EXCLUSIVE; BEGIN EXCLUSIVE; COMMIT";
        database.connection.execute_batch(alone).map_err(|e| database.error(e))?;
        Ok(database)
    }

    /// Version of SQLite linked into the program.
    pub fn version() -> &'static str {
        rusqlite::version()
    }

    fn prepare(&self) -> rusqlite::Result<()> {
        self.connection.busy_timeout(Duration::from_secs(2))?;
        self.connection.set_prepared_statement_cache_capacity(32);
        self.connection.pragma_update(None, "journal_mode", "wal")?;
        self.connection.pragma_update(None, "synchronous", "full")?;
        self.connection.pragma_update(None, "journal_size_limit", LOG_KEPT)?;
        self.connection.pragma_update(None, "foreign_keys", "on")
    }

    fn migrate(&mut self) -> Result<(), Error> {
        let version = |c: &Connection| c.pragma_query_value(None, "user_version", |row| row.get::<_, i64>(0));
        let found = version(&self.connection).map_err(|e| self.error(e))?;
        let known = MIGRATIONS.len() as i64;
        if found > known {
            return Err(Error::TooNew { path: self.path.clone(), found, known });
        }
        for (i, sql) in MIGRATIONS.iter().enumerate().skip(found as usize) {
            let step = |connection: &mut Connection| {
                let tx = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
                // Another process may have taken this step while we waited for the lock.
                if version(&tx)? == i as i64 {
                    tx.execute_batch(sql)?;
                    tx.pragma_update(None, "user_version", i as i64 + 1)?;
                }
                tx.commit()
            };
            step(&mut self.connection).map_err(|e| Error::of(e, &self.path))?;
        }
        Ok(())
    }

    fn error(&self, error: rusqlite::Error) -> Error {
        Error::of(error, &self.path)
    }

    fn write(&mut self, sayings: &[&Saying]) -> rusqlite::Result<Vec<i64>> {
        let tx = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        let mut seqs = Vec::new();
        {
            let mut add_fact = tx.prepare_cached(ADD_FACT)?;
            let mut add_reading = tx.prepare_cached(ADD_READING)?;
            let mut add_answer = tx.prepare_cached(ADD_ANSWER)?;
            for saying in sayings {
                for entry in &saying.entries {
                    let (kind, body) = stored_form(&entry.fact);
                    add_fact.execute(params![
                        self.shop,
                        kind,
                        entry.happened_at.timestamp_millis(),
                        entry.recorded_at.timestamp_millis(),
                        entry.by,
                        body
                    ])?;
                    seqs.push(tx.last_insert_rowid());
                }
                for r in &saying.readings {
                    let at_ms = r.at.timestamp_millis();
                    add_reading.execute(params![
                        r.zone.as_str(),
                        at_ms,
                        saying.recorded_ms,
                        r.temp_c.get(),
                        r.rh_pct.get(),
                        r.sensor.as_ref().map(SensorId::as_str)
                    ])?;
                }
                held::add(&tx, saying)?;
                outbox::add(&tx, &saying.deliveries)?;
                if let Some(a) = &saying.answer {
                    add_answer.execute(params![a.key, a.fingerprint, a.status, a.body, saying.recorded_ms])?;
                }
            }
        }
        tx.commit()?;
        Ok(seqs)
    }

    fn facts(&self, sql: &str, args: impl rusqlite::Params) -> Result<Vec<Recorded>, Error> {
        let mut statement = self.connection.prepare_cached(sql).map_err(|e| self.error(e))?;
        let mut rows = statement.query(args).map_err(|e| self.error(e))?;
        let mut facts = Vec::new();
        while let Some(row) = rows.next().map_err(|e| self.error(e))? {
            let seq: i64 = row.get(0).map_err(|e| self.error(e))?;
            facts.push(recorded(row, seq).map_err(|why| Error::Unreadable { seq, why })?);
        }
        Ok(facts)
    }

    fn everything_now(&self, each: &mut EachPiece<'_>) -> Result<(), Error> {
        let mut seq = 0;
        loop {
            let part = self.facts(FACTS_AFTER, params![seq, PART])?;
            let Some(last) = part.last() else { break };
            seq = last.seq;
            for fact in part {
                if each(Piece::Row(Row::Fact(fact))).is_break() {
                    return Ok(());
                }
            }
        }
        whole::behind_facts(&self.connection, each).map_err(|e| self.error(e))
    }

    /// Closes a copy that is whole: nothing of it is beside the file, it is sound, and on disk.
    pub(crate) fn close_whole(self, path: &Path) -> Result<(), Error> {
        self.connection.pragma_update(None, "journal_mode", "delete").map_err(|e| self.error(e))?;
        let named = path.display().to_string();
        self.connection.close().map_err(|(_, e)| Error::of(e, &named))?;
        sound(path)
    }
}

/// Whether a copy is sound, and on disk: SQLite does not flush one it makes by VACUUM.
fn sound(path: &Path) -> Result<(), Error> {
    let named = path.display().to_string();
    let copy = Connection::open(path).map_err(|e| Error::of(e, &named))?;
    let verdict: String =
        copy.query_row("PRAGMA integrity_check", [], |row| row.get(0)).map_err(|e| Error::of(e, &named))?;
    match verdict.as_str() {
        "ok" => std::fs::File::open(path).and_then(|copy| copy.sync_all()).map_err(|_| Error::ReadOnly { path: named }),
        why => Err(Error::Unreadable { seq: 0, why: format!("the copy {named} is not sound: {why}") }),
    }
}

impl Database for Sqlite {
    fn commit(&mut self, sayings: &[&Saying]) -> Result<Vec<i64>, Error> {
        self.write(sayings).map_err(|e| self.error(e))
    }

    fn answers(&mut self, keys: &[&str]) -> Result<Vec<Answer>, Error> {
        let read = |key: &&str| {
            self.connection
                .prepare_cached(FIND_ANSWER)?
                .query_row([key], |row| {
                    Ok(Answer { key: row.get(0)?, fingerprint: row.get(1)?, status: row.get(2)?, body: row.get(3)? })
                })
                .optional()
        };
        let found: rusqlite::Result<Vec<Option<Answer>>> = keys.iter().map(read).collect();
        found.map(|found| found.into_iter().flatten().collect()).map_err(|e| self.error(e))
    }

    fn facts_after(&mut self, seq: i64, at_most: usize) -> Result<Vec<Recorded>, Error> {
        self.facts(FACTS_AFTER, params![seq, at_most as i64])
    }

    fn facts_of(&mut self, kind: &str) -> Result<Vec<Recorded>, Error> {
        self.facts(FACTS_OF, [kind])
    }

    fn readings(&mut self, zone: &ZoneId, from_ms: i64, each: &mut dyn FnMut(Reading)) -> Result<(), Error> {
        let read = |each: &mut dyn FnMut(Reading)| {
            let mut statement = self.connection.prepare_cached(READINGS)?;
            let mut rows = statement.query(params![zone.as_str(), from_ms])?;
            // Readings of one sensor mostly follow one another: its id is made once.
            let mut last: Option<SensorId> = None;
            while let Some(row) = rows.next()? {
                let named = row.get_ref(3)?.as_str_or_null()?;
                if named != last.as_ref().map(SensorId::as_str) {
                    last = named.and_then(|id| SensorId::new(id).ok());
                }
                // What was checked at the door fits; a row that does not was not written by us.
                let quantities = (TempC::new(row.get(1)?), RhPct::new(row.get(2)?), instant(row.get(0)?));
                if let (Ok(temp_c), Ok(rh_pct), Some(at)) = quantities {
                    each(Reading { zone: zone.clone(), sensor: last.clone(), at, temp_c, rh_pct });
                }
            }
            Ok(())
        };
        read(each).map_err(|e| self.error(e))
    }

    fn held(&mut self, zone: &ZoneId, state: HeldState, after: i64, at_most: usize) -> Result<Vec<Held>, Error> {
        held::list(&self.connection, zone, state, after, at_most).map_err(|e| self.error(e))
    }

    fn held_one(&mut self, id: i64) -> Result<Option<Held>, Error> {
        held::one(&self.connection, id).map_err(|e| self.error(e))
    }

    fn due_deliveries(&mut self, now_ms: i64, of_each: usize) -> Result<Vec<Delivery>, Error> {
        outbox::due(&self.connection, now_ms, of_each).map_err(|e| self.error(e))
    }

    fn fresh_deliveries(&mut self, channel: &str, now_ms: i64) -> Result<Vec<Delivery>, Error> {
        outbox::fresh(&self.connection, channel, now_ms).map_err(|e| self.error(e))
    }

    fn bring_forward(&mut self, now_ms: i64, before_ms: i64) -> Result<(), Error> {
        outbox::bring_forward(&self.connection, now_ms, before_ms).map_err(|e| self.error(e))
    }

    fn next_deliveries(&mut self) -> Result<Vec<(String, i64)>, Error> {
        outbox::next(&self.connection).map_err(|e| self.error(e))
    }

    fn taken_at(&mut self, channel: &str, at_ms: i64) -> Result<Vec<Delivery>, Error> {
        outbox::taken_at(&self.connection, channel, at_ms).map_err(|e| self.error(e))
    }

    fn deliveries_of(&mut self, alert: &str) -> Result<Vec<Delivery>, Error> {
        outbox::of_alert(&self.connection, alert).map_err(|e| self.error(e))
    }

    fn list_deliveries(&mut self, which: &WhichDeliveries, at_most: usize) -> Result<Vec<Delivery>, Error> {
        outbox::list(&self.connection, which, at_most).map_err(|e| self.error(e))
    }

    fn last_tried(&mut self) -> Result<Vec<Delivery>, Error> {
        outbox::last_tried(&self.connection).map_err(|e| self.error(e))
    }

    fn record_deliveries(&mut self, gone: &[Delivery], next: &[NewDelivery]) -> Result<(), Error> {
        let record = |connection: &mut Connection| {
            let tx = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
            outbox::record(&tx, gone)?;
            outbox::add(&tx, next)?;
            tx.commit()
        };
        record(&mut self.connection).map_err(|e| Error::of(e, &self.path))
    }

    fn put_subscription(&mut self, subscription: &Subscription) -> Result<(), Error> {
        receivers::put(&self.connection, subscription).map_err(|e| self.error(e))
    }

    fn subscriptions(&mut self, person: Option<&str>) -> Result<Vec<Subscription>, Error> {
        receivers::list(&self.connection, person).map_err(|e| self.error(e))
    }

    fn forget_subscription(&mut self, id: &str) -> Result<bool, Error> {
        receivers::forget(&self.connection, id).map_err(|e| self.error(e))
    }

    fn switch_off(&mut self, off: &Off) -> Result<(), Error> {
        receivers::switch_off(&self.connection, off).map_err(|e| self.error(e))
    }

    fn switch_on(&mut self, channel: &str) -> Result<(), Error> {
        receivers::switch_on(&self.connection, channel).map_err(|e| self.error(e))
    }

    fn switched_off(&mut self) -> Result<Vec<Off>, Error> {
        receivers::switched_off(&self.connection).map_err(|e| self.error(e))
    }

    fn keep_file(&mut self, name: &str, bytes: &[u8]) -> Result<bool, Error> {
        files::keep(&self.connection, name, bytes).map_err(|e| self.error(e))
    }

    fn file(&mut self, name: &str) -> Result<Option<Vec<u8>>, Error> {
        files::one(&self.connection, name).map_err(|e| self.error(e))
    }

    fn forget_file(&mut self, name: &str) -> Result<bool, Error> {
        files::forget(&self.connection, name).map_err(|e| self.error(e))
    }

    fn add_token(&mut self, token: &Token) -> Result<bool, Error> {
        tokens::add(&self.connection, token).map_err(|e| self.error(e))
    }

    fn tokens(&mut self) -> Result<Vec<Token>, Error> {
        tokens::list(&self.connection).map_err(|e| self.error(e))
    }

    fn token_used(&mut self, id: &str, at_ms: i64) -> Result<(), Error> {
        tokens::used(&self.connection, id, at_ms).map_err(|e| self.error(e))
    }

    fn revoke_token(&mut self, name: &str, by: &str, at_ms: i64) -> Result<bool, Error> {
        tokens::revoke(&mut self.connection, name, by, at_ms).map_err(|e| Error::of(e, &self.path))
    }

    fn end_session(&mut self, id: &str) -> Result<(), Error> {
        tokens::end_session(&self.connection, id).map_err(|e| self.error(e))
    }

    fn record_run(&mut self, run: &Run) -> Result<(), Error> {
        whole::put_run(&self.connection, run).map_err(|e| self.error(e))
    }

    fn last_runs(&mut self) -> Result<Vec<Run>, Error> {
        let read = || {
            let mut statement = self.connection.prepare("SELECT job, max(at_ms), error FROM run GROUP BY job")?;
            let rows =
                statement.query_map([], |row| Ok(Run { job: row.get(0)?, at_ms: row.get(1)?, error: row.get(2)? }))?;
            rows.collect::<rusqlite::Result<Vec<_>>>()
        };
        read().map_err(|e| self.error(e))
    }

    fn thin_readings(&mut self, zone: &ZoneId, before_ms: i64, means: &[Mean]) -> Result<(), Error> {
        let thin = |connection: &mut Connection| {
            let tx = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
            means::add(&tx, zone, means)?;
            held::forget(&tx, zone, before_ms)?;
            tx.execute("DELETE FROM reading WHERE zone = ?1 AND at_ms < ?2", params![zone.as_str(), before_ms])?;
            tx.commit()
        };
        thin(&mut self.connection).map_err(|e| Error::of(e, &self.path))
    }

    fn means(&mut self, zone: &str, from_ms: i64, to_ms: i64) -> Result<Vec<Mean>, Error> {
        means::list(&self.connection, zone, from_ms, to_ms).map_err(|e| self.error(e))
    }

    fn forget_means(&mut self, before_ms: i64) -> Result<(), Error> {
        let sql = "DELETE FROM reading_mean WHERE from_ms < ?1";
        self.connection.execute(sql, [before_ms]).map(drop).map_err(|e| self.error(e))
    }

    fn forget_finished(&mut self, before_ms: i64) -> Result<(), Error> {
        let forget = || {
            self.connection.execute("DELETE FROM answer WHERE recorded_ms < ?1", [before_ms])?;
            self.connection.execute("DELETE FROM delivery WHERE state <> 'waiting' AND due_ms < ?1", [before_ms])?;
            self.connection.execute("DELETE FROM run WHERE at_ms < ?1", [before_ms])?;
            tokens::forget_unused(&self.connection, before_ms)
        };
        forget().map_err(|e| self.error(e))
    }

    fn days_on_record(&mut self, until_ms: i64, at_most: usize) -> Result<Vec<i64>, Error> {
        whole::days(&self.connection, until_ms, at_most).map_err(|e| self.error(e))
    }

    fn probe(&mut self) -> Result<(), Error> {
        let probe = || {
            let tx = rusqlite::Transaction::new_unchecked(&self.connection, TransactionBehavior::Immediate)?;
            tx.execute("INSERT OR REPLACE INTO run (job, at_ms, error) VALUES ('probe', 0, NULL)", [])?;
            // What is rolled back never reaches a full disk.
            tx.commit()
        };
        probe().map_err(|e| self.error(e))
    }

    fn backup(&mut self, to: &Path) -> Result<(), Error> {
        let named = to.display().to_string();
        private::shut(to);
        self.connection.execute("VACUUM INTO ?1", [&named]).map_err(|e| Error::of(e, &named))?;
        sound(to)
    }

    fn everything(&mut self, each: &mut EachPiece<'_>) -> Result<(), Error> {
        // One transaction: what is said meanwhile is not half in it.
        self.connection.execute_batch("BEGIN DEFERRED").map_err(|e| self.error(e))?;
        let handed = self.everything_now(each);
        self.connection.execute_batch("ROLLBACK").map_err(|e| self.error(e))?;
        handed
    }

    fn fill(&mut self, pieces: &mut dyn Iterator<Item = Result<Piece, String>>) -> Result<u64, Error> {
        let shop = self.shop.clone();
        let path = self.path.clone();
        let failed = |e| Error::of(e, &path);
        let tx = self.connection.transaction_with_behavior(TransactionBehavior::Immediate).map_err(failed)?;
        let there: i64 = tx
            .query_row("SELECT (SELECT count(*) FROM journal) + (SELECT count(*) FROM reading)", [], |row| row.get(0))
            .map_err(failed)?;
        if there > 0 {
            return Err(Error::NotEmpty { path });
        }
        let mut n = 0;
        for piece in pieces {
            let piece = piece.map_err(|why| Error::NotWhole { why })?;
            n += 1;
            whole::put(&tx, &shop, &piece).map_err(|e| Error::NotWhole { why: format!("row {n}: {e}") })?;
        }
        tx.commit().map_err(failed)?;
        Ok(n)
    }

    fn reopen(&self) -> Result<Box<dyn Database>, Error> {
        Ok(Box::new(Self::open(Path::new(&self.path), &self.shop)?))
    }
}

/// A fact as it is stored: its kind, for whoever looks into the table, and the whole of it.
pub(crate) fn stored_form(fact: &Fact) -> (String, String) {
    let body = serde_json::to_string(fact).expect("every fact has a JSON form");
    // The tag is written first: {"kind":"zone_set",...
    let kind = body.split('"').nth(3).unwrap_or_default().to_string();
    (kind, body)
}

fn recorded(row: &rusqlite::Row<'_>, seq: i64) -> Result<Recorded, String> {
    let text = |e: rusqlite::Error| e.to_string();
    let when = |ms: i64| instant(ms).ok_or_else(|| format!("{ms} is no instant"));
    let body = row.get_ref(4).map_err(text)?.as_str().map_err(|e| e.to_string())?;
    Ok(Recorded {
        seq,
        happened_at: when(row.get(1).map_err(text)?)?,
        recorded_at: when(row.get(2).map_err(text)?)?,
        by: row.get(3).map_err(text)?,
        fact: serde_json::from_str(body).map_err(|e| e.to_string())?,
    })
}

fn instant(ms: i64) -> Option<DateTime<Utc>> {
    DateTime::from_timestamp_millis(ms)
}
