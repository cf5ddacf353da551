//! Since when a sensor has been silent, told from what it said.
//!
//! Hysteresis: a sensor that speaks up once and falls silent again was silent all the time. Only a steady stretch ends
//! a silence: one as long as the silence that counts, without a gap of that length, and of six readings or more. So the
//! instant since when it is silent names the silence, and it can be told once however often it is asked.

use crate::Timeline;

/// Least readings of a steady stretch: a person who reads the dial now and then is no sensor.
const STEADY_READINGS: usize = 6;
/// Furthest it is looked back.
const LONGEST_LOOK: usize = 20_000;

/// The end of the last steady stretch, ms, if the sensor has been silent since for `silent_ms` at `now_ms`.
pub fn silent_since(track: &Timeline, silent_ms: i64, now_ms: i64) -> Option<i64> {
    let (last_ms, _) = track.last()?;
    if now_ms - last_ms < silent_ms {
        return None;
    }
    let (mut end_ms, mut from_ms, mut n) = (last_ms, last_ms, 0);
    for i in (0..track.len()).rev().take(LONGEST_LOOK) {
        let (at_ms, _) = track.get(i);
        if from_ms - at_ms >= silent_ms {
            (end_ms, n) = (at_ms, 0);
        }
        (from_ms, n) = (at_ms, n + 1);
        if n >= STEADY_READINGS && end_ms - from_ms >= silent_ms {
            return Some(end_ms);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Air;

    const MINUTE_MS: i64 = 60_000;

    #[track_caller]
    fn check(minutes: impl IntoIterator<Item = i64>, now: i64, expected: Option<i64>) {
        let mut track = Timeline::default();
        for minute in minutes {
            track.put(minute * MINUTE_MS, Air { temp_c: 20.0, rh_pct: 50.0 }, None);
        }
        let since = silent_since(&track, 60 * MINUTE_MS, now * MINUTE_MS);
        assert_eq!(since.map(|ms| ms / MINUTE_MS), expected);
    }

    #[test]
    fn a_sensor_is_silent_from_its_last_reading_once_the_time_is_over() {
        let steady = || (0..=120).step_by(5);
        check(steady(), 179, None);
        check(steady(), 180, Some(120));
        check(steady(), 10_000, Some(120));
    }

    #[test]
    fn a_word_now_and_then_does_not_end_a_silence() {
        let flapping = || (0..=120).step_by(5).chain([200, 205, 300]);
        check(flapping(), 310, None);
        check(flapping(), 400, Some(120));
    }

    #[test]
    fn a_steady_stretch_ends_it_and_the_next_silence_is_another() {
        check((0..=120).step_by(5).chain((300..=360).step_by(5)), 500, Some(360));
        check((0..=120).step_by(5).chain((300..=340).step_by(5)), 500, Some(120));
    }

    #[test]
    fn somebody_who_reads_the_dial_twice_a_day_is_no_sensor() {
        check([0, 30, 700, 1400, 2100], 5000, None);
        check([], 5000, None);
    }
}
