//! What the shop keeps besides rows: photos, and the keys it made for itself, each as bytes under a name. They are no
//! facts, which everybody who follows the events reads; they are here so that whoever serves the shop has them, and so
//! that a copy of the shop is the whole of it.

use rusqlite::{Connection, OptionalExtension, params};
use serde::Serializer;
use sha2::{Digest, Sha256};

const KEEP: &str = "INSERT INTO file (name, bytes) VALUES (?1, ?2) ON CONFLICT DO NOTHING";
const PUT: &str = "INSERT OR REPLACE INTO file (name, bytes) VALUES (?1, ?2)";

/// Keeps one, unless there is one of that name; whether there was none.
pub(crate) fn keep(c: &Connection, name: &str, bytes: &[u8]) -> rusqlite::Result<bool> {
    c.prepare_cached(KEEP)?.execute(params![name, bytes]).map(|kept| kept > 0)
}

/// Puts one where it was, in place of any that a service which has said nothing yet made there.
pub(crate) fn put(c: &Connection, name: &str, bytes: &[u8]) -> rusqlite::Result<()> {
    c.prepare_cached(PUT)?.execute(params![name, bytes]).map(drop)
}

pub(crate) fn one(c: &Connection, name: &str) -> rusqlite::Result<Option<Vec<u8>>> {
    c.prepare_cached("SELECT bytes FROM file WHERE name = ?1")?.query_row([name], |row| row.get(0)).optional()
}

/// Whether there was one.
pub(crate) fn forget(c: &Connection, name: &str) -> rusqlite::Result<bool> {
    c.execute("DELETE FROM file WHERE name = ?1", [name]).map(|gone| gone > 0)
}

/// Every name, in order: the bytes are asked for one by one.
pub(crate) fn names(c: &Connection) -> rusqlite::Result<Vec<String>> {
    let mut list = c.prepare("SELECT name FROM file ORDER BY name")?;
    let names = list.query_map([], |row| row.get(0))?;
    names.collect()
}

/// Bytes as a carried shop is compared by: their hash says as much as they do, in a line.
pub(crate) fn hashed<S: Serializer>(bytes: &[u8], to: S) -> Result<S::Ok, S::Error> {
    let hex: String = Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect();
    to.serialize_str(&hex)
}
