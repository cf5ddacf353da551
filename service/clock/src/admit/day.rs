//! Whether a day may be given hours of its own.

use facts::{DaySet, Invalid};

use crate::Refusal;

/// How far ahead the hours of a day may be said, and how far behind they may lie for a shop anywhere on the globe, days.
const DAYS_AHEAD: i64 = 400;
const DAYS_BEHIND: i64 = 2;

pub(super) fn admit_day(set: &DaySet, now_ms: i64) -> Result<(), Refusal> {
    let begins_ms = set.date.and_time(chrono::NaiveTime::MIN).and_utc().timestamp_millis();
    let ahead = (begins_ms - now_ms).div_euclid(86_400_000);
    if (-DAYS_BEHIND..=DAYS_AHEAD).contains(&ahead) {
        return Ok(());
    }
    Err(Invalid {
        what: "date".into(),
        given: set.date.to_string(),
        expected: format!("a day from today to {DAYS_AHEAD} days ahead"),
        mend: "check the year; the plan looks no farther".into(),
    }
    .into())
}
