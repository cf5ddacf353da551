//! Who may enter: tokens and the sessions of browsers that showed one. Of either only the hash of its secret is kept.
//!
//! Neither is a fact. A token is taken away for good, and the journal, which is never edited, is exported and told to
//! everybody who follows the events.

use rusqlite::{Connection, Row, TransactionBehavior, params};
use serde::Serialize;

/// A token, or the session of a browser that logged in with one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Token {
    /// SHA-256 of its secret, hex.
    pub id: String,
    /// Its name; of a session that of its token.
    pub name: String,
    /// What it may do, in the server's word.
    pub role: String,
    /// The zones it may post readings of, where its role is bound to some.
    pub zones: Vec<String>,
    /// Whether it is a session.
    pub session: bool,
    /// When it was made, ms.
    pub made_ms: i64,
    /// Who made it.
    pub made_by: String,
    /// When it was last used, ms, to the minute.
    pub used_ms: Option<i64>,
    /// When it was taken away, ms, and by whom.
    pub revoked: Option<(i64, String)>,
}

const ADD: &str = "INSERT INTO token (id, name, role, zones, session, made_ms, made_by, used_ms, revoked_ms, revoked_by) \
                   VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10) ON CONFLICT DO NOTHING";
const LIST: &str = "SELECT id, name, role, zones, session, made_ms, made_by, used_ms, revoked_ms, revoked_by FROM token \
                    ORDER BY name, session, made_ms, id";
const REVOKE: &str = "UPDATE token SET revoked_ms = ?2, revoked_by = ?3 WHERE name = ?1 AND session = 0 AND \
                      revoked_ms IS NULL";

/// Zones as they are stored, in either database.
pub(crate) fn written(zones: &[String]) -> String {
    serde_json::to_string(zones).expect("a list of texts has a JSON form")
}

/// Zones as they were stored. What cannot be read gives no zone, never every zone.
pub(crate) fn read_zones(zones: &str) -> Vec<String> {
    serde_json::from_str(zones).unwrap_or_default()
}

/// Whether its name was free.
pub(crate) fn add(c: &Connection, t: &Token) -> rusqlite::Result<bool> {
    let (revoked_ms, revoked_by) = t.revoked.clone().unzip();
    let given = params![
        t.id,
        t.name,
        t.role,
        written(&t.zones),
        t.session,
        t.made_ms,
        t.made_by,
        t.used_ms,
        revoked_ms,
        revoked_by
    ];
    c.execute(ADD, given).map(|added| added > 0)
}

pub(crate) fn list(c: &Connection) -> rusqlite::Result<Vec<Token>> {
    let mut list = c.prepare_cached(LIST)?;
    let read = |row: &Row<'_>| {
        let zones: String = row.get(3)?;
        let revoked_ms: Option<i64> = row.get(8)?;
        let revoked_by: Option<String> = row.get(9)?;
        Ok(Token {
            id: row.get(0)?,
            name: row.get(1)?,
            role: row.get(2)?,
            zones: read_zones(&zones),
            session: row.get(4)?,
            made_ms: row.get(5)?,
            made_by: row.get(6)?,
            used_ms: row.get(7)?,
            revoked: revoked_ms.map(|at_ms| (at_ms, revoked_by.unwrap_or_default())),
        })
    };
    let rows = list.query_map([], read)?;
    rows.collect()
}

pub(crate) fn used(c: &Connection, id: &str, at_ms: i64) -> rusqlite::Result<()> {
    c.execute("UPDATE token SET used_ms = ?2 WHERE id = ?1", params![id, at_ms]).map(drop)
}

/// Takes a token away and ends its sessions, in one breath; whether there was one.
pub(crate) fn revoke(c: &mut Connection, name: &str, by: &str, at_ms: i64) -> rusqlite::Result<bool> {
    let tx = c.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let revoked = tx.execute(REVOKE, params![name, at_ms, by])?;
    tx.execute("DELETE FROM token WHERE name = ?1 AND session = 1", [name])?;
    tx.commit()?;
    Ok(revoked > 0)
}

pub(crate) fn end_session(c: &Connection, id: &str) -> rusqlite::Result<()> {
    c.execute("DELETE FROM token WHERE id = ?1 AND session = 1", [id]).map(drop)
}

/// Forgets sessions that nobody used since an instant.
pub(crate) fn forget_unused(c: &Connection, before_ms: i64) -> rusqlite::Result<()> {
    c.execute("DELETE FROM token WHERE session = 1 AND ifnull(used_ms, made_ms) < ?1", [before_ms]).map(drop)
}
