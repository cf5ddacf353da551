//! The hours of one day of the shop, by its own clock.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::Invalid;

/// When the shop is open on one day: spans of its local clock, in order and apart; none where it is closed all day.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "Vec<String>", into = "Vec<String>")]
pub struct DayHours(Vec<(u16, u16)>);

impl DayHours {
    /// Reads spans like `09:00-13:00`, in order and apart; 24:00 is the end of the day. `what` is named in what is wrong.
    ///
    /// # Errors
    /// An [`Invalid`] with the first span that is none, or that begins before the one before it ends.
    pub fn read(what: &str, said: &[String]) -> Result<Self, Invalid> {
        let wrong = |given: &str, expected: &str, mend: &str| Invalid {
            what: what.into(),
            given: format!("\"{given}\""),
            expected: expected.into(),
            mend: mend.into(),
        };
        let mut spans: Vec<(u16, u16)> = Vec::with_capacity(said.len());
        for text in said {
            // A phone writes a dash for a hyphen.
            let ends = text.split_once(['-', '–', '—']).and_then(|(from, to)| Some((minute(from)?, minute(to)?)));
            let span = ends.filter(|(from, to)| from < to);
            let span = span.ok_or_else(|| wrong(text, "a span of a day", "write 09:00-13:00"))?;
            if spans.last().is_some_and(|last| span.0 < last.1) {
                return Err(wrong(text, "spans in order that do not overlap", "write 09:00-13:00, then 14:00-18:00"));
            }
            spans.push(span);
        }
        Ok(Self(spans))
    }

    /// First minute and minute after the last of each span, minutes of the local day.
    pub fn spans_min(&self) -> &[(u16, u16)] {
        &self.0
    }
}

impl TryFrom<Vec<String>> for DayHours {
    type Error = Invalid;

    fn try_from(said: Vec<String>) -> Result<Self, Invalid> {
        Self::read("hours", &said)
    }
}

impl From<DayHours> for Vec<String> {
    fn from(hours: DayHours) -> Self {
        let clock = |minute: u16| format!("{:02}:{:02}", minute / 60, minute % 60);
        hours.0.into_iter().map(|(from, to)| format!("{}-{}", clock(from), clock(to))).collect()
    }
}

/// The minute of the day of `HH:MM` or a full hour `HH`; 24:00 is its end.
fn minute(text: &str) -> Option<u16> {
    let (hour, minute) = text.trim().split_once(':').unwrap_or((text.trim(), "0"));
    let (hour, minute): (u16, u16) = (hour.parse().ok()?, minute.parse().ok()?);
    let at = hour.checked_mul(60)?.checked_add(minute)?;
    (minute < 60 && at <= 24 * 60).then_some(at)
}

/// The hours of a day that is not as its weekday is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DaySet {
    /// The day, by the shop's own calendar.
    pub date: NaiveDate,
    /// Its hours; none where it is as usual again.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hours: Option<DayHours>,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(said: &[&str]) -> Result<DayHours, Invalid> {
        DayHours::read("hours", &said.iter().map(ToString::to_string).collect::<Vec<_>>())
    }

    #[test]
    fn spans_are_read_and_written_alike() {
        for said in [&["09:00-13:00", "14:00-24:00"][..], &[], &["00:00-00:01"]] {
            let hours = read(said).expect("hours");
            assert_eq!(Vec::<String>::from(hours), said);
        }
        assert_eq!(read(&[" 9:00 - 13:05"]).expect("hours").spans_min(), [(540, 785)]);
        assert_eq!(read(&["9–12", "13:30—18"]).expect("hours").spans_min(), [(540, 720), (810, 1080)]);
    }

    #[test]
    fn what_is_no_span_is_refused_by_name() {
        for said in
            ["9 to 5", "13:00-09:00", "09:00-09:00", "09:60-10:00", "09:00-24:01", "09:00", "-1:00-2:00", "9", "9-"]
        {
            let wrong = read(&[said]).expect_err(said);
            assert!(wrong.given.contains(said) && !wrong.mend.is_empty(), "{wrong}");
        }
        for said in [["14:00-18:00", "09:00-13:00"], ["09:00-13:00", "12:00-15:00"]] {
            assert!(read(&said).expect_err("in no order").expected.contains("order"));
        }
    }
}
