//! How hard the strings pull.

use facts::{StringFitted, StringsFitted};
use physics::strings::{equal_temperament_hz, tension_n};

/// How hard each string pulls, N.
#[derive(Debug, Clone, PartialEq)]
pub struct Pulls {
    /// Each string in the order of the set.
    pub each_n: Vec<f64>,
}

impl Pulls {
    /// Of checked strings.
    pub fn of(fitted: &StringsFitted) -> Self {
        let pull = |string: &StringFitted| {
            equal_temperament_hz(fitted.a4_hz, string.note.semitones_from_a4())
                .and_then(|hz| tension_n(string.length_mm, hz, string.unit_kg_m))
                .expect("strings are checked when they are fitted")
        };
        Self { each_n: fitted.strings.iter().map(pull).collect() }
    }

    /// All strings together.
    pub fn total_n(&self) -> f64 {
        self.each_n.iter().sum()
    }

    /// The hardest pulling one.
    pub fn hardest_n(&self) -> f64 {
        self.each_n.iter().copied().fold(0.0, f64::max)
    }
}
