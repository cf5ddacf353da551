//! The outbox: the statements that add, list and finish deliveries.

use facts::AlertId;
use tokio_postgres::Row;

use super::line::{Given, Line, text, unreadable};
use crate::{
    Delivery, Error, NewDelivery, WhichDeliveries,
    outbox::{state_of, word},
};

const ADD: &str = "INSERT INTO delivery (alert, channel, body, since_ms, due_ms) \
     SELECT * FROM unnest($1::text[], $2::text[], $3::text[], $4::bigint[], $5::bigint[])";
/// What has ended stays so: who lost its turn meanwhile does not bring it back.
const RECORD: &str =
    "UPDATE delivery SET attempts = $2, due_ms = $3, state = $4, error = $5 WHERE id = $1 AND state = 'waiting'";
const ROW: &str = "SELECT id, alert, channel, body, attempts, since_ms, due_ms, state, error FROM delivery";
const PUT: &str = "INSERT INTO delivery (id, alert, channel, body, attempts, since_ms, due_ms, state, error) \
     VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9)";

pub(super) fn add(line: &mut Line, new: &[&NewDelivery]) -> Result<(), Error> {
    if new.is_empty() {
        return Ok(());
    }
    let alerts: Vec<&str> = new.iter().map(|d| d.alert.as_str()).collect();
    let channels: Vec<&str> = new.iter().map(|d| d.channel.as_str()).collect();
    let bodies: Vec<&str> = new.iter().map(|d| d.body.as_str()).collect();
    let since: Vec<i64> = new.iter().map(|d| d.since_ms).collect();
    let due: Vec<i64> = new.iter().map(|d| d.due_ms).collect();
    line.execute(ADD, &[&alerts, &channels, &bodies, &since, &due]).map(drop)
}

pub(super) fn record(line: &mut Line, gone: &[Delivery]) -> Result<(), Error> {
    for d in gone {
        let (attempts, state) = (i64::from(d.attempts), word(d.state));
        line.execute(RECORD, &[&d.id, &attempts, &d.due_ms, &state, &d.error.as_deref().map(text)])?;
    }
    Ok(())
}

/// Puts one where it was, as it stood.
pub(super) fn put(line: &mut Line, d: &Delivery) -> Result<(), Error> {
    let (alert, attempts, state) = (d.alert.as_str(), i64::from(d.attempts), word(d.state));
    let given: Given<'_> = &[&d.id, &alert, &d.channel, &d.body, &attempts, &d.since_ms, &d.due_ms, &state, &d.error];
    line.execute(PUT, given).map(drop)
}

/// Waiting, and their time has come: the first of each channel.
pub(super) fn due(line: &mut Line, now_ms: i64, of_each: usize) -> Result<Vec<Delivery>, Error> {
    let first = "WHERE id IN (SELECT id FROM (SELECT id, row_number() OVER (PARTITION BY channel ORDER BY due_ms, id) \
                 AS place FROM delivery WHERE state = 'waiting' AND due_ms <= $1) AS due WHERE place <= $2) \
                 ORDER BY due_ms, id";
    rows(line, first, &[&now_ms, &(of_each as i64)])
}

/// Waiting, put in by now and not tried yet: due, or held for company that is still to come.
pub(super) fn fresh(line: &mut Line, channel: &str, now_ms: i64) -> Result<Vec<Delivery>, Error> {
    let which = "WHERE state = 'waiting' AND attempts = 0 AND since_ms <= $2 AND channel = $1 ORDER BY due_ms, id";
    rows(line, which, &[&channel, &now_ms])
}

/// When each channel that has something waiting is to be tried next, ms.
pub(super) fn next(line: &mut Line) -> Result<Vec<(String, i64)>, Error> {
    let sql = "SELECT channel, min(due_ms) FROM delivery WHERE state = 'waiting' GROUP BY channel ORDER BY channel";
    Ok(line.query(sql, &[])?.iter().map(|row| (row.get(0), row.get(1))).collect())
}

/// What a channel took at one instant: the rows of one message.
pub(super) fn taken_at(line: &mut Line, channel: &str, at_ms: i64) -> Result<Vec<Delivery>, Error> {
    rows(line, "WHERE state = 'delivered' AND channel = $1 AND due_ms = $2 ORDER BY id", &[&channel, &at_ms])
}

/// What waits and was due by an instant that the clock has not reached any more is due now.
pub(super) fn bring_forward(line: &mut Line, now_ms: i64, before_ms: i64) -> Result<(), Error> {
    let bring = "UPDATE delivery SET due_ms = $1, since_ms = least(since_ms, $1) \
                 WHERE state = 'waiting' AND due_ms > $1 AND due_ms <= $2";
    line.execute(bring, &[&now_ms, &before_ms]).map(drop)
}

pub(super) fn of_alert(line: &mut Line, alert: &str) -> Result<Vec<Delivery>, Error> {
    rows(line, "WHERE alert = $1 ORDER BY id", &[&alert])
}

pub(super) fn list(line: &mut Line, which: &WhichDeliveries, at_most: usize) -> Result<Vec<Delivery>, Error> {
    let part = "WHERE ($1::text IS NULL OR state = $1) AND ($2::text IS NULL OR channel = $2) \
                AND ($3::bigint IS NULL OR id < $3) ORDER BY id DESC LIMIT $4";
    rows(line, part, &[&which.state.map(word), &which.channel, &which.before, &(at_most as i64)])
}

/// Every delivery, by id.
pub(super) fn all(line: &mut Line) -> Result<Vec<Delivery>, Error> {
    rows(line, "ORDER BY id", &[])
}

/// The newest of each channel that was tried.
pub(super) fn last_tried(line: &mut Line) -> Result<Vec<Delivery>, Error> {
    rows(line, "WHERE id IN (SELECT max(id) FROM delivery WHERE attempts > 0 GROUP BY channel) ORDER BY id", &[])
}

fn rows(line: &mut Line, which: &str, given: Given<'_>) -> Result<Vec<Delivery>, Error> {
    line.query(&format!("{ROW} {which}"), given)?.iter().map(read).collect()
}

fn read(row: &Row) -> Result<Delivery, Error> {
    Ok(Delivery {
        id: row.get(0),
        alert: AlertId::new(row.get::<_, String>(1)).map_err(|e| unreadable("a delivery", e))?,
        channel: row.get(2),
        body: row.get(3),
        attempts: u32::try_from(row.get::<_, i64>(4)).map_err(|e| unreadable("a delivery", e))?,
        since_ms: row.get(5),
        due_ms: row.get(6),
        state: state_of(row.get(7)),
        error: row.get(8),
    })
}
