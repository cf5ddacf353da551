//! Opening hours: each weekday's, and the days that are otherwise, by the shop's own clock.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use facts::DayHours;
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
            open |= !read(&format!("{section}.{day}"), said)?.spans_min().is_empty();
        }
        for (date, said) in &self.exceptions {
            let key = format!("{section}.exceptions");
            date.parse::<NaiveDate>().map_err(|_| wrong(&key, format!("\"{date}\" is no date"), "write 2026-12-24"))?;
            read(&key, said)?;
        }
        if open { Ok(()) } else { Err(wrong(section, "has no hours at all", "write monday = [\"09:00-18:00\"]")) }
    }

    /// The hours of the week, Monday first.
    pub(crate) fn week(&self) -> [DayHours; 7] {
        self.days().map(|(day, said)| read(day, said).unwrap_or_default())
    }

    /// The days that are otherwise.
    pub(crate) fn otherwise(&self) -> Vec<(NaiveDate, DayHours)> {
        let one = |(date, said): (&String, &Vec<String>)| Some((date.parse().ok()?, read(date, said).ok()?));
        self.exceptions.iter().filter_map(one).collect()
    }
}

fn read(key: &str, said: &[String]) -> Result<DayHours, SettingsError> {
    DayHours::read(key, said).map_err(|e| wrong(key, format!("has {}; expected {}", e.given, e.expected), &e.mend))
}
