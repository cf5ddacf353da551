//! The whole of a shop, piece by piece: out in an order that is always the same, and into an empty one.
//!
//! An export is the rows. The other pieces belong to one running service and not to the shop: the outbox, answers kept for
//! repeated requests, when recurring work last ran, who receives, and what is kept as bytes. What is carried to another
//! database has those too, so that the service goes on there where it was.

use std::ops::ControlFlow;

use chrono::{DateTime, Utc};
use facts::{Reading, Recorded, RhPct, SensorId, TempC, ZoneId};
use rusqlite::{Connection, Row as SqlRow, params, types::Type};
use serde::{Deserialize, Serialize};

use crate::{
    Answer, Delivery, Held, Mean, Off, Run, Subscription, Token, files, held, means, outbox, receivers, tokens,
};

/// One row of the whole.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Row {
    /// A fact, with its place in the journal.
    Fact(Recorded),
    /// A reading, as it came.
    Reading {
        /// When it reached the service.
        recorded_at: DateTime<Utc>,
        /// What was read.
        #[serde(flatten)]
        reading: Reading,
    },
    /// What is left of a quarter of an hour of old readings.
    Mean {
        /// Of which zone.
        zone: ZoneId,
        /// The quarter.
        #[serde(flatten)]
        mean: Mean,
    },
    /// A reading that is or was held back.
    Held(Held),
}

/// What is handed each row on its way out; it breaks when nobody wants more.
pub type Each<'a> = dyn FnMut(Row) -> ControlFlow<()> + 'a;

/// One piece of everything there is of a shop, in the order they are handed out.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Piece {
    /// What was said or read: what an export holds.
    Row(Row),
    /// An answer kept for a repeated request.
    Answer {
        /// The answer.
        answer: Answer,
        /// When it was given, ms.
        recorded_ms: i64,
    },
    /// A delivery, waiting or ended.
    Delivery(Delivery),
    /// A run of recurring work.
    Run(Run),
    /// A browser that asked for push messages.
    Subscription(Subscription),
    /// A channel whose receiver wants no more.
    Off(Off),
    /// A token, or the session of a browser.
    Token(Token),
    /// A photo, or a key of the shop.
    File {
        /// What it is kept under.
        name: String,
        /// What is kept.
        #[serde(serialize_with = "files::hashed")]
        bytes: Vec<u8>,
    },
}

impl Piece {
    /// What kinds there are, in words.
    pub const KINDS: [&'static str; 11] = [
        "facts",
        "readings",
        "means",
        "readings held back",
        "answers",
        "deliveries",
        "runs",
        "subscriptions",
        "channels switched off",
        "tokens and sessions",
        "photos and keys",
    ];

    /// Its place in [`Piece::KINDS`].
    pub fn kind(&self) -> usize {
        match self {
            Self::Row(Row::Fact(_)) => 0,
            Self::Row(Row::Reading { .. }) => 1,
            Self::Row(Row::Mean { .. }) => 2,
            Self::Row(Row::Held(_)) => 3,
            Self::Answer { .. } => 4,
            Self::Delivery(_) => 5,
            Self::Run(_) => 6,
            Self::Subscription(_) => 7,
            Self::Off(_) => 8,
            Self::Token(_) => 9,
            Self::File { .. } => 10,
        }
    }
}

/// What is handed each piece on its way out; it breaks when nobody wants more.
pub type EachPiece<'a> = dyn FnMut(Piece) -> ControlFlow<()> + 'a;

const READINGS: &str =
    "SELECT zone, sensor, at_ms, recorded_ms, temp_c, rh_pct FROM reading ORDER BY zone, at_ms, n, recorded_ms";

/// Everything but the facts, until `each` breaks.
pub(crate) fn behind_facts(c: &Connection, each: &mut EachPiece<'_>) -> rusqlite::Result<()> {
    let mut row = |row| each(Piece::Row(row));
    if readings(c, &mut row)?.is_break() || means_and_held(c, &mut row)?.is_break() {
        return Ok(());
    }
    let mut answers = c.prepare("SELECT key, fingerprint, status, body, recorded_ms FROM answer ORDER BY key")?;
    let mut answers = answers.query([])?;
    while let Some(row) = answers.next()? {
        let answer = Answer { key: row.get(0)?, fingerprint: row.get(1)?, status: row.get(2)?, body: row.get(3)? };
        if each(Piece::Answer { answer, recorded_ms: row.get(4)? }).is_break() {
            return Ok(());
        }
    }
    let mut runs = c.prepare("SELECT job, at_ms, error FROM run ORDER BY job, at_ms")?;
    let read = |row: &SqlRow<'_>| Ok(Run { job: row.get(0)?, at_ms: row.get(1)?, error: row.get(2)? });
    let runs = runs.query_map([], read)?.collect::<rusqlite::Result<Vec<_>>>()?.into_iter().map(Piece::Run);
    let deliveries = outbox::all(c)?.into_iter().map(Piece::Delivery);
    let subscriptions = receivers::list(c, None)?.into_iter().map(Piece::Subscription);
    let off = receivers::switched_off(c)?.into_iter().map(Piece::Off);
    let tokens = tokens::list(c)?.into_iter().map(Piece::Token);
    for piece in deliveries.chain(runs).chain(subscriptions).chain(off).chain(tokens) {
        if each(piece).is_break() {
            return Ok(());
        }
    }
    for name in files::names(c)? {
        let bytes = files::one(c, &name)?.unwrap_or_default();
        if each(Piece::File { name, bytes }).is_break() {
            break;
        }
    }
    Ok(())
}

/// Every reading, by zone and time; those of one instant in the order they came.
fn readings(c: &Connection, each: &mut Each<'_>) -> rusqlite::Result<ControlFlow<()>> {
    let mut statement = c.prepare(READINGS)?;
    let mut rows = statement.query([])?;
    while let Some(row) = rows.next()? {
        let reading = Reading {
            zone: ZoneId::new(row.get::<_, String>(0)?).map_err(|e| unreadable(0, e))?,
            sensor: row.get::<_, Option<String>>(1)?.map(SensorId::new).transpose().map_err(|e| unreadable(1, e))?,
            at: instant(row, 2)?,
            temp_c: TempC::new(row.get(4)?).map_err(|e| unreadable(4, e))?,
            rh_pct: RhPct::new(row.get(5)?).map_err(|e| unreadable(5, e))?,
        };
        if each(Row::Reading { recorded_at: instant(row, 3)?, reading }).is_break() {
            return Ok(ControlFlow::Break(()));
        }
    }
    Ok(ControlFlow::Continue(()))
}

/// Every mean, by zone and time, then everything held back, by id.
fn means_and_held(c: &Connection, each: &mut Each<'_>) -> rusqlite::Result<ControlFlow<()>> {
    let mut zones = c.prepare("SELECT DISTINCT zone FROM reading_mean ORDER BY zone")?;
    let zones = zones.query_map([], |row| row.get::<_, String>(0))?.collect::<rusqlite::Result<Vec<_>>>()?;
    for zone in zones {
        let of_zone = means::list(c, &zone, i64::MIN, i64::MAX)?;
        let zone = ZoneId::new(zone).map_err(|e| unreadable(0, e))?;
        for mean in of_zone {
            if each(Row::Mean { zone: zone.clone(), mean }).is_break() {
                return Ok(ControlFlow::Break(()));
            }
        }
    }
    let mut on = ControlFlow::Continue(());
    held::all(c, &mut |row| {
        on = each(Row::Held(row));
        on
    })?;
    Ok(on)
}

/// Days on which anything was written down, the newest first.
pub(crate) fn days(c: &Connection, until_ms: i64, at_most: usize) -> rusqlite::Result<Vec<i64>> {
    let mut days = c.prepare(
        "SELECT DISTINCT recorded_ms / 86400000 AS day FROM journal WHERE recorded_ms <= ?1 \
         UNION SELECT DISTINCT recorded_ms / 86400000 FROM reading WHERE recorded_ms <= ?1 ORDER BY day DESC LIMIT ?2",
    )?;
    let days = days.query_map(params![until_ms, at_most as i64], |row| row.get(0))?;
    days.collect()
}

fn instant(row: &SqlRow<'_>, column: usize) -> rusqlite::Result<DateTime<Utc>> {
    let ms = row.get(column)?;
    DateTime::from_timestamp_millis(ms).ok_or(rusqlite::Error::IntegralValueOutOfRange(column, ms))
}

fn unreadable(column: usize, why: facts::Invalid) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(column, Type::Text, Box::new(why))
}

/// Puts a piece where it was.
pub(crate) fn put(tx: &Connection, shop: &str, piece: &Piece) -> rusqlite::Result<()> {
    match piece {
        Piece::Row(row) => put_row(tx, shop, row),
        Piece::Answer { answer: a, recorded_ms } => tx
            .prepare_cached(crate::sqlite::ADD_ANSWER)?
            .execute(params![a.key, a.fingerprint, a.status, a.body, recorded_ms])
            .map(drop),
        Piece::Delivery(delivery) => outbox::put(tx, delivery),
        Piece::Run(run) => put_run(tx, run),
        Piece::Subscription(subscription) => receivers::put(tx, subscription),
        Piece::Off(off) => receivers::switch_off(tx, off),
        Piece::Token(token) => tokens::add(tx, token).map(drop),
        Piece::File { name, bytes } => files::put(tx, name, bytes),
    }
}

/// Writes down a run of recurring work.
pub(crate) fn put_run(c: &Connection, run: &Run) -> rusqlite::Result<()> {
    let sql = "INSERT OR REPLACE INTO run (job, at_ms, error) VALUES (?1, ?2, ?3)";
    c.prepare_cached(sql)?.execute(params![run.job, run.at_ms, run.error]).map(drop)
}

fn put_row(tx: &Connection, shop: &str, row: &Row) -> rusqlite::Result<()> {
    match row {
        Row::Fact(fact) => {
            let (kind, body) = crate::sqlite::stored_form(&fact.fact);
            let (happened_ms, recorded_ms) = (fact.happened_at.timestamp_millis(), fact.recorded_at.timestamp_millis());
            tx.prepare_cached(
                "INSERT INTO journal (seq, shop, kind, happened_ms, recorded_ms, by_whom, body) \
                 VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7)",
            )?
            .execute(params![fact.seq, shop, kind, happened_ms, recorded_ms, fact.by, body])
            .map(drop)
        }
        Row::Reading { recorded_at, reading } => {
            let sensor = reading.sensor.as_ref().map(SensorId::as_str);
            let (at_ms, recorded_ms) = (reading.at.timestamp_millis(), recorded_at.timestamp_millis());
            let (temp_c, rh_pct) = (reading.temp_c.get(), reading.rh_pct.get());
            tx.prepare_cached(crate::sqlite::ADD_READING)?
                .execute(params![reading.zone.as_str(), at_ms, recorded_ms, temp_c, rh_pct, sensor])
                .map(drop)
        }
        Row::Mean { zone, mean } => means::add(tx, zone, std::slice::from_ref(mean)),
        Row::Held(row) => held::put(tx, row),
    }
}

/// An instant kept as milliseconds and written as RFC 3339.
pub(crate) mod rfc3339 {
    use chrono::{DateTime, Utc};
    use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error, ser};

    pub(crate) fn serialize<S: Serializer>(at_ms: &i64, to: S) -> Result<S::Ok, S::Error> {
        let at = DateTime::from_timestamp_millis(*at_ms);
        at.ok_or_else(|| ser::Error::custom(format!("{at_ms} is no instant")))?.serialize(to)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<i64, D::Error> {
        let at = DateTime::<Utc>::deserialize(from)?;
        // Nothing here is finer than a millisecond: what would be lost is refused.
        match at.timestamp_subsec_nanos() % 1_000_000 {
            0 => Ok(at.timestamp_millis()),
            _ => Err(D::Error::custom(format!("{at} is finer than a millisecond"))),
        }
    }
}
