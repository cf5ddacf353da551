//! What care believes and what it holds back, row by row.

use super::*;

const AT_MS: i64 = 1_772_438_400_000;

fn sample(minute: i64, temp_c: f64, rh_pct: f64) -> Sample {
    Sample { at_ms: AT_MS + minute * MINUTE_MS, temp_c, rh_pct }
}

/// Judges readings in the order they come, at the minute each was taken or the last of them; what became of each.
fn judge(watch: &mut Watch, samples: &[Sample], others_moved: bool) -> Vec<Option<Reason>> {
    let mut track = Timeline::default();
    let mut now_ms = AT_MS;
    let mut verdicts = Vec::new();
    for sample in samples {
        now_ms = now_ms.max(sample.at_ms);
        let judged = watch.judge(
            *sample,
            &Scene {
                now_ms,
                ahead_ms: MINUTE_MS,
                set_temp_c: 20.0,
                stuck_ms: 6 * HOUR_MS,
                track: Some(&track),
                others_moved: &|_, _| others_moved,
            },
        );
        for taken in judged.cleared.into_iter().chain(judged.doubt.is_none().then_some(*sample)) {
            track.put(taken.at_ms, taken.air(), None);
        }
        verdicts.push(judged.doubt.map(|doubt| doubt.reason));
    }
    verdicts
}

#[track_caller]
fn check(samples: &[(i64, f64, f64)], expected: &[Option<Reason>]) {
    let samples: Vec<Sample> = samples.iter().map(|(minute, t, rh)| sample(*minute, *t, *rh)).collect();
    assert_eq!(judge(&mut Watch::default(), &samples, false), expected);
}

#[test]
fn a_quiet_room_and_an_opened_door_are_believed() {
    check(&[(0, 20.0, 50.0), (5, 20.2, 49.0), (10, 15.5, 33.0), (15, 18.0, 42.0)], &[None; 4]);
}

#[test]
fn a_jump_and_back_again_stays_held_and_what_follows_is_believed() {
    check(&[(0, 20.0, 50.0), (5, 35.5, 50.0), (10, 20.1, 50.0)], &[None, Some(Reason::Jump), None]);
    check(&[(0, 20.0, 50.0), (5, 20.0, 95.0), (10, 20.1, 50.0)], &[None, Some(Reason::Jump), None]);
}

#[test]
fn a_jump_that_the_next_reading_confirms_is_taken_after_all() {
    let mut watch = Watch::default();
    let scene = |now_ms| Scene {
        now_ms,
        ahead_ms: MINUTE_MS,
        set_temp_c: 20.0,
        stuck_ms: 6 * HOUR_MS,
        track: None,
        others_moved: &|_, _| false,
    };
    for (minute, temp_c) in [(0, 20.0), (1, 38.0)] {
        watch.judge(sample(minute, temp_c, 50.0), &scene(AT_MS + minute * MINUTE_MS));
    }
    assert_eq!(watch.doubted(), Some(sample(1, 38.0, 50.0)));
    let judged = watch.judge(sample(2, 38.5, 49.0), &scene(AT_MS + 2 * MINUTE_MS));
    assert_eq!((judged.doubt, judged.cleared), (None, Some(sample(1, 38.0, 50.0))));
    assert_eq!(watch.doubted(), None);
}

#[test]
fn two_different_jumps_are_both_held() {
    let jump = Some(Reason::Jump);
    check(&[(0, 20.0, 50.0), (1, 38.0, 50.0), (2, -5.0, 50.0), (3, 20.0, 50.0)], &[None, jump, jump, None]);
}

#[test]
fn an_hour_later_the_room_may_be_anything() {
    check(&[(0, 20.0, 50.0), (61, 45.0, 20.0)], &[None, None]);
}

#[test]
fn values_no_workshop_has_are_held() {
    let (impossible, unit) = (Some(Reason::Impossible), Some(Reason::Unit));
    check(&[(0, -40.0, 50.0), (1, 20.0, 0.0), (2, 20.0, 130.0)], &[impossible; 3]);
    check(&[(0, 20.0, 0.45), (1, 68.0, 50.0)], &[unit; 2]);
}

#[test]
fn fahrenheit_that_could_be_celsius_is_held_and_named() {
    // 55 °F is 12.8 °C: the room was at 13 °C.
    check(&[(0, 13.0, 50.0), (5, 55.0, 50.0), (10, 55.2, 50.0)], &[None, Some(Reason::Unit), Some(Reason::Unit)]);
    let mut watch = Watch::default();
    judge(&mut watch, &[sample(0, 13.0, 50.0)], false);
    let scene = Scene {
        now_ms: AT_MS + HOUR_MS,
        ahead_ms: MINUTE_MS,
        set_temp_c: 20.0,
        stuck_ms: HOUR_MS,
        track: None,
        others_moved: &|_, _| false,
    };
    let doubt = watch.judge(sample(5, 55.0, 50.0), &scene).doubt.expect("it is held");
    assert!(doubt.mend.contains("12.8"), "{doubt:?}");
}

#[test]
fn celsius_taken_for_fahrenheit_is_held_too() {
    // 20.2 °C read as °F is -6.6 °C.
    check(&[(0, 20.0, 50.0), (5, -6.56, 50.0), (10, -6.6, 50.0)], &[None, Some(Reason::Unit), Some(Reason::Unit)]);
}

#[test]
fn a_clock_that_is_ahead_is_held_and_a_minute_is_forgiven() {
    let mut watch = Watch::default();
    let scene = Scene {
        now_ms: AT_MS,
        ahead_ms: MINUTE_MS,
        set_temp_c: 20.0,
        stuck_ms: HOUR_MS,
        track: None,
        others_moved: &|_, _| false,
    };
    assert_eq!(watch.judge(sample(1, 20.0, 50.0), &scene).doubt, None);
    let doubt = watch.judge(sample(61, 20.0, 50.0), &scene).doubt.expect("an hour ahead");
    assert_eq!((doubt.reason, doubt.field), (Reason::ClockAhead, "at"));
}

#[test]
fn out_of_order_readings_are_taken_but_a_late_spike_is_held() {
    check(&[(0, 20.0, 50.0), (20, 20.2, 50.0), (10, 20.1, 50.0)], &[None; 3]);
    check(&[(0, 20.0, 50.0), (20, 20.2, 50.0), (10, 50.0, 50.0)], &[None, None, Some(Reason::Spike)]);
    let mut watch = Watch::default();
    judge(&mut watch, &[sample(0, 20.0, 50.0), sample(20, 20.0, 50.0)], false);
    let scene = Scene {
        now_ms: AT_MS + HOUR_MS,
        ahead_ms: MINUTE_MS,
        set_temp_c: 20.0,
        stuck_ms: HOUR_MS,
        track: None,
        others_moved: &|_, _| false,
    };
    assert!(watch.judge(sample(10, 20.0, 50.0), &scene).late);
}

#[test]
fn a_sensor_that_used_to_move_and_stands_still_for_six_hours_is_stuck() {
    let moving = (0..30).map(|i| sample(i * 5, 20.0 + 0.1 * f64::from((i % 7) as i32), 50.0));
    let still = (30..30 + 80).map(|i| sample(i * 5, 20.3, 50.0));
    let samples: Vec<Sample> = moving.chain(still).collect();
    let verdicts = judge(&mut Watch::default(), &samples, false);
    let held = verdicts.iter().filter(|v| **v == Some(Reason::Stuck)).count();
    let first = verdicts.iter().position(Option::is_some).expect("it is noticed");
    assert_eq!((first, held), (30 + 72, 8), "from six hours on, every one");
}

#[test]
fn a_sensor_that_never_moves_is_stuck_only_if_another_saw_the_room_move() {
    let still: Vec<Sample> = (0..100).map(|i| sample(i * 5, 20.0, 50.0)).collect();
    assert!(judge(&mut Watch::default(), &still, false).iter().all(Option::is_none));
    let held = judge(&mut Watch::default(), &still, true).iter().filter(|v| v.is_some()).count();
    assert_eq!(held, 100 - 72);
}

#[test]
fn a_watch_made_from_the_track_judges_like_one_that_saw_every_reading() {
    let moving = (0..40).map(|i| sample(i * 5, 20.0 + 0.1 * f64::from((i % 7) as i32), 50.0));
    let still = (40..40 + 72).map(|i| sample(i * 5, 20.3, 50.0));
    let samples: Vec<Sample> = moving.chain(still).collect();
    let (mut grown, mut track) = (Watch::default(), Timeline::default());
    judge(&mut grown, &samples, false);
    for sample in &samples {
        track.put(sample.at_ms, sample.air(), None);
    }
    let mut made = Watch::of(Some(&track));
    let next = [sample(112 * 5, 20.3, 50.0)];
    assert_eq!(judge(&mut made, &next, false), [Some(Reason::Stuck)]);
    assert_eq!(judge(&mut grown, &next, false), [Some(Reason::Stuck)]);
}
