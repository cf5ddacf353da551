//! The whole of a journal, row by row: out in an order that is always the same, and into an empty one.
//!
//! What is left out belongs to one running service and not to the shop: the outbox, answers kept for repeated requests,
//! and when recurring work last ran. A backup holds those too.

use std::ops::ControlFlow;

use chrono::{DateTime, Utc};
use facts::{Reading, Recorded, RhPct, SensorId, TempC, ZoneId};
use rusqlite::{Connection, Row as SqlRow, params, types::Type};
use serde::{Deserialize, Serialize};

use crate::{Held, Mean, held, means};

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

const READINGS: &str =
    "SELECT zone, sensor, at_ms, recorded_ms, temp_c, rh_pct FROM reading ORDER BY zone, at_ms, n, recorded_ms";

/// Every reading, by zone and time; those of one instant in the order they came.
pub(crate) fn readings(c: &Connection, each: &mut Each<'_>) -> rusqlite::Result<ControlFlow<()>> {
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
pub(crate) fn means_and_held(c: &Connection, each: &mut Each<'_>) -> rusqlite::Result<()> {
    let mut zones = c.prepare("SELECT DISTINCT zone FROM reading_mean ORDER BY zone")?;
    let zones = zones.query_map([], |row| row.get::<_, String>(0))?.collect::<rusqlite::Result<Vec<_>>>()?;
    for zone in zones {
        let of_zone = means::list(c, &zone, i64::MIN, i64::MAX)?;
        let zone = ZoneId::new(zone).map_err(|e| unreadable(0, e))?;
        for mean in of_zone {
            if each(Row::Mean { zone: zone.clone(), mean }).is_break() {
                return Ok(());
            }
        }
    }
    held::all(c, &mut |row| each(Row::Held(row)))
}

fn instant(row: &SqlRow<'_>, column: usize) -> rusqlite::Result<DateTime<Utc>> {
    let ms = row.get(column)?;
    DateTime::from_timestamp_millis(ms).ok_or(rusqlite::Error::IntegralValueOutOfRange(column, ms))
}

fn unreadable(column: usize, why: facts::Invalid) -> rusqlite::Error {
    rusqlite::Error::FromSqlConversionFailure(column, Type::Text, Box::new(why))
}

/// Puts a row where it was.
pub(crate) fn put(tx: &Connection, shop: &str, row: &Row) -> rusqlite::Result<()> {
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
