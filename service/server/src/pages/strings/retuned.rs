//! What another tuning would do to the strings there are; nothing of it is kept.

use clock::Pulls;
use facts::StringsFitted;

use super::notes;
use crate::{problem::Problem, routes::strings::retune};

/// A string as it would be.
pub(super) struct RetunedRow {
    pub(super) note: String,
    pub(super) pull: String,
    pub(super) change: String,
}

/// All of them.
pub(super) struct Retuned {
    pub(super) says: String,
    pub(super) strings: Vec<RetunedRow>,
    /// Strings that would be likely to break.
    pub(super) doubts: Vec<String>,
}

/// A change with its sign.
fn signed(n: f64) -> String {
    format!("{}{:.0} N", if n < 0.0 { "−" } else { "+" }, n.abs())
}

impl Retuned {
    /// # Errors
    /// A word that is no note, or not as many notes as strings.
    pub(super) fn of(fitted: &StringsFitted, text: &str) -> Result<Self, Problem> {
        let mut tuned = fitted.clone();
        retune(&mut tuned.strings, &notes(text)?)?;
        let (before, after) = (Pulls::of(fitted), Pulls::of(&tuned));
        let each = tuned.strings.iter().zip(before.each_n.iter().zip(&after.each_n));
        let row = |(string, (before_n, after_n)): (&facts::StringFitted, (&f64, &f64))| RetunedRow {
            note: string.note.to_string(),
            pull: format!("{after_n:.0} N"),
            change: signed(after_n - before_n),
        };
        let change = signed(after.total_n() - before.total_n());
        let says = format!("{:.0} N in all, {change}.", after.total_n());
        Ok(Self { says, strings: each.map(row).collect(), doubts: clock::doubts(&tuned) })
    }
}
