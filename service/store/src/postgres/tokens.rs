//! Who may enter: tokens and sessions, as `tokens.rs` keeps them in SQLite.

use tokio_postgres::Row;

use super::line::Line;
use crate::{
    Error, Token,
    tokens::{read_zones, written},
};

const ADD: &str = "INSERT INTO token (id, name, role, zones, session, made_ms, made_by, used_ms, revoked_ms, revoked_by) \
                   VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10) ON CONFLICT DO NOTHING";
const LIST: &str = "SELECT id, name, role, zones, session, made_ms, made_by, used_ms, revoked_ms, revoked_by FROM token \
                    ORDER BY name, session, made_ms, id";
const REVOKE: &str =
    "UPDATE token SET revoked_ms = $2, revoked_by = $3 WHERE name = $1 AND NOT session AND revoked_ms IS NULL";

/// Whether its name was free.
pub(super) fn add(line: &mut Line, t: &Token) -> Result<bool, Error> {
    let (revoked_ms, revoked_by) = t.revoked.clone().unzip();
    let zones = written(&t.zones);
    line.execute(
        ADD,
        &[&t.id, &t.name, &t.role, &zones, &t.session, &t.made_ms, &t.made_by, &t.used_ms, &revoked_ms, &revoked_by],
    )
    .map(|added| added > 0)
}

pub(super) fn list(line: &mut Line) -> Result<Vec<Token>, Error> {
    let read = |row: &Row| {
        let revoked_ms: Option<i64> = row.get(8);
        Token {
            id: row.get(0),
            name: row.get(1),
            role: row.get(2),
            zones: read_zones(row.get(3)),
            session: row.get(4),
            made_ms: row.get(5),
            made_by: row.get(6),
            used_ms: row.get(7),
            revoked: revoked_ms.map(|at_ms| (at_ms, row.get::<_, Option<String>>(9).unwrap_or_default())),
        }
    };
    Ok(line.query(LIST, &[])?.iter().map(read).collect())
}

pub(super) fn used(line: &mut Line, id: &str, at_ms: i64) -> Result<(), Error> {
    line.execute("UPDATE token SET used_ms = $2 WHERE id = $1", &[&id, &at_ms]).map(drop)
}

/// Takes a token away and ends its sessions; whether there was one.
pub(super) fn revoke(line: &mut Line, name: &str, by: &str, at_ms: i64) -> Result<bool, Error> {
    let revoked = line.execute(REVOKE, &[&name, &at_ms, &by])?;
    line.execute("DELETE FROM token WHERE name = $1 AND session", &[&name])?;
    Ok(revoked > 0)
}

pub(super) fn end_session(line: &mut Line, id: &str) -> Result<(), Error> {
    line.execute("DELETE FROM token WHERE id = $1 AND session", &[&id]).map(drop)
}
