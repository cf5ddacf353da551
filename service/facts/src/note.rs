//! A note by name, as tunings are written.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::Invalid;

/// A note of equal temperament: C4 is middle C, A4 the note that tuning forks give (scientific pitch notation).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct Note {
    /// Semitones from A4; negative below.
    from_a4: i8,
}

const NAMES: [&str; 12] = ["C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B"];
/// Semitones of A above the C of its octave.
const A: i8 = 9;

impl Note {
    /// Reads a name: a letter, any # or b, an octave from 0 to 8, as in E2, F#3, Bb4.
    ///
    /// # Errors
    /// [`Invalid`] with a name that would do.
    pub fn new(name: &str) -> Result<Self, Invalid> {
        let read = || {
            let mut rest = name.trim().chars();
            let letter = rest.next()?.to_ascii_uppercase().to_string();
            let natural = NAMES.iter().position(|known| *known == letter)? as i8;
            let bent = rest.as_str().trim_end_matches(|c: char| c.is_ascii_digit());
            let octave = rest.as_str()[bent.len()..].parse::<i8>().ok().filter(|octave| *octave <= 8)?;
            let bend = bent.chars().map(|c| match c {
                '#' | '♯' => Some(1),
                'b' | '♭' => Some(-1),
                _ => None,
            });
            let bend = bend.sum::<Option<i8>>().filter(|bend| bend.abs() <= 2)?;
            Some(Self { from_a4: natural + bend - A + 12 * (octave - 4) })
        };
        read().ok_or_else(|| Invalid {
            what: "note".into(),
            given: format!("\"{name}\""),
            expected: "a letter from A to G, # or b if it has one, and the octave from 0 to 8".into(),
            mend: "write E2 for the lowest string of a guitar, A4 for the tuning fork".into(),
        })
    }

    /// Semitones from A4; negative below.
    pub fn semitones_from_a4(self) -> f64 {
        f64::from(self.from_a4)
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let from_c0 = i16::from(self.from_a4) + 4 * 12 + i16::from(A);
        write!(f, "{}{}", NAMES[from_c0.rem_euclid(12) as usize], from_c0.div_euclid(12))
    }
}

impl TryFrom<String> for Note {
    type Error = Invalid;
    fn try_from(name: String) -> Result<Self, Invalid> {
        Self::new(&name)
    }
}
impl From<Note> for String {
    fn from(note: Note) -> Self {
        note.to_string()
    }
}

#[cfg(test)]
mod tests {
    use super::Note;

    #[test]
    fn names_are_read_and_written_in_sharps() {
        for (name, semitones, written) in
            [("A4", 0.0, "A4"), ("e2", -29.0, "E2"), ("Bb3", -11.0, "A#3"), ("Cb4", -10.0, "B3"), ("F##3", -14.0, "G3")]
        {
            let note = Note::new(name).expect(name);
            assert_eq!((note.semitones_from_a4(), note.to_string()), (semitones, written.into()), "{name}");
        }
        for name in ["", "H2", "E", "E9", "E#b#4x", "2E", "Ebbb3", "E-1"] {
            assert!(Note::new(name).is_err(), "{name}");
        }
    }
}
