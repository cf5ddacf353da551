//! Moments as a page shows them: for people in words, and for the script that counts down to them.

use crate::{now::instant, state::State};

/// A moment.
#[derive(Debug, Clone)]
pub(crate) struct Moment {
    pub(crate) text: String,
    pub(crate) at_ms: i64,
}

impl State {
    /// An hour today, or a day and an hour.
    pub(crate) fn clock_text(&self, at_ms: i64, now_ms: i64) -> String {
        let (at, now) = (instant(at_ms).with_timezone(&self.zone), instant(now_ms).with_timezone(&self.zone));
        let format = if at.date_naive() == now.date_naive() {
            "%H:%M"
        } else if (at - now).num_days().abs() < 6 {
            "%a %H:%M"
        } else if (at - now).num_days().abs() < 300 {
            "%-d %b %H:%M"
        } else {
            "%-d %b %Y %H:%M"
        };
        at.format(format).to_string()
    }

    pub(super) fn moment(&self, at_ms: i64, now_ms: i64) -> Moment {
        Moment { text: self.clock_text(at_ms, now_ms), at_ms }
    }

    /// A day: "3 March".
    pub(super) fn day_text(&self, at_ms: i64) -> String {
        instant(at_ms).with_timezone(&self.zone).format("%-d %B").to_string()
    }

    /// A moment as a form's date and time holds it.
    pub(super) fn long_text(&self, at_ms: i64) -> String {
        instant(at_ms).with_timezone(&self.zone).format("%A %-d %B, %H:%M").to_string()
    }
}
