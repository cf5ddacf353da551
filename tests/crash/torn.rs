//! A write-ahead log that was torn: by a disk that lied, or somebody who moved files about. What is left is what had been
//! said up to some moment, never a fact without those before it; and the service goes on from there.

use std::{
    fs,
    path::{Path, PathBuf},
};

use super::{Chance, Home, Program, glue_up, program, sound};

/// The files of a journal.
const FILES: [&str; 3] = ["journal.db", "journal.db-wal", "journal.db-shm"];

/// What is done to a log of so many bytes.
type Harm = (&'static str, fn(&mut Vec<u8>, &mut Chance));

const HARMS: [Harm; 7] = [
    ("cut off somewhere", |log, chance| log.truncate(chance.below(log.len() as u64) as usize)),
    ("cut off near its end", |log, chance| log.truncate(log.len() - chance.below(4200) as usize - 1)),
    ("a page of it is zeros", |log, chance| {
        let at = chance.below(log.len() as u64 - 4096) as usize;
        log[at..at + 4096].fill(0);
    }),
    ("its second half is something else", |log, chance| {
        let half = log.len() / 2;
        log[half..].iter_mut().for_each(|byte| *byte = chance.below(256) as u8);
    }),
    ("one bit is another", |log, chance| {
        let at = chance.below(log.len() as u64) as usize;
        log[at] ^= 1 << chance.below(8);
    }),
    ("its head is something else", |log, chance| log[..32].iter_mut().for_each(|byte| *byte = chance.below(256) as u8)),
    ("there is nothing in it", |log, _| log.clear()),
];

/// Every fact of a journal as it stands, without opening its own files for writing.
fn facts(folder: &Path) -> Vec<(i64, String)> {
    let copy = tempfile::tempdir().unwrap();
    for file in &FILES[..2] {
        fs::copy(folder.join(file), copy.path().join(file)).unwrap();
    }
    let journal = rusqlite::Connection::open(copy.path().join(FILES[0])).unwrap();
    let mut facts = journal.prepare("SELECT seq, body FROM journal ORDER BY seq").unwrap();
    let facts = facts.query_map([], |row| Ok((row.get(0)?, row.get(1)?))).unwrap();
    facts.map(Result::unwrap).collect()
}

fn copied(from: &Path) -> (Home, PathBuf) {
    let shop = Home::new();
    let to = shop.journal();
    for file in FILES {
        fs::copy(from.join(file), to.with_file_name(file)).unwrap();
    }
    (shop, to)
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_torn_log_leaves_what_was_said_up_to_some_moment_and_the_service_goes_on() {
    let shop = Home::new();
    let program = Program::serve(&shop).await;
    program.furnish().await;
    // What it began with is in the file itself; what follows stands in the log.
    program.terminate().await;
    let program = Program::serve(&shop).await;
    for n in 0..60 {
        program.post_once(&n.to_string(), "/api/v1/glue-ups", &glue_up(0.0)).await.good();
    }
    program.kill();
    let folder = shop.journal().parent().unwrap().to_path_buf();
    let whole = facts(&folder);
    assert!(whole.len() > 60, "{}", whole.len());
    let (mut chance, mut shortest) = (Chance(0x7042_1065), usize::MAX);
    for (harm, act) in HARMS {
        let (torn, journal) = copied(&folder);
        let log = journal.with_file_name(FILES[1]);
        let mut bytes = fs::read(&log).unwrap();
        act(&mut bytes, &mut chance);
        fs::write(&log, bytes).unwrap();
        // After a power cut there is no index of the log; after a mere kill there is.
        if chance.below(2) == 0 {
            fs::remove_file(journal.with_file_name(FILES[2])).unwrap();
        }
        let left = facts(journal.parent().unwrap());
        assert_eq!(left[..], whole[..left.len()], "{harm}: a fact is there without one before it");
        shortest = shortest.min(left.len());
        let program = Program::serve(&torn).await;
        let there = program.ids("/api/v1/glue-ups").await.len();
        assert_eq!(there, left.iter().filter(|(_, body)| body.contains("\"cure_begun\"")).count(), "{harm}");
        program.post_once("after", "/api/v1/glue-ups", &glue_up(0.0)).await.good();
        assert_eq!(program.ids("/api/v1/glue-ups").await.len(), there + 1, "{harm}");
        program.terminate().await;
        sound(&journal);
    }
    assert!(shortest < whole.len(), "nothing was torn");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_file_that_is_no_database_is_refused_with_a_sentence_and_left_alone() {
    let shop = Home::new();
    let program = Program::serve(&shop).await;
    program.furnish().await;
    program.terminate().await;
    let mut bytes = fs::read(shop.journal()).unwrap();
    bytes[..64].fill(b'x');
    fs::write(shop.journal(), &bytes).unwrap();
    let (code, said) = program::refused(&shop).await;
    assert_eq!(code, Some(1));
    for part in ["journal.db", "is damaged", "the last backup"] {
        assert!(said.contains(part), "no {part} in: {said}");
    }
    assert_eq!(fs::read(shop.journal()).unwrap(), bytes);
}
