//! The outbox: the statements that add, list and finish deliveries.

use facts::AlertId;
use rusqlite::{Connection, Params, Row, params};

use crate::{Delivery, DeliveryState, NewDelivery};

const ADD: &str = "INSERT INTO delivery (alert, channel, body, since_ms, due_ms) VALUES (?1, ?2, ?3, ?4, ?5)";
const ROW: &str = "SELECT id, alert, channel, body, attempts, since_ms, due_ms, state, error FROM delivery";
/// What has ended stays so.
const RECORD: &str =
    "UPDATE delivery SET attempts = ?2, due_ms = ?3, state = ?4, error = ?5 WHERE id = ?1 AND state = 'waiting'";

/// Which deliveries are listed, newest first.
#[derive(Debug, Clone, Default)]
pub struct WhichDeliveries {
    /// Only those in this state.
    pub state: Option<DeliveryState>,
    /// Only those to this channel.
    pub channel: Option<String>,
    /// Only those that entered before this row.
    pub before: Option<i64>,
}

pub(crate) fn add(c: &Connection, new: &[NewDelivery]) -> rusqlite::Result<()> {
    let mut add = c.prepare_cached(ADD)?;
    for d in new {
        add.execute(params![d.alert.as_str(), d.channel, d.body, d.since_ms, d.due_ms])?;
    }
    Ok(())
}

pub(crate) fn record(c: &Connection, gone: &[Delivery]) -> rusqlite::Result<()> {
    let mut record = c.prepare_cached(RECORD)?;
    for d in gone {
        record.execute(params![d.id, d.attempts, d.due_ms, word(d.state), d.error])?;
    }
    Ok(())
}

/// Puts one where it was, as it stood.
pub(crate) fn put(c: &Connection, d: &Delivery) -> rusqlite::Result<()> {
    let sql = "INSERT INTO delivery (id, alert, channel, body, attempts, since_ms, due_ms, state, error) \
               VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9)";
    let (alert, state) = (d.alert.as_str(), word(d.state));
    c.prepare_cached(sql)?
        .execute(params![d.id, alert, d.channel, d.body, d.attempts, d.since_ms, d.due_ms, state, d.error])
        .map(drop)
}

/// Every delivery, by id.
pub(crate) fn all(c: &Connection) -> rusqlite::Result<Vec<Delivery>> {
    rows(c, "ORDER BY id", [])
}

/// Waiting, and their time has come: the first of each channel, so that a receiver with much to catch up on stands in
/// nobody's way.
pub(crate) fn due(c: &Connection, now_ms: i64, of_each: usize) -> rusqlite::Result<Vec<Delivery>> {
    let first = "WHERE id IN (SELECT id FROM (SELECT id, row_number() OVER (PARTITION BY channel ORDER BY due_ms, id) \
                 AS place FROM delivery WHERE state = 'waiting' AND due_ms <= ?1) WHERE place <= ?2) \
                 ORDER BY due_ms, id";
    rows(c, first, params![now_ms, of_each as i64])
}

/// When each channel that has something waiting is to be tried next, ms.
pub(crate) fn next(c: &Connection) -> rusqlite::Result<Vec<(String, i64)>> {
    let sql = "SELECT channel, min(due_ms) FROM delivery WHERE state = 'waiting' GROUP BY channel ORDER BY channel";
    let mut next = c.prepare_cached(sql)?;
    let rows = next.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
    rows.collect()
}

/// What a channel took at one instant: the rows of one message.
pub(crate) fn taken_at(c: &Connection, channel: &str, at_ms: i64) -> rusqlite::Result<Vec<Delivery>> {
    rows(c, "WHERE state = 'delivered' AND channel = ?1 AND due_ms = ?2 ORDER BY id", params![channel, at_ms])
}

/// What waits and was due by an instant that the clock has not reached any more is due now.
pub(crate) fn bring_forward(c: &Connection, now_ms: i64, before_ms: i64) -> rusqlite::Result<()> {
    let bring = "UPDATE delivery SET due_ms = ?1, since_ms = min(since_ms, ?1) \
                 WHERE state = 'waiting' AND due_ms > ?1 AND due_ms <= ?2";
    c.execute(bring, [now_ms, before_ms]).map(drop)
}

/// Waiting, put in by now and not tried yet: due, or held for company that is still to come.
pub(crate) fn fresh(c: &Connection, channel: &str, now_ms: i64) -> rusqlite::Result<Vec<Delivery>> {
    let which = "WHERE state = 'waiting' AND attempts = 0 AND since_ms <= ?2 AND channel = ?1 \
                 ORDER BY due_ms, id";
    rows(c, which, params![channel, now_ms])
}

pub(crate) fn of_alert(c: &Connection, alert: &str) -> rusqlite::Result<Vec<Delivery>> {
    rows(c, "WHERE alert = ?1 ORDER BY id", [alert])
}

pub(crate) fn list(c: &Connection, which: &WhichDeliveries, at_most: usize) -> rusqlite::Result<Vec<Delivery>> {
    let part = "WHERE (?1 IS NULL OR state = ?1) AND (?2 IS NULL OR channel = ?2) AND (?3 IS NULL OR id < ?3) \
                ORDER BY id DESC LIMIT ?4";
    rows(c, part, params![which.state.map(word), which.channel, which.before, at_most as i64])
}

/// The newest of each channel that was tried.
pub(crate) fn last_tried(c: &Connection) -> rusqlite::Result<Vec<Delivery>> {
    rows(c, "WHERE id IN (SELECT max(id) FROM delivery WHERE attempts > 0 GROUP BY channel) ORDER BY id", [])
}

fn rows(c: &Connection, which: &str, args: impl Params) -> rusqlite::Result<Vec<Delivery>> {
    let mut statement = c.prepare_cached(&format!("{ROW} {which}"))?;
    let rows = statement.query_map(args, read)?;
    rows.collect()
}

pub(crate) fn word(state: DeliveryState) -> &'static str {
    match state {
        DeliveryState::Waiting => "waiting",
        DeliveryState::Delivered => "delivered",
        DeliveryState::GivenUp => "given_up",
    }
}

pub(crate) fn state_of(word: &str) -> DeliveryState {
    match word {
        "delivered" => DeliveryState::Delivered,
        "given_up" => DeliveryState::GivenUp,
        _ => DeliveryState::Waiting,
    }
}

fn read(row: &Row<'_>) -> rusqlite::Result<Delivery> {
    let alert: String = row.get(1)?;
    let state: String = row.get(7)?;
    Ok(Delivery {
        id: row.get(0)?,
        alert: AlertId::new(alert)
            .map_err(|e| rusqlite::Error::FromSqlConversionFailure(1, rusqlite::types::Type::Text, Box::new(e)))?,
        channel: row.get(2)?,
        body: row.get(3)?,
        attempts: row.get(4)?,
        since_ms: row.get(5)?,
        due_ms: row.get(6)?,
        state: state_of(&state),
        error: row.get(8)?,
    })
}
