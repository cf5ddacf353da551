//! Days that are not as their weekdays are: what the settings say of them, and before that what was said at the bench.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate};
use facts::DayHours;

use crate::{now::instant, settings::Hours, state::State};

/// A day and its hours.
#[derive(Debug, Clone)]
pub(crate) struct SpecialDay {
    pub(crate) date: NaiveDate,
    pub(crate) hours: DayHours,
    /// Whether it was said at the bench.
    pub(crate) said: bool,
}

/// The special days of some hours, with those said at the bench.
pub(super) fn special(hours: &Hours, said: &BTreeMap<NaiveDate, DayHours>) -> BTreeMap<NaiveDate, DayHours> {
    hours.otherwise().into_iter().chain(said.iter().map(|(date, hours)| (*date, hours.clone()))).collect()
}

impl State {
    /// Days from today on that are not as usual, in order.
    pub(crate) fn special_days(&self) -> Vec<SpecialDay> {
        let today = instant(self.now().ms()).with_timezone(&self.zone).date_naive();
        let bench = self.bench();
        let days = special(&self.settings.shop.hours, bench.days());
        let day = |(date, hours)| SpecialDay { date, hours, said: bench.days().contains_key(&date) };
        days.into_iter().filter(|(date, _)| *date >= today).map(day).collect()
    }

    /// One day and its hours, whether usual or not.
    pub(crate) fn day(&self, date: NaiveDate) -> SpecialDay {
        let (bench, hours) = (self.bench(), &self.settings.shop.hours);
        let usual = || hours.week()[date.weekday().num_days_from_monday() as usize].clone();
        let of_day = special(hours, bench.days()).remove(&date).unwrap_or_else(usual);
        SpecialDay { date, hours: of_day, said: bench.days().contains_key(&date) }
    }
}
