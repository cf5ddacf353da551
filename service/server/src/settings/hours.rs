//! Opening hours: each weekday's, and the days that are otherwise, by the shop's own clock.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use super::{SettingsError, wrong};

/// Hours of a week, each as `"09:00-13:00"`.
#[derive(Debug, Clone, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Hours {
    /// Hours of a Monday.
    pub monday: Vec<String>,
    /// Hours of a Tuesday.
    pub tuesday: Vec<String>,
    /// Hours of a Wednesday.
    pub wednesday: Vec<String>,
    /// Hours of a Thursday.
    pub thursday: Vec<String>,
    /// Hours of a Friday.
    pub friday: Vec<String>,
    /// Hours of a Saturday.
    pub saturday: Vec<String>,
    /// Hours of a Sunday.
    pub sunday: Vec<String>,
    /// Days that are otherwise, by date; no hours means closed: `{ "2026-12-24" = ["09:00-12:00"], "2026-12-25" = [] }`
    pub exceptions: BTreeMap<String, Vec<String>>,
}

/// Five days from nine to six with an hour at noon. Common practice, no source.
impl Default for Hours {
    fn default() -> Self {
        let day = || vec!["09:00-13:00".to_string(), "14:00-18:00".to_string()];
        Self {
            monday: day(),
            tuesday: day(),
            wednesday: day(),
            thursday: day(),
            friday: day(),
            saturday: vec![],
            sunday: vec![],
            exceptions: BTreeMap::new(),
        }
    }
}

/// Hours of one day, minutes of the local day.
pub(crate) type Spans = Vec<(i64, i64)>;

impl Hours {
    fn days(&self) -> [(&'static str, &Vec<String>); 7] {
        [
            ("monday", &self.monday),
            ("tuesday", &self.tuesday),
            ("wednesday", &self.wednesday),
            ("thursday", &self.thursday),
            ("friday", &self.friday),
            ("saturday", &self.saturday),
            ("sunday", &self.sunday),
        ]
    }

    /// Whether every span is one; `section` is named in what is wrong.
    pub(super) fn check(&self, section: &str) -> Result<(), SettingsError> {
        let mut open = false;
        for (day, said) in self.days() {
            open |= !spans(&format!("{section}.{day}"), said)?.is_empty();
        }
        for (date, said) in &self.exceptions {
            let key = format!("{section}.exceptions");
            date.parse::<NaiveDate>().map_err(|_| wrong(&key, format!("\"{date}\" is no date"), "write 2026-12-24"))?;
            spans(&key, said)?;
        }
        if open { Ok(()) } else { Err(wrong(section, "has no hours at all", "write monday = [\"09:00-18:00\"]")) }
    }

    /// The hours of the week, Monday first.
    pub(crate) fn week(&self) -> [Spans; 7] {
        self.days().map(|(day, said)| spans(day, said).unwrap_or_default())
    }

    /// The days that are otherwise.
    pub(crate) fn otherwise(&self) -> Vec<(NaiveDate, Spans)> {
        let one = |(date, said): (&String, &Vec<String>)| Some((date.parse().ok()?, spans(date, said).ok()?));
        self.exceptions.iter().filter_map(one).collect()
    }
}

/// Spans as minutes of the day, in order and apart.
fn spans(key: &str, said: &[String]) -> Result<Spans, SettingsError> {
    let mut spans = Vec::with_capacity(said.len());
    for text in said {
        let ends = text.split_once('-').and_then(|(from, to)| Some((minute(from)?, minute(to)?)));
        let span = ends.filter(|(from, to)| from < to);
        spans.push(span.ok_or_else(|| wrong(key, format!("\"{text}\" is no span of a day"), "write 09:00-13:00"))?);
    }
    if spans.windows(2).any(|pair| pair[1].0 < pair[0].1) {
        return Err(wrong(key, "has spans that overlap or are out of order", "write 09:00-13:00, then 14:00-18:00"));
    }
    Ok(spans)
}

/// The minute of the day of `HH:MM`; 24:00 is its end.
fn minute(text: &str) -> Option<i64> {
    let (hour, minute) = text.trim().split_once(':')?;
    let (hour, minute): (i64, i64) = (hour.parse().ok()?, minute.parse().ok()?);
    let at = hour * 60 + minute;
    ((0..=24).contains(&hour) && (0..60).contains(&minute) && at <= 24 * 60).then_some(at)
}
