//! Moments as a page shows them: for people in words, and for the script that counts down to them.

use crate::{now::instant, state::State};

/// A moment.
#[derive(Debug, Clone)]
pub(crate) struct Moment {
    pub(crate) text: String,
    pub(crate) at_ms: i64,
}

impl State {
    /// An hour today, or a day and an hour; a weekday alone is one to come.
    pub(crate) fn clock_text(&self, at_ms: i64, now_ms: i64) -> String {
        let (at, now) = (instant(at_ms).with_timezone(&self.zone), instant(now_ms).with_timezone(&self.zone));
        let format = if at.date_naive() == now.date_naive() {
            "%H:%M"
        } else if (0..6).contains(&(at - now).num_days()) && at > now {
            "%a %H:%M"
        } else if (-6..0).contains(&(at.date_naive() - now.date_naive()).num_days()) {
            "%a %-d %b %H:%M"
        } else if (at - now).num_days().abs() < 300 {
            "%-d %b %H:%M"
        } else {
            "%-d %b %Y %H:%M"
        };
        at.format(format).to_string()
    }

    /// From an hour to another, with its day where it is not the same.
    pub(crate) fn span_text(&self, from_ms: i64, to_ms: i64, now_ms: i64) -> String {
        let [from, to] = [from_ms, to_ms].map(|at_ms| instant(at_ms).with_timezone(&self.zone));
        let same = from.date_naive() == to.date_naive();
        let until = if same { to.format("%H:%M").to_string() } else { to.format("%a %H:%M").to_string() };
        format!("{}–{until}", self.clock_text(from_ms, now_ms))
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
