//! Who receives: browsers that asked for push messages, and channels whose receiver wants no more.
//!
//! Neither is a fact. A subscription carries the secret of somebody's browser and must be forgotten when the browser
//! drops it; the journal is never edited, and everybody who follows the events reads it.

use rusqlite::{Connection, Row, params};
use serde::Serialize;

/// A browser that asked for push messages.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Subscription {
    /// Made from its address, so that the same browser is one subscription however often it asks.
    pub id: String,
    /// Whose browser it is.
    pub person: String,
    /// Where its push service takes messages.
    pub endpoint: String,
    /// Its public key, base64url: an uncompressed point on P-256.
    pub p256dh: String,
    /// Its authentication secret, base64url: 16 bytes.
    pub auth: String,
    /// When it asked, ms.
    pub added_ms: i64,
}

/// A channel that is not tried until it is set anew or a test message gets through.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Off {
    /// Its name.
    pub channel: String,
    /// The address that was refused; another address is another receiver.
    pub address: String,
    /// Since when, ms.
    pub since_ms: i64,
    /// Why.
    pub why: String,
}

const PUT: &str = "INSERT OR REPLACE INTO push_subscription (id, person, endpoint, p256dh, auth, added_ms) \
                   VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
const LIST: &str = "SELECT id, person, endpoint, p256dh, auth, added_ms FROM push_subscription \
                    WHERE ?1 IS NULL OR person = ?1 ORDER BY id";
const OFF: &str = "INSERT OR REPLACE INTO channel_off (channel, address, since_ms, why) VALUES (?1, ?2, ?3, ?4)";

pub(crate) fn put(c: &Connection, s: &Subscription) -> rusqlite::Result<()> {
    c.prepare_cached(PUT)?.execute(params![s.id, s.person, s.endpoint, s.p256dh, s.auth, s.added_ms]).map(drop)
}

pub(crate) fn list(c: &Connection, person: Option<&str>) -> rusqlite::Result<Vec<Subscription>> {
    let mut list = c.prepare_cached(LIST)?;
    let read = |row: &Row<'_>| {
        Ok(Subscription {
            id: row.get(0)?,
            person: row.get(1)?,
            endpoint: row.get(2)?,
            p256dh: row.get(3)?,
            auth: row.get(4)?,
            added_ms: row.get(5)?,
        })
    };
    let rows = list.query_map([person], read)?;
    rows.collect()
}

/// Whether there was one.
pub(crate) fn forget(c: &Connection, id: &str) -> rusqlite::Result<bool> {
    c.execute("DELETE FROM push_subscription WHERE id = ?1", [id]).map(|gone| gone > 0)
}

pub(crate) fn switch_off(c: &Connection, off: &Off) -> rusqlite::Result<()> {
    c.execute(OFF, params![off.channel, off.address, off.since_ms, off.why]).map(drop)
}

pub(crate) fn switch_on(c: &Connection, channel: &str) -> rusqlite::Result<()> {
    c.execute("DELETE FROM channel_off WHERE channel = ?1", [channel]).map(drop)
}

pub(crate) fn switched_off(c: &Connection) -> rusqlite::Result<Vec<Off>> {
    let mut list = c.prepare_cached("SELECT channel, address, since_ms, why FROM channel_off ORDER BY channel")?;
    let read =
        |row: &Row<'_>| Ok(Off { channel: row.get(0)?, address: row.get(1)?, since_ms: row.get(2)?, why: row.get(3)? });
    let rows = list.query_map([], read)?;
    rows.collect()
}
