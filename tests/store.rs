//! What every database must do, held against each there is: SQLite, and a PostgreSQL server of Debian's own.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

mod carried;
mod conforms;
mod instances;
mod killed;
mod one_shop;
mod sealed;
mod shared;
mod walls;

use std::path::Path;

use bench::{postgres, stock};
use facts::{Fact, Reading, RhPct, TempC};
use store::{Answer, Database, NewDelivery, Postgres, Saying, Sqlite, Token};

/// When everything here begins: the last hour of a February.
const BEGIN_MS: i64 = 1_772_319_600_000;

/// Runs a check on an empty shop in each database; `named` says which, for whoever reads what failed.
#[track_caller]
fn in_each(check: impl Fn(&str, &mut dyn Database)) {
    let folder = tempfile::tempdir().unwrap();
    check("SQLite", sqlite(folder.path(), "shop").as_mut());
    let server = postgres::Database::new();
    check("PostgreSQL", shop(&server, "shop").as_mut());
}

fn sqlite(folder: &Path, shop: &str) -> Box<dyn Database> {
    Box::new(Sqlite::open(&folder.join("journal.db"), shop).unwrap())
}

fn shop(server: &postgres::Database, shop: &str) -> Box<Postgres> {
    Box::new(Postgres::open(&server.url(), None, shop).unwrap())
}

/// Lets a server get on with it.
fn pause(ms: u64) {
    let (_keep, wait) = std::sync::mpsc::channel::<()>();
    assert!(wait.recv_timeout(std::time::Duration::from_millis(ms)).is_err());
}

/// Facts in one piece.
fn saying(facts: Vec<Fact>) -> Saying {
    let entries = facts.into_iter().map(|fact| stock::entry(stock::recorded(0, BEGIN_MS, fact))).collect();
    Saying { entries, recorded_ms: BEGIN_MS, ..Saying::default() }
}

/// Readings in one piece, that came at an instant.
fn heard(readings: Vec<Reading>, recorded_ms: i64) -> Saying {
    Saying { readings, recorded_ms, ..Saying::default() }
}

fn reading(zone: &str, sensor: Option<&str>, at_ms: i64, temp_c: f64) -> Reading {
    Reading {
        zone: stock::id(zone),
        sensor: sensor.map(stock::id),
        at: stock::instant(at_ms),
        temp_c: TempC::new(temp_c).unwrap(),
        rh_pct: RhPct::new(48.5).unwrap(),
    }
}

fn answer(key: &str) -> Option<Answer> {
    Some(Answer { key: key.into(), fingerprint: format!("of {key}"), status: 201, body: "{\"a\": 1}".into() })
}

fn delivery(alert: &str, channel: &str, since_ms: i64, due_ms: i64) -> NewDelivery {
    NewDelivery {
        alert: stock::id(alert),
        channel: channel.into(),
        body: format!("{{\"of\":\"{alert}\"}}"),
        since_ms,
        due_ms,
    }
}

/// A bench token whose id is made from a number.
fn token(name: &str, id: i64) -> Token {
    Token {
        id: format!("{id:064x}"),
        name: name.into(),
        role: "bench".into(),
        zones: vec![],
        session: false,
        made_ms: BEGIN_MS,
        made_by: "bench".into(),
        used_ms: None,
        revoked: None,
    }
}

/// Readings of a zone as the store gives them.
fn readings(database: &mut dyn Database, zone: &str, from_ms: i64) -> Vec<Reading> {
    let mut all = Vec::new();
    database.readings(&stock::id(zone), from_ms, &mut |reading| all.push(reading)).unwrap();
    all
}
