//! A shop carried from one database to another, whole, and held against what was there.

use std::{ops::ControlFlow, sync::mpsc::sync_channel};

use sha2::{Digest, Sha256};

use crate::{Database, Error, Piece};

/// Pieces on the way at once: each may be a photo.
const WAITING: usize = 64;

/// How many pieces of each kind there are, and what they come to.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    counts: [u64; Piece::KINDS.len()],
    digests: [Sha256; Piece::KINDS.len()],
}

impl Tally {
    fn add(&mut self, piece: &Piece) {
        let kind = piece.kind();
        self.counts[kind] += 1;
        // Pieces come in one order wherever they are kept, so that one digest says whether all are the same.
        self.digests[kind].update(serde_json::to_vec(piece).expect("every piece has a JSON form"));
        self.digests[kind].update(b"\n");
    }

    /// How many there are of each kind, in words.
    pub fn counts(&self) -> impl Iterator<Item = (&'static str, u64)> {
        Piece::KINDS.into_iter().zip(self.counts)
    }

    fn line(&self, kind: usize) -> String {
        let digest = self.digests[kind].clone().finalize();
        let hex: String = digest.iter().take(8).map(|byte| format!("{byte:02x}")).collect();
        format!("{} ({hex})", self.counts[kind])
    }

    fn held_against(&self, other: &Self) -> Result<(), Error> {
        for (kind, what) in Piece::KINDS.into_iter().enumerate() {
            let (from, to) = (self.line(kind), other.line(kind));
            if from != to {
                return Err(Error::Differs { what, from, to });
            }
        }
        Ok(())
    }
}

/// Carries everything into an empty database, then reads it there and compares; what was carried.
///
/// # Errors
/// When a piece cannot be had or put, or what is there afterwards is not the same.
pub fn carry(from: &mut dyn Database, to: &mut dyn Database) -> Result<Tally, Error> {
    // A piece, or the end: a sender that is gone without having said so broke off.
    let (send, receive) = sync_channel::<Option<Piece>>(WAITING);
    let (handed, filled) = std::thread::scope(|scope| {
        let handing = scope.spawn(move || {
            let mut tally = Tally::default();
            from.everything(&mut |piece| {
                tally.add(&piece);
                // Nobody takes any more when the other side failed.
                send.send(Some(piece)).map_or(ControlFlow::Break(()), ControlFlow::Continue)
            })?;
            drop(send.send(None));
            Ok::<_, Error>(tally)
        });
        let mut pieces = std::iter::from_fn(|| match receive.recv() {
            Ok(piece) => piece.map(Ok),
            Err(_) => Some(Err("the other database broke off".into())),
        });
        let filled = to.fill(&mut pieces);
        drop(receive);
        (handing.join(), filled)
    });
    let tally = handed.map_err(|_| Error::NotWhole { why: "the other database could not be read".into() })??;
    filled?;
    let mut there = Tally::default();
    to.everything(&mut |piece| {
        there.add(&piece);
        ControlFlow::Continue(())
    })?;
    tally.held_against(&there)?;
    Ok(tally)
}
