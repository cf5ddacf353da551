//! Readings held back: the statements that keep, list and decide them.

use std::ops::ControlFlow;

use facts::{SensorId, ZoneId};
use rusqlite::{Connection, OptionalExtension, Row, params};

use crate::{Held, HeldState, Saying};

/// A reading that is sent again is held once, also after it was decided.
const ADD: &str = "INSERT OR IGNORE INTO quarantine \
     (zone, sensor, at_ms, recorded_ms, temp_c, rh_pct, by_whom, reason, detail, mend) \
     VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10)";
const DECIDE: &str = "UPDATE quarantine SET state = ?6, decided_ms = ?7 WHERE state = 'held' AND zone = ?1 AND \
     ifnull(sensor, '') = ifnull(?2, '') AND at_ms = ?3 AND temp_c = ?4 AND rh_pct = ?5";
const LIST: &str = "SELECT id, zone, sensor, at_ms, recorded_ms, temp_c, rh_pct, by_whom, reason, detail, mend, state, \
     decided_ms FROM quarantine WHERE zone = ?1 AND state = ?2 AND id > ?3 ORDER BY id LIMIT ?4";
const ALL: &str = "SELECT id, zone, sensor, at_ms, recorded_ms, temp_c, rh_pct, by_whom, reason, detail, mend, state, \
     decided_ms FROM quarantine ORDER BY id";
const PUT: &str = "INSERT INTO quarantine (id, zone, sensor, at_ms, recorded_ms, temp_c, rh_pct, by_whom, reason, detail, \
     mend, state, decided_ms) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13)";
const ONE: &str = "SELECT id, zone, sensor, at_ms, recorded_ms, temp_c, rh_pct, by_whom, reason, detail, mend, state, \
     decided_ms FROM quarantine WHERE id = ?1";

/// Writes what a saying holds back and what it decides.
pub(crate) fn add(tx: &Connection, saying: &Saying) -> rusqlite::Result<()> {
    if !saying.held.is_empty() {
        let mut add = tx.prepare_cached(ADD)?;
        for new in &saying.held {
            let key = &new.key;
            let sensor = key.sensor.as_ref().map(SensorId::as_str);
            add.execute(params![
                key.zone.as_str(),
                sensor,
                key.at_ms,
                saying.recorded_ms,
                key.temp_c,
                key.rh_pct,
                new.by,
                new.reason,
                new.detail,
                new.mend
            ])?;
        }
    }
    for (key, state) in &saying.decided {
        let sensor = key.sensor.as_ref().map(SensorId::as_str);
        let mut decide = tx.prepare_cached(DECIDE)?;
        decide.execute(params![
            key.zone.as_str(),
            sensor,
            key.at_ms,
            key.temp_c,
            key.rh_pct,
            word(*state),
            saying.recorded_ms
        ])?;
    }
    Ok(())
}

/// Held readings of a zone in one state, in the order they came, after an id.
pub(crate) fn list(
    c: &Connection,
    zone: &ZoneId,
    state: HeldState,
    after: i64,
    at_most: usize,
) -> rusqlite::Result<Vec<Held>> {
    let mut list = c.prepare_cached(LIST)?;
    let rows = list.query_map(params![zone.as_str(), word(state), after, at_most as i64], read)?;
    rows.collect()
}

/// Everything that is or was held back, by id, until `each` breaks.
pub(crate) fn all(c: &Connection, each: &mut dyn FnMut(Held) -> ControlFlow<()>) -> rusqlite::Result<()> {
    let mut all = c.prepare(ALL)?;
    let mut rows = all.query([])?;
    while let Some(row) = rows.next()? {
        if each(read(row)?).is_break() {
            break;
        }
    }
    Ok(())
}

/// Puts one where it was, as it stood.
pub(crate) fn put(tx: &Connection, held: &Held) -> rusqlite::Result<()> {
    let key = &held.key;
    tx.prepare_cached(PUT)?
        .execute(params![
            held.id,
            key.zone.as_str(),
            key.sensor.as_ref().map(SensorId::as_str),
            key.at_ms,
            held.recorded_ms,
            key.temp_c,
            key.rh_pct,
            held.by,
            held.reason,
            held.detail,
            held.mend,
            word(held.state),
            held.decided_ms
        ])
        .map(drop)
}

pub(crate) fn one(c: &Connection, id: i64) -> rusqlite::Result<Option<Held>> {
    c.prepare_cached(ONE)?.query_row([id], read).optional()
}

/// Forgets what was taken before an instant: it could not be released any more.
pub(crate) fn forget(c: &Connection, zone: &ZoneId, before_ms: i64) -> rusqlite::Result<usize> {
    c.execute("DELETE FROM quarantine WHERE zone = ?1 AND at_ms < ?2", params![zone.as_str(), before_ms])
}

pub(crate) fn word(state: HeldState) -> &'static str {
    match state {
        HeldState::Held => "held",
        HeldState::Released => "released",
        HeldState::Discarded => "discarded",
    }
}

pub(crate) fn state_of(word: &str) -> HeldState {
    match word {
        "released" => HeldState::Released,
        "discarded" => HeldState::Discarded,
        _ => HeldState::Held,
    }
}

fn read(row: &Row<'_>) -> rusqlite::Result<Held> {
    let unreadable = |at, e| {
        rusqlite::Error::FromSqlConversionFailure(at, rusqlite::types::Type::Text, Box::<facts::Invalid>::new(e))
    };
    let state: String = row.get(11)?;
    let sensor: Option<String> = row.get(2)?;
    Ok(Held {
        id: row.get(0)?,
        key: crate::HeldKey {
            zone: ZoneId::new(row.get::<_, String>(1)?).map_err(|e| unreadable(1, e))?,
            sensor: sensor.map(SensorId::new).transpose().map_err(|e| unreadable(2, e))?,
            at_ms: row.get(3)?,
            temp_c: row.get(5)?,
            rh_pct: row.get(6)?,
        },
        recorded_ms: row.get(4)?,
        by: row.get(7)?,
        reason: row.get(8)?,
        detail: row.get(9)?,
        mend: row.get(10)?,
        state: state_of(&state),
        decided_ms: row.get(12)?,
    })
}
