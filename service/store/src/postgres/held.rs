//! What is not or no longer a reading: the statements about those held back, and about the means of old ones.

use facts::{SensorId, ZoneId};
use tokio_postgres::Row;

use super::line::{Given, Line, text, unreadable};
use crate::{
    Error, Held, HeldKey, HeldState, Mean, Saying,
    held::{state_of, word},
};

/// A reading that is sent again is held once, also after it was decided.
const ADD: &str = "INSERT INTO quarantine \
     (zone, sensor, at_ms, recorded_ms, temp_c, rh_pct, by_whom, reason, detail, mend) \
     VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) ON CONFLICT DO NOTHING";
const DECIDE: &str = "UPDATE quarantine SET state = $6, decided_ms = $7 WHERE state = 'held' AND zone = $1 AND \
     coalesce(sensor, '') = coalesce($2, '') AND at_ms = $3 AND temp_c = $4 AND rh_pct = $5";
const ROW: &str = "SELECT id, zone, sensor, at_ms, recorded_ms, temp_c, rh_pct, by_whom, reason, detail, mend, state, \
     decided_ms FROM quarantine";
const PUT: &str = "INSERT INTO quarantine (id, zone, sensor, at_ms, recorded_ms, temp_c, rh_pct, by_whom, reason, detail, \
     mend, state, decided_ms) VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)";

/// Writes what a saying holds back and what it decides.
pub(super) fn add(line: &mut Line, saying: &Saying) -> Result<(), Error> {
    for new in &saying.held {
        let HeldKey { zone, sensor, at_ms, temp_c, rh_pct } = &new.key;
        let (zone, sensor) = (zone.as_str(), sensor.as_ref().map(SensorId::as_str));
        let given: Given<'_> = &[
            &zone,
            &sensor,
            at_ms,
            &saying.recorded_ms,
            temp_c,
            rh_pct,
            &text(&new.by),
            &text(&new.reason),
            &text(&new.detail),
            &text(&new.mend),
        ];
        line.execute(ADD, given)?;
    }
    for (key, state) in &saying.decided {
        let HeldKey { zone, sensor, at_ms, temp_c, rh_pct } = key;
        let (zone, sensor) = (zone.as_str(), sensor.as_ref().map(SensorId::as_str));
        line.execute(DECIDE, &[&zone, &sensor, at_ms, temp_c, rh_pct, &word(*state), &saying.recorded_ms])?;
    }
    Ok(())
}

/// Held readings of a zone in one state, in the order they came, after an id.
pub(super) fn list(
    line: &mut Line,
    zone: &ZoneId,
    state: HeldState,
    after: i64,
    at_most: usize,
) -> Result<Vec<Held>, Error> {
    let which = "WHERE zone = $1 AND state = $2 AND id > $3 ORDER BY id LIMIT $4";
    rows(line, which, &[&zone.as_str(), &word(state), &after, &(at_most as i64)])
}

pub(super) fn one(line: &mut Line, id: i64) -> Result<Option<Held>, Error> {
    Ok(rows(line, "WHERE id = $1", &[&id])?.pop())
}

/// Everything that is or was held back, by id.
pub(super) fn all(line: &mut Line) -> Result<Vec<Held>, Error> {
    rows(line, "ORDER BY id", &[])
}

/// Puts one where it was, as it stood.
pub(super) fn put(line: &mut Line, held: &Held) -> Result<(), Error> {
    let HeldKey { zone, sensor, at_ms, temp_c, rh_pct } = &held.key;
    let (zone, sensor, state) = (zone.as_str(), sensor.as_ref().map(SensorId::as_str), word(held.state));
    let given: Given<'_> = &[
        &held.id,
        &zone,
        &sensor,
        at_ms,
        &held.recorded_ms,
        temp_c,
        rh_pct,
        &held.by,
        &held.reason,
        &held.detail,
        &held.mend,
        &state,
        &held.decided_ms,
    ];
    line.execute(PUT, given).map(drop)
}

fn rows(line: &mut Line, which: &str, given: Given<'_>) -> Result<Vec<Held>, Error> {
    line.query(&format!("{ROW} {which}"), given)?.iter().map(read).collect()
}

fn read(row: &Row) -> Result<Held, Error> {
    let of = |e: facts::Invalid| unreadable("a reading held back", e);
    Ok(Held {
        id: row.get(0),
        key: HeldKey {
            zone: ZoneId::new(row.get::<_, String>(1)).map_err(of)?,
            sensor: row.get::<_, Option<String>>(2).map(SensorId::new).transpose().map_err(of)?,
            at_ms: row.get(3),
            temp_c: row.get(5),
            rh_pct: row.get(6),
        },
        recorded_ms: row.get(4),
        by: row.get(7),
        reason: row.get(8),
        detail: row.get(9),
        mend: row.get(10),
        state: state_of(row.get(11)),
        decided_ms: row.get(12),
    })
}

/// A quarter that has a mean already gets the late reading weighed in.
const ADD_MEAN: &str = "INSERT INTO reading_mean AS old \
     (zone, from_ms, n, temp_c, temp_min_c, temp_max_c, rh_pct, rh_min_pct, rh_max_pct) \
     VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9) \
     ON CONFLICT (shop, zone, from_ms) DO UPDATE SET \
     temp_c = (old.temp_c * old.n + excluded.temp_c * excluded.n) / (old.n + excluded.n), \
     rh_pct = (old.rh_pct * old.n + excluded.rh_pct * excluded.n) / (old.n + excluded.n), \
     temp_min_c = least(old.temp_min_c, excluded.temp_min_c), temp_max_c = greatest(old.temp_max_c, excluded.temp_max_c), \
     rh_min_pct = least(old.rh_min_pct, excluded.rh_min_pct), rh_max_pct = greatest(old.rh_max_pct, excluded.rh_max_pct), \
     n = old.n + excluded.n";
const MEANS: &str = "SELECT from_ms, n, temp_c, temp_min_c, temp_max_c, rh_pct, rh_min_pct, rh_max_pct \
     FROM reading_mean WHERE zone = $1 AND from_ms BETWEEN $2 AND $3 ORDER BY from_ms";

pub(super) fn add_means(line: &mut Line, zone: &ZoneId, means: &[Mean]) -> Result<(), Error> {
    for m in means {
        let ([temp, temp_min, temp_max], [rh, rh_min, rh_max]) = (&m.temp_c, &m.rh_pct);
        let n = i64::from(m.n);
        let given: Given<'_> = &[&zone.as_str(), &m.from_ms, &n, temp, temp_min, temp_max, rh, rh_min, rh_max];
        line.execute(ADD_MEAN, given)?;
    }
    Ok(())
}

pub(super) fn means(line: &mut Line, zone: &str, from_ms: i64, to_ms: i64) -> Result<Vec<Mean>, Error> {
    let rows = line.query(MEANS, &[&zone, &from_ms, &to_ms])?;
    let read = |row: &Row| {
        let n = u32::try_from(row.get::<_, i64>(1)).map_err(|e| unreadable("a mean", e))?;
        Ok(Mean {
            from_ms: row.get(0),
            n,
            temp_c: [row.get(2), row.get(3), row.get(4)],
            rh_pct: [row.get(5), row.get(6), row.get(7)],
        })
    };
    rows.iter().map(read).collect()
}

/// Zones that have means, by name.
pub(super) fn zones_with_means(line: &mut Line) -> Result<Vec<ZoneId>, Error> {
    let rows = line.query("SELECT DISTINCT zone FROM reading_mean ORDER BY zone", &[])?;
    rows.iter().map(|row| ZoneId::new(row.get::<_, String>(0)).map_err(|e| unreadable("a mean", e))).collect()
}

/// Puts means in the place of readings before an instant. Where another instance did so already there is nothing to be
/// weighed in again: only means of quarters that had readings still are taken.
pub(super) fn thin(line: &mut Line, zone: &ZoneId, before_ms: i64, means: &[Mean]) -> Result<(), Error> {
    const QUARTER_MS: i64 = 15 * 60_000;
    let given: Given<'_> = &[&zone.as_str(), &before_ms];
    let first = "WITH gone AS (DELETE FROM reading WHERE zone = $1 AND at_ms < $2 RETURNING at_ms) \
                 SELECT min(at_ms) FROM gone";
    let first_ms: Option<i64> = line.query(first, given)?[0].get(0);
    line.execute("DELETE FROM quarantine WHERE zone = $1 AND at_ms < $2", given)?;
    let Some(first_ms) = first_ms else { return Ok(()) };
    let from_ms = first_ms.div_euclid(QUARTER_MS) * QUARTER_MS;
    let still: Vec<Mean> = means.iter().filter(|mean| mean.from_ms >= from_ms).copied().collect();
    add_means(line, zone, &still)
}
