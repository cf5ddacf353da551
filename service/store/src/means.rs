//! What is left of old readings: quarter-hour means with their extremes, and the statements that keep them.

use facts::ZoneId;
use rusqlite::{Connection, params};
use serde::{Deserialize, Serialize};

/// A quarter of an hour of a zone's air.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Mean {
    /// When it began, ms.
    #[serde(rename = "from", with = "crate::whole::rfc3339")]
    pub from_ms: i64,
    /// How many readings it stands for.
    pub n: u32,
    /// Mean, least and most temperature, °C.
    pub temp_c: [f64; 3],
    /// Mean, least and most relative humidity, %.
    pub rh_pct: [f64; 3],
}

/// A quarter that has a mean already gets the late reading weighed in.
const ADD: &str = "INSERT INTO reading_mean VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9) \
     ON CONFLICT (zone, from_ms) DO UPDATE SET \
     temp_c = (temp_c * n + excluded.temp_c * excluded.n) / (n + excluded.n), \
     rh_pct = (rh_pct * n + excluded.rh_pct * excluded.n) / (n + excluded.n), \
     temp_min_c = min(temp_min_c, excluded.temp_min_c), temp_max_c = max(temp_max_c, excluded.temp_max_c), \
     rh_min_pct = min(rh_min_pct, excluded.rh_min_pct), rh_max_pct = max(rh_max_pct, excluded.rh_max_pct), \
     n = n + excluded.n";
const LIST: &str = "SELECT from_ms, n, temp_c, temp_min_c, temp_max_c, rh_pct, rh_min_pct, rh_max_pct \
     FROM reading_mean WHERE zone = ?1 AND from_ms BETWEEN ?2 AND ?3 ORDER BY from_ms";

pub(crate) fn add(tx: &Connection, zone: &ZoneId, means: &[Mean]) -> rusqlite::Result<()> {
    let mut add = tx.prepare_cached(ADD)?;
    for m in means {
        let ([temp_c, temp_min, temp_max], [rh_pct, rh_min, rh_max]) = (m.temp_c, m.rh_pct);
        add.execute(params![zone.as_str(), m.from_ms, m.n, temp_c, temp_min, temp_max, rh_pct, rh_min, rh_max])?;
    }
    Ok(())
}

pub(crate) fn list(connection: &Connection, zone: &str, from_ms: i64, to_ms: i64) -> rusqlite::Result<Vec<Mean>> {
    let mut list = connection.prepare_cached(LIST)?;
    let rows = list.query_map(params![zone, from_ms, to_ms], |row| {
        Ok(Mean {
            from_ms: row.get(0)?,
            n: row.get(1)?,
            temp_c: [row.get(2)?, row.get(3)?, row.get(4)?],
            rh_pct: [row.get(5)?, row.get(6)?, row.get(7)?],
        })
    })?;
    rows.collect()
}
