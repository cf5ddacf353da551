//! Facts and readings: written many at once, read in their order. Readings lie in a table for each month, made as needed.

use std::{borrow::Cow, collections::BTreeSet};

use chrono::{DateTime, Datelike, TimeZone, Utc};
use facts::{Reading, Recorded, RhPct, SensorId, TempC, ZoneId};
use tokio_postgres::Row;

use super::{
    line::{Line, text, unreadable},
    schema::{BUILDING, WALLS},
};
use facts::Entry;

use crate::{Error, sqlite::stored_form};

const ADD_FACTS: &str = "INSERT INTO journal (seq, kind, happened_ms, recorded_ms, by_whom, body) \
     SELECT * FROM unnest($1::bigint[], $2::text[], $3::bigint[], $4::bigint[], $5::text[], $6::text[])";
const ADD_READINGS: &str = "INSERT INTO reading (seq, zone, at_ms, recorded_ms, temp_c, rh_pct, sensor) \
     SELECT * FROM unnest($1::bigint[], $2::text[], $3::bigint[], $4::bigint[], $5::float8[], $6::float8[], $7::text[])";
const FACTS_AFTER: &str =
    "SELECT seq, happened_ms, recorded_ms, by_whom, body FROM journal WHERE seq > $1 ORDER BY seq LIMIT $2";
const FACTS_OF: &str = "SELECT seq, happened_ms, recorded_ms, by_whom, body FROM journal WHERE kind = $1 ORDER BY seq";
const READINGS_AFTER: &str = "SELECT zone, at_ms, temp_c, rh_pct, sensor, recorded_ms FROM reading \
     WHERE seq > $1 AND seq <= $2 ORDER BY seq";
const READINGS: &str = "SELECT zone, at_ms, temp_c, rh_pct, sensor, recorded_ms FROM reading \
     WHERE zone = $1 AND at_ms >= $2 ORDER BY at_ms, seq";
const EVERY_READING: &str = "SELECT zone, at_ms, temp_c, rh_pct, sensor, recorded_ms FROM reading \
     ORDER BY zone, at_ms, seq";
/// A reading and when it reached the service, ms.
pub(super) type Came<'a> = (i64, &'a Reading);

/// Adds facts with the places given.
pub(super) fn add_facts(line: &mut Line, entries: &[(i64, &Entry)]) -> Result<(), Error> {
    if entries.is_empty() {
        return Ok(());
    }
    let forms: Vec<(String, String)> = entries.iter().map(|(_, entry)| stored_form(&entry.fact)).collect();
    let seqs: Vec<i64> = entries.iter().map(|(seq, _)| *seq).collect();
    let kinds: Vec<&str> = forms.iter().map(|(kind, _)| kind.as_str()).collect();
    let happened: Vec<i64> = entries.iter().map(|(_, entry)| entry.happened_at.timestamp_millis()).collect();
    let recorded: Vec<i64> = entries.iter().map(|(_, entry)| entry.recorded_at.timestamp_millis()).collect();
    let by: Vec<Cow<'_, str>> = entries.iter().map(|(_, entry)| text(&entry.by)).collect();
    let bodies: Vec<&str> = forms.iter().map(|(_, body)| body.as_str()).collect();
    line.execute(ADD_FACTS, &[&seqs, &kinds, &happened, &recorded, &by, &bodies]).map(drop)
}

/// Adds readings, each with when it came, numbered on from `after`.
pub(super) fn add_readings(line: &mut Line, after: i64, came: &[Came<'_>]) -> Result<(), Error> {
    if came.is_empty() {
        return Ok(());
    }
    let seqs: Vec<i64> = (after + 1..).take(came.len()).collect();
    let zones: Vec<&str> = came.iter().map(|(_, r)| r.zone.as_str()).collect();
    let at: Vec<i64> = came.iter().map(|(_, r)| r.at.timestamp_millis()).collect();
    let recorded: Vec<i64> = came.iter().map(|(recorded_ms, _)| *recorded_ms).collect();
    let temps: Vec<f64> = came.iter().map(|(_, r)| r.temp_c.get()).collect();
    let rhs: Vec<f64> = came.iter().map(|(_, r)| r.rh_pct.get()).collect();
    let sensors: Vec<Option<&str>> = came.iter().map(|(_, r)| r.sensor.as_ref().map(SensorId::as_str)).collect();
    line.execute(ADD_READINGS, &[&seqs, &zones, &at, &recorded, &temps, &rhs, &sensors]).map(drop)
}

/// Makes the tables of the months these readings are of, those that are not there; `known` are those that are.
pub(super) fn make_months(line: &mut Line, known: &mut BTreeSet<i64>, came: &[Came<'_>]) -> Result<(), Error> {
    let wanted: BTreeSet<i64> = came.iter().map(|(_, r)| month_of(r.at)).collect();
    if wanted.iter().all(|month| known.contains(month)) {
        return Ok(());
    }
    line.batch(BUILDING)?;
    for month in wanted.difference(known).copied().collect::<Vec<_>>() {
        let (year, of_year) = (month.div_euclid(12), month.rem_euclid(12) + 1);
        let name = format!("reading_{}{:04}_{of_year:02}", if year < 0 { "bc_" } else { "" }, year.abs());
        let there = line.query("SELECT to_regclass($1::text) IS NOT NULL", &[&name])?[0].get::<_, bool>(0);
        if !there {
            // Attached, not made as a part: that would shut out everybody who reads or writes meanwhile.
            line.batch(&format!(
                "CREATE TABLE {name} (LIKE reading INCLUDING DEFAULTS);
                 ALTER TABLE reading ATTACH PARTITION {name} FOR VALUES FROM ({}) TO ({})",
                begin_ms(month),
                begin_ms(month + 1)
            ))?;
            line.batch(WALLS)?;
        }
    }
    known.extend(wanted);
    Ok(())
}

/// Months since the year 0, UTC.
fn month_of(at: DateTime<Utc>) -> i64 {
    i64::from(at.year()) * 12 + i64::from(at.month0())
}

fn begin_ms(month: i64) -> i64 {
    let (year, of_year) = (month.div_euclid(12) as i32, month.rem_euclid(12) as u32 + 1);
    Utc.with_ymd_and_hms(year, of_year, 1, 0, 0, 0).single().map_or(i64::MAX, |at| at.timestamp_millis())
}

pub(super) fn facts_after(line: &mut Line, seq: i64, at_most: usize) -> Result<Vec<Recorded>, Error> {
    line.query(FACTS_AFTER, &[&seq, &(at_most as i64)])?.iter().map(recorded).collect()
}

pub(super) fn facts_of(line: &mut Line, kind: &str) -> Result<Vec<Recorded>, Error> {
    line.query(FACTS_OF, &[&kind])?.iter().map(recorded).collect()
}

/// Readings behind one place and up to another, in the order they came.
pub(super) fn readings_after(line: &mut Line, after: i64, up_to: i64) -> Result<Vec<Reading>, Error> {
    let rows = line.query(READINGS_AFTER, &[&after, &up_to])?;
    rows.iter().map(|row| reading(row).map(|(_, reading)| reading)).collect()
}

/// Every reading of a zone from an instant on, oldest first.
pub(super) fn readings(
    line: &mut Line,
    zone: &ZoneId,
    from_ms: i64,
    each: &mut dyn FnMut(Reading),
) -> Result<(), Error> {
    let mut take = |row: &Row| reading(row).map(|(_, reading)| each(reading)).map(|()| true);
    line.stream(READINGS, &[&zone.as_str(), &from_ms], &mut take).map(drop)
}

/// Every reading by zone and time, with when it came, until `each` wants no more; whether it wanted all.
pub(super) fn every_reading(
    line: &mut Line,
    each: &mut dyn FnMut(DateTime<Utc>, Reading) -> bool,
) -> Result<bool, Error> {
    line.stream(EVERY_READING, &[], &mut |row| reading(row).map(|(recorded_at, reading)| each(recorded_at, reading)))
}

fn recorded(row: &Row) -> Result<Recorded, Error> {
    let seq: i64 = row.get(0);
    let unreadable = |why: String| Error::Unreadable { seq, why };
    Ok(Recorded {
        seq,
        happened_at: instant(row.get(1))?,
        recorded_at: instant(row.get(2))?,
        by: row.get(3),
        fact: serde_json::from_str(row.get(4)).map_err(|e| unreadable(e.to_string()))?,
    })
}

fn reading(row: &Row) -> Result<(DateTime<Utc>, Reading), Error> {
    let of = |e: facts::Invalid| unreadable("a reading", e);
    let reading = Reading {
        zone: ZoneId::new(row.get::<_, String>(0)).map_err(of)?,
        sensor: row.get::<_, Option<String>>(4).map(SensorId::new).transpose().map_err(of)?,
        at: instant(row.get(1))?,
        temp_c: TempC::new(row.get(2)).map_err(of)?,
        rh_pct: RhPct::new(row.get(3)).map_err(of)?,
    };
    Ok((instant(row.get(5))?, reading))
}

fn instant(at_ms: i64) -> Result<DateTime<Utc>, Error> {
    DateTime::from_timestamp_millis(at_ms).ok_or_else(|| unreadable("an instant", format!("{at_ms} is none")))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_month_holds_its_first_millisecond_and_not_the_next_months() {
        for (at, month) in [
            ("2026-02-28T23:59:59.999Z", 2026 * 12 + 1),
            ("2026-03-01T00:00:00Z", 2026 * 12 + 2),
            ("2024-02-29T12:00:00Z", 2024 * 12 + 1),
            ("1969-12-31T23:59:59.999Z", 1969 * 12 + 11),
        ] {
            let at = DateTime::parse_from_rfc3339(at).unwrap().to_utc();
            assert_eq!(month_of(at), month, "{at}");
            assert!((begin_ms(month)..begin_ms(month + 1)).contains(&at.timestamp_millis()), "{at}");
        }
    }
}
