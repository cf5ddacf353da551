//! The clock on the shop's wall: which instant a time of day is, on the days when the clock is changed too.
//!
//! One rule for opening hours, quiet hours and whatever else is said in hours of the day: a time the clock leaps over is
//! the first minute after the leap, one that it shows twice is the first.

use chrono::{NaiveDateTime, TimeDelta, TimeZone};
use chrono_tz::Tz;

/// Minutes the longest leap takes: Samoa and Tokelau went over a whole day.
const LONGEST_LEAP: i64 = 24 * 60;

/// The first instant at which the wall shows a date and time, ms since 1970 UTC; past a leap, the first after it.
pub(crate) fn first_ms(zone: Tz, shown: NaiveDateTime) -> i64 {
    let mut minutes = (0..=LONGEST_LEAP).map(|minutes| shown + TimeDelta::minutes(minutes));
    let at = minutes.find_map(|shown| zone.from_local_datetime(&shown).earliest());
    at.map_or_else(|| shown.and_utc().timestamp_millis(), |at| at.timestamp_millis())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every quarter of an hour of the days around ten changes of a clock, as Python's zoneinfo has them
    /// (`tests/reference/wall_times.csv` says how they were made).
    #[test]
    fn every_quarter_of_a_changed_day_is_where_zoneinfo_has_it() {
        let table = include_str!("../../../tests/reference/wall_times.csv");
        let rows = table.lines().filter(|line| !line.starts_with('#')).skip(1);
        let mut n = 0;
        for row in rows {
            let mut cells = row.split(',');
            let mut cell = || cells.next().expect("three cells");
            let (zone, shown, at) = (cell(), cell(), cell());
            let shown = NaiveDateTime::parse_from_str(shown, "%Y-%m-%dT%H:%M").expect("a local time");
            let at = chrono::DateTime::parse_from_rfc3339(at).expect("an instant").timestamp_millis();
            assert_eq!(first_ms(zone.parse().expect("a zone"), shown), at, "{row}");
            n += 1;
        }
        assert!(n > 2000, "only {n} rows");
    }
}
