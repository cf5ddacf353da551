//! What is kept beside facts: answers under their keys, runs of recurring work, who receives, photos and keys.

use tokio_postgres::Row;

use super::line::{Line, text, unreadable};
use crate::{Answer, Error, Off, Run, Subscription};

const ADD_ANSWERS: &str = "INSERT INTO answer (key, fingerprint, status, body, recorded_ms) \
     SELECT * FROM unnest($1::text[], $2::text[], $3::bigint[], $4::text[], $5::bigint[])";
const ANSWERS: &str = "SELECT key, fingerprint, status, body, recorded_ms FROM answer";
const PUT_SUBSCRIPTION: &str = "INSERT INTO push_subscription (id, person, endpoint, p256dh, auth, added_ms) \
     VALUES ($1, $2, $3, $4, $5, $6) ON CONFLICT (shop, id) DO UPDATE SET person = excluded.person, \
     endpoint = excluded.endpoint, p256dh = excluded.p256dh, auth = excluded.auth, added_ms = excluded.added_ms";
const SUBSCRIPTIONS: &str = "SELECT id, person, endpoint, p256dh, auth, added_ms FROM push_subscription \
     WHERE $1::text IS NULL OR person = $1 ORDER BY id";
const SWITCH_OFF: &str = "INSERT INTO channel_off (channel, address, since_ms, why) VALUES ($1, $2, $3, $4) \
     ON CONFLICT (shop, channel) DO UPDATE SET address = excluded.address, since_ms = excluded.since_ms, why = excluded.why";
const RECORD_RUN: &str = "INSERT INTO run (job, at_ms, error) VALUES ($1, $2, $3) \
     ON CONFLICT (shop, job, at_ms) DO UPDATE SET error = excluded.error";

/// Keeps answers, each with when it was given, ms.
pub(super) fn add_answers(line: &mut Line, answers: &[(&Answer, i64)]) -> Result<(), Error> {
    if answers.is_empty() {
        return Ok(());
    }
    let keys: Vec<&str> = answers.iter().map(|(a, _)| a.key.as_str()).collect();
    let fingerprints: Vec<&str> = answers.iter().map(|(a, _)| a.fingerprint.as_str()).collect();
    let statuses: Vec<i64> = answers.iter().map(|(a, _)| i64::from(a.status)).collect();
    let bodies: Vec<&str> = answers.iter().map(|(a, _)| a.body.as_str()).collect();
    let recorded: Vec<i64> = answers.iter().map(|(_, recorded_ms)| *recorded_ms).collect();
    line.execute(ADD_ANSWERS, &[&keys, &fingerprints, &statuses, &bodies, &recorded]).map(drop)
}

pub(super) fn answers(line: &mut Line, keys: &[&str]) -> Result<Vec<Answer>, Error> {
    let rows = line.query(&format!("{ANSWERS} WHERE key = ANY($1)"), &[&keys])?;
    rows.iter().map(|row| answer(row).map(|(answer, _)| answer)).collect()
}

/// Every answer with when it was given, ms, by key.
pub(super) fn all_answers(line: &mut Line) -> Result<Vec<(Answer, i64)>, Error> {
    line.query(&format!("{ANSWERS} ORDER BY key"), &[])?.iter().map(answer).collect()
}

fn answer(row: &Row) -> Result<(Answer, i64), Error> {
    let status = u16::try_from(row.get::<_, i64>(2)).map_err(|e| unreadable("an answer", e))?;
    let answer = Answer { key: row.get(0), fingerprint: row.get(1), status, body: row.get(3) };
    Ok((answer, row.get(4)))
}

pub(super) fn record_run(line: &mut Line, run: &Run) -> Result<(), Error> {
    line.execute(RECORD_RUN, &[&run.job, &run.at_ms, &run.error.as_deref().map(text)]).map(drop)
}

/// The last run of each job.
pub(super) fn last_runs(line: &mut Line) -> Result<Vec<Run>, Error> {
    runs(line, "SELECT DISTINCT ON (job) job, at_ms, error FROM run ORDER BY job, at_ms DESC")
}

/// Every run, by job and time.
pub(super) fn all_runs(line: &mut Line) -> Result<Vec<Run>, Error> {
    runs(line, "SELECT job, at_ms, error FROM run ORDER BY job, at_ms")
}

fn runs(line: &mut Line, sql: &str) -> Result<Vec<Run>, Error> {
    let read = |row: &Row| Run { job: row.get(0), at_ms: row.get(1), error: row.get(2) };
    Ok(line.query(sql, &[])?.iter().map(read).collect())
}

pub(super) fn put_subscription(line: &mut Line, s: &Subscription) -> Result<(), Error> {
    line.execute(PUT_SUBSCRIPTION, &[&s.id, &s.person, &s.endpoint, &s.p256dh, &s.auth, &s.added_ms]).map(drop)
}

pub(super) fn subscriptions(line: &mut Line, person: Option<&str>) -> Result<Vec<Subscription>, Error> {
    let read = |row: &Row| Subscription {
        id: row.get(0),
        person: row.get(1),
        endpoint: row.get(2),
        p256dh: row.get(3),
        auth: row.get(4),
        added_ms: row.get(5),
    };
    Ok(line.query(SUBSCRIPTIONS, &[&person])?.iter().map(read).collect())
}

/// Whether there was one.
pub(super) fn forget_subscription(line: &mut Line, id: &str) -> Result<bool, Error> {
    line.execute("DELETE FROM push_subscription WHERE id = $1", &[&id]).map(|gone| gone > 0)
}

pub(super) fn switch_off(line: &mut Line, off: &Off) -> Result<(), Error> {
    line.execute(SWITCH_OFF, &[&off.channel, &off.address, &off.since_ms, &off.why]).map(drop)
}

pub(super) fn switch_on(line: &mut Line, channel: &str) -> Result<(), Error> {
    line.execute("DELETE FROM channel_off WHERE channel = $1", &[&channel]).map(drop)
}

pub(super) fn switched_off(line: &mut Line) -> Result<Vec<Off>, Error> {
    let rows = line.query("SELECT channel, address, since_ms, why FROM channel_off ORDER BY channel", &[])?;
    let read = |row: &Row| Off { channel: row.get(0), address: row.get(1), since_ms: row.get(2), why: row.get(3) };
    Ok(rows.iter().map(read).collect())
}

/// Days on which anything was written down, the newest first.
pub(super) fn days(line: &mut Line, until_ms: i64, at_most: usize) -> Result<Vec<i64>, Error> {
    let days = "SELECT recorded_ms / 86400000 AS day FROM journal WHERE recorded_ms <= $1 \
                UNION SELECT recorded_ms / 86400000 FROM reading WHERE recorded_ms <= $1 ORDER BY day DESC LIMIT $2";
    Ok(line.query(days, &[&until_ms, &(at_most as i64)])?.iter().map(|row| row.get(0)).collect())
}

/// Whether there was none of that name; if there was, it stays.
pub(super) fn keep_file(line: &mut Line, name: &str, bytes: &[u8]) -> Result<bool, Error> {
    let keep = "INSERT INTO file (name, bytes) VALUES ($1, $2) ON CONFLICT DO NOTHING";
    line.execute(keep, &[&name, &bytes]).map(|kept| kept > 0)
}

/// Puts one where it was, in place of any that a service which has said nothing yet made there.
pub(super) fn put_file(line: &mut Line, name: &str, bytes: &[u8]) -> Result<(), Error> {
    let put = "INSERT INTO file (name, bytes) VALUES ($1, $2) \
               ON CONFLICT (shop, name) DO UPDATE SET bytes = excluded.bytes";
    line.execute(put, &[&name, &bytes]).map(drop)
}

pub(super) fn file(line: &mut Line, name: &str) -> Result<Option<Vec<u8>>, Error> {
    Ok(line.query("SELECT bytes FROM file WHERE name = $1", &[&name])?.first().map(|row| row.get(0)))
}

/// Whether there was one.
pub(super) fn forget_file(line: &mut Line, name: &str) -> Result<bool, Error> {
    line.execute("DELETE FROM file WHERE name = $1", &[&name]).map(|gone| gone > 0)
}

/// Every name, in order: the bytes are asked for one by one.
pub(super) fn file_names(line: &mut Line) -> Result<Vec<String>, Error> {
    Ok(line.query("SELECT name FROM file ORDER BY name", &[])?.iter().map(|row| row.get(0)).collect())
}

/// Forgets kept answers, finished deliveries and runs older than an instant, and sessions not used since.
pub(super) fn forget_finished(line: &mut Line, before_ms: i64) -> Result<(), Error> {
    for sql in [
        "DELETE FROM answer WHERE recorded_ms < $1",
        "DELETE FROM delivery WHERE state <> 'waiting' AND due_ms < $1",
        "DELETE FROM run WHERE at_ms < $1",
        "DELETE FROM token WHERE session AND coalesce(used_ms, made_ms) < $1",
    ] {
        line.execute(sql, &[&before_ms])?;
    }
    Ok(())
}
