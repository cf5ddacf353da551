//! What is kept with a job: notes and photos. Nothing is computed from them.

use facts::{Invalid, NoteMade, PhotoAdded};

use crate::{Bench, Refusal, admit::words};

/// Longest note taken, characters.
const LONGEST_NOTE: usize = 2000;
/// Largest side of a photo as it is kept, pixels.
const LARGEST_SIDE: u32 = 10_000;

/// A note of a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// When it was made, ms.
    pub at_ms: i64,
    /// Its words.
    pub text: String,
}

/// A photo of a job.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Photo {
    /// When it was added, ms.
    pub at_ms: i64,
    /// As it was added.
    pub added: PhotoAdded,
}

impl Bench {
    pub(crate) fn admit_note(&self, made: &NoteMade) -> Result<(), Refusal> {
        self.known_job(made.job.as_str())?;
        let length = made.text.trim().chars().count();
        let readable = !made.text.chars().any(|c| c.is_control() && !matches!(c, '\n' | '\r' | '\t'));
        if (1..=LONGEST_NOTE).contains(&length) && readable {
            return Ok(());
        }
        Err(Invalid {
            what: "text".into(),
            given: format!("{length} characters"),
            expected: format!("1 to {LONGEST_NOTE} characters; of the control characters only line ends"),
            mend: "write it shorter, or in two notes".into(),
        }
        .into())
    }

    pub(crate) fn admit_photo(&self, added: &PhotoAdded) -> Result<(), Refusal> {
        self.known_job(added.job.as_str())?;
        words("shows", &added.shows, 0)?;
        for (what, side) in [("width_px", added.width_px), ("height_px", added.height_px)] {
            facts::within(what, f64::from(side), 1.0, f64::from(LARGEST_SIDE), "px", "send a smaller picture")?;
        }
        Ok(())
    }

    pub(crate) fn keep_note(&mut self, made: &NoteMade, at_ms: i64) {
        if let Some(job) = self.jobs.get_mut(&made.job) {
            job.notes.push(Note { at_ms, text: made.text.clone() });
        }
    }

    pub(crate) fn keep_photo(&mut self, added: &PhotoAdded, at_ms: i64) {
        if let Some(job) = self.jobs.get_mut(&added.job) {
            // The same picture again, or one sent twice, is one photo.
            job.photos.retain(|photo| photo.added.photo != added.photo);
            job.photos.push(Photo { at_ms, added: added.clone() });
        }
    }
}
