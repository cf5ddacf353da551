//! The shop's hours as the planner takes them: real minutes since 1970 UTC, read off the shop's own clock.

use std::collections::BTreeMap;

use chrono::{Datelike, NaiveDate, TimeDelta};
use chrono_tz::Tz;
use facts::DayHours;
use planner::{Calendar, Week};

use super::days::special;
use crate::{now::instant, settings::Hours, wall};

/// How far ahead hours are laid out, days: a stack of coats on a long list is done within it.
const DAYS: usize = 400;

/// A minute of a plan: minutes since 1970 UTC, so that a change of the clocks leaves waits as they are.
pub(crate) fn minute(at_ms: i64) -> i64 {
    at_ms.div_euclid(60_000)
}

/// A minute of a plan as milliseconds since 1970 UTC.
pub(crate) fn ms(minute: i64) -> i64 {
    minute * 60_000
}

/// Opening hours from the day before an instant on; `said` are days of which something else was said at the bench.
pub(crate) fn calendar(hours: &Hours, said: &BTreeMap<NaiveDate, DayHours>, zone: Tz, from_ms: i64) -> Calendar {
    let first = instant(from_ms).with_timezone(&zone).date_naive() - TimeDelta::days(1);
    let spans = |day: &DayHours| day.spans_min().iter().map(|(from, to)| (i64::from(*from), i64::from(*to))).collect();
    let exceptions = special(hours, said).iter().map(|(date, day)| (number(*date), spans(day))).collect();
    let week = Week { hours: hours.week().each_ref().map(spans), exceptions };
    let weekday = first.weekday().num_days_from_monday() as usize;
    Calendar::weekly(&week, number(first), weekday, DAYS, |day, at| real_minute(zone, day, at))
}

fn number(date: NaiveDate) -> i64 {
    i64::from(date.num_days_from_ce())
}

/// The real minute at which a local day shows a minute of its clock (`wall.rs`): the hours of a day that is skipped are
/// empty, since all of them are its end.
fn real_minute(zone: Tz, day: i64, minute_of_day: i64) -> i64 {
    let date = NaiveDate::from_num_days_from_ce_opt(day as i32).unwrap_or_default();
    minute(wall::first_ms(zone, date.and_time(chrono::NaiveTime::MIN) + TimeDelta::minutes(minute_of_day)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hours_follow_the_shops_clock_through_its_changes() {
        // IANA tz database, Europe/Paris: UTC+1 until 2026-03-29 01:00 UTC, then UTC+2.
        let zone = chrono_tz::Europe::Paris;
        let friday_ms = 1_774_598_400_000; // 2026-03-27T08:00:00Z
        let open = calendar(&Hours::default(), &BTreeMap::new(), zone, friday_ms);
        let nine =
            |text: &str| minute(text.parse::<chrono::DateTime<chrono::Utc>>().expect("a time").timestamp_millis());
        let starts: Vec<i64> = open.open().iter().map(|(from, _)| *from).collect();
        assert!(starts.contains(&nine("2026-03-27T08:00:00Z")), "Friday at nine, winter time");
        assert!(starts.contains(&nine("2026-03-30T07:00:00Z")), "Monday at nine, summer time");
        assert!(!starts.iter().any(|at| (nine("2026-03-28T00:00:00Z")..nine("2026-03-29T22:00:00Z")).contains(at)));
    }

    #[test]
    fn a_minute_the_clock_leaps_over_is_the_first_after() {
        let day = number(NaiveDate::from_ymd_opt(2026, 3, 29).expect("a date"));
        // 2:30 is not shown in Paris that night; 3:00 summer time is 1:00 UTC.
        let at = real_minute(chrono_tz::Europe::Paris, day, 150);
        assert_eq!(
            at,
            minute("2026-03-29T01:00:00Z".parse::<chrono::DateTime<chrono::Utc>>().expect("a time").timestamp_millis())
        );
    }

    #[test]
    fn a_day_that_never_was_has_no_hours() {
        // IANA tz database, Pacific/Apia: 2011-12-29T24:00-10:00 was followed by 2011-12-31T00:00+14:00.
        let thursday_ms = 1_325_181_600_000; // 2011-12-29T18:00:00Z, eight in the morning
        let open = calendar(&Hours::default(), &BTreeMap::new(), chrono_tz::Pacific::Apia, thursday_ms);
        let utc =
            |text: &str| minute(text.parse::<chrono::DateTime<chrono::Utc>>().expect("a time").timestamp_millis());
        let from = utc("2011-12-29T10:00:00Z");
        let next: Vec<_> = open.open().iter().filter(|(_, to)| *to > from).take(3).copied().collect();
        // Thursday's two spans by UTC-10, and then Monday's first by UTC+14.
        assert_eq!(
            next,
            [
                (utc("2011-12-29T19:00:00Z"), utc("2011-12-29T23:00:00Z")),
                (utc("2011-12-30T00:00:00Z"), utc("2011-12-30T04:00:00Z")),
                (utc("2012-01-01T19:00:00Z"), utc("2012-01-01T23:00:00Z")),
            ]
        );
    }

    #[test]
    fn an_exception_stands_for_its_day_only() {
        let mut hours = Hours::default();
        hours.exceptions.insert("2026-03-03".into(), vec![]);
        hours.exceptions.insert("2026-03-07".into(), vec!["10:00-12:00".into()]);
        let days = |said: &BTreeMap<NaiveDate, DayHours>| {
            let open = calendar(&hours, said, chrono_tz::UTC, 1_772_438_400_000); // Monday, 2026-03-02
            open.open().iter().map(|(from, _)| from / 1440 - 20_514).take(9).collect::<Vec<i64>>()
        };
        // From Monday (20,514 days after 1970) on: two spans a day, none on Tuesday, one on Saturday.
        assert_eq!(days(&BTreeMap::new()), [0, 0, 2, 2, 3, 3, 4, 4, 5]);
        // What is said at the bench of Tuesday and Wednesday counts before the settings.
        let day = |day, said: &[&str]| {
            let said: Vec<String> = said.iter().map(ToString::to_string).collect();
            (NaiveDate::from_ymd_opt(2026, 3, day).expect("a date"), DayHours::read("hours", &said).expect("hours"))
        };
        assert_eq!(days(&BTreeMap::from([day(3, &["10:00-11:00"]), day(4, &[])])), [0, 0, 1, 3, 3, 4, 4, 5, 7]);
    }
}
