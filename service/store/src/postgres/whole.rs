//! The whole of a shop, piece by piece: out as it stood at one instant, and into a shop that is empty yet.

use std::collections::BTreeSet;

use facts::{Entry, Reading, Recorded};

use super::{held, journal, kept, line::Line, outbox, tokens};
use crate::{Answer, EachPiece, Error, Piece, Row};

/// Rows handed over at once.
const PART: usize = 4096;

/// Everything in the order of `Piece`, until `each` breaks.
pub(super) fn everything(line: &mut Line, each: &mut EachPiece<'_>) -> Result<(), Error> {
    let mut seq = 0;
    loop {
        let part = journal::facts_after(line, seq, PART)?;
        let Some(last) = part.last() else { break };
        seq = last.seq;
        if !all(part.into_iter().map(|fact| Piece::Row(Row::Fact(fact))), each) {
            return Ok(());
        }
    }
    let mut reading = |recorded_at, reading| each(Piece::Row(Row::Reading { recorded_at, reading })).is_continue();
    if !journal::every_reading(line, &mut reading)? {
        return Ok(());
    }
    for zone in held::zones_with_means(line)? {
        let of_zone = held::means(line, zone.as_str(), i64::MIN, i64::MAX)?;
        if !all(of_zone.into_iter().map(|mean| Piece::Row(Row::Mean { zone: zone.clone(), mean })), each) {
            return Ok(());
        }
    }
    if !all(held::all(line)?.into_iter().map(|held| Piece::Row(Row::Held(held))), each) {
        return Ok(());
    }
    let answers =
        kept::all_answers(line)?.into_iter().map(|(answer, recorded_ms)| Piece::Answer { answer, recorded_ms });
    if !all(answers, each) || !all(outbox::all(line)?.into_iter().map(Piece::Delivery), each) {
        return Ok(());
    }
    let runs = kept::all_runs(line)?.into_iter().map(Piece::Run);
    let subscriptions = kept::subscriptions(line, None)?.into_iter().map(Piece::Subscription);
    let off = kept::switched_off(line)?.into_iter().map(Piece::Off);
    let tokens = tokens::list(line)?.into_iter().map(Piece::Token);
    if !all(runs.chain(subscriptions).chain(off).chain(tokens), each) {
        return Ok(());
    }
    for name in kept::file_names(line)? {
        let bytes = kept::file(line, &name)?.unwrap_or_default();
        if each(Piece::File { name, bytes }).is_break() {
            break;
        }
    }
    Ok(())
}

/// Hands out pieces until one breaks; whether all were wanted.
fn all(mut pieces: impl Iterator<Item = Piece>, each: &mut EachPiece<'_>) -> bool {
    pieces.all(|piece| each(piece).is_continue())
}

/// What gathered to be put at once.
#[derive(Default)]
struct Gathered {
    facts: Vec<(i64, Entry)>,
    readings: Vec<(i64, Reading)>,
    answers: Vec<(Answer, i64)>,
}

/// Where the journal and the readings end when all is put.
#[derive(Default)]
pub(super) struct Filled {
    pub(super) pieces: u64,
    pub(super) last_fact: i64,
    pub(super) last_reading: i64,
    last_delivery: i64,
    last_held: i64,
}

/// Puts everything where it was.
pub(super) fn fill(
    line: &mut Line,
    months: &mut BTreeSet<i64>,
    pieces: &mut dyn Iterator<Item = Result<Piece, String>>,
) -> Result<Filled, Error> {
    let (mut gathered, mut filled) = (Gathered::default(), Filled::default());
    for piece in pieces {
        filled.pieces += 1;
        let piece = piece.map_err(|why| Error::NotWhole { why })?;
        put(line, &mut gathered, &mut filled, piece)?;
        if gathered.facts.len() + gathered.readings.len() + gathered.answers.len() >= PART {
            flush(line, months, &mut gathered, &mut filled)?;
        }
    }
    flush(line, months, &mut gathered, &mut filled)?;
    for (table, last) in [("delivery", filled.last_delivery), ("quarantine", filled.last_held)] {
        // What is put in next comes behind what was put in here.
        line.execute(
            "SELECT setval(pg_get_serial_sequence($1, 'id'), greatest($2, nextval(pg_get_serial_sequence($1, 'id'))))",
            &[&table, &last],
        )?;
    }
    Ok(filled)
}

fn put(line: &mut Line, gathered: &mut Gathered, filled: &mut Filled, piece: Piece) -> Result<(), Error> {
    match piece {
        Piece::Row(Row::Fact(Recorded { seq, happened_at, recorded_at, by, fact })) => {
            filled.last_fact = filled.last_fact.max(seq);
            gathered.facts.push((seq, Entry { happened_at, recorded_at, by, fact }));
        }
        Piece::Row(Row::Reading { recorded_at, reading }) => {
            gathered.readings.push((recorded_at.timestamp_millis(), reading));
        }
        Piece::Row(Row::Mean { zone, mean }) => held::add_means(line, &zone, &[mean])?,
        Piece::Row(Row::Held(row)) => {
            filled.last_held = filled.last_held.max(row.id);
            held::put(line, &row)?;
        }
        Piece::Answer { answer, recorded_ms } => gathered.answers.push((answer, recorded_ms)),
        Piece::Delivery(delivery) => {
            filled.last_delivery = filled.last_delivery.max(delivery.id);
            outbox::put(line, &delivery)?;
        }
        Piece::Run(run) => kept::record_run(line, &run)?,
        Piece::Subscription(subscription) => kept::put_subscription(line, &subscription)?,
        Piece::Off(off) => kept::switch_off(line, &off)?,
        Piece::Token(token) => drop(tokens::add(line, &token)?),
        Piece::File { name, bytes } => kept::put_file(line, &name, &bytes)?,
    }
    Ok(())
}

fn flush(
    line: &mut Line,
    months: &mut BTreeSet<i64>,
    gathered: &mut Gathered,
    filled: &mut Filled,
) -> Result<(), Error> {
    let Gathered { facts, readings, answers } = std::mem::take(gathered);
    let facts: Vec<(i64, &Entry)> = facts.iter().map(|(seq, entry)| (*seq, entry)).collect();
    journal::add_facts(line, &facts)?;
    let readings: Vec<journal::Came<'_>> = readings.iter().map(|(came_ms, reading)| (*came_ms, reading)).collect();
    journal::make_months(line, months, &readings)?;
    journal::add_readings(line, filled.last_reading, &readings)?;
    filled.last_reading += readings.len() as i64;
    let answers: Vec<(&Answer, i64)> = answers.iter().map(|(answer, came_ms)| (answer, *came_ms)).collect();
    kept::add_answers(line, &answers)
}
