//! What the clock makes of air that nobody measured: no sensor, a late start, a gap, silence.

use clock::Climate;
use facts::{Bound, Limit};

use super::{
    exact, near,
    shop::{Shop, glue_up, hour, ms, reading, zone_set},
    stage,
};

fn climate(shop: &Shop, cure: &str, now_h: f64) -> Climate {
    shop.bench.climate(shop.cure(cure), ms(now_h))
}

#[test]
fn without_a_sensor_the_set_point_is_assumed_and_safe_is_later_than_likely() {
    let mut shop = Shop::open();
    shop.say(0.0, zone_set("box", 30.0));
    shop.begin(glue_up("cure", "linear", "box", 0.0, &[exact("clamp_off", 3.0)]));
    assert_eq!(climate(&shop, "cure", 1.0), Climate::NoSensor);
    assert!(climate(&shop, "cure", 1.0).is_assumed());
    near(shop.age_h("cure", 10.0), 15.0, 1e-9);
    let [earliest, likely, safe] = shop.hours("cure", 0).map(|hour| hour.expect("a time"));
    near(likely, 2.0, 1e-6);
    assert!(earliest < likely && likely < safe, "{earliest} {likely} {safe}");
    assert_eq!(shop.told(likely), [""; 0]);
    assert_eq!(shop.told(safe), ["cure:clamp_off"]);
}

#[test]
fn a_new_set_point_moves_what_was_assumed() {
    let mut shop = Shop::open();
    shop.begin(glue_up("cure", "linear", "box", 0.0, &[exact("clamp_off", 3.0)]));
    near(shop.hours("cure", 0)[1].expect("a time"), 3.0, 1e-6);
    shop.say(1.0, zone_set("box", 10.0));
    near(shop.hours("cure", 0)[1].expect("a time"), 6.0, 1e-6);
    let safe_h = shop.alert_h("cure", 0);
    assert_eq!(shop.bench.next_wake().map(hour), Some(safe_h));
}

#[test]
fn a_cure_begun_before_the_first_reading_stands_at_the_set_point_until_then() {
    let mut shop = Shop::open();
    shop.begin(glue_up("cure", "linear", "bench", -3.0, &[exact("clamp_off", 10.0)]));
    shop.record("bench", (0.0, 4.0), 0.25, |_| 10.0);
    near(shop.age_h("cure", -1.0), 2.0, 1e-9);
    near(shop.age_h("cure", 0.0), 3.0, 1e-9);
    near(shop.age_h("cure", 4.0), 5.0, 1e-9);
    assert_eq!(climate(&shop, "cure", 4.0), Climate::Gap(ms(-3.0)));
    // Half an hour before the first reading is no gap.
    shop.begin(glue_up("young", "linear", "bench", -0.5, &[exact("clamp_off", 10.0)]));
    assert_eq!(climate(&shop, "young", 4.0), Climate::Recorded);
    near(shop.age_h("young", 0.0), 0.5, 1e-9);
}

#[test]
fn registering_backdated_beyond_the_clocks_origin_leaves_the_others_their_ages() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 8.0), 0.25, |hour| 10.0 + hour);
    shop.begin(glue_up("first", "linear", "bench", 6.0, &[exact("clamp_off", 3.0)]));
    let (age_h, alert_h) = (shop.age_h("first", 8.0), shop.alert_h("first", 0));
    let backdated = facts::Fact::CureBegun(glue_up("older", "linear", "bench", 2.0, &[exact("full", 50.0)]).into());
    shop.say_later(2.0, 8.0, backdated).expect("a glue-up may be registered after the fact");
    near(shop.age_h("first", 8.0), age_h, 1e-9);
    near(shop.alert_h("first", 0), alert_h, 3e-7);
    // 12 °C rising to 18 °C: 15 °C on the whole.
    near(shop.age_h("older", 8.0), 4.5, 1e-9);
}

#[test]
fn a_gap_is_flagged_and_never_faster_than_its_slower_end() {
    let mut shop = Shop::open();
    shop.begin(glue_up("cure", "linear", "bench", 0.0, &[exact("clamp_off", 50.0)]));
    shop.record("bench", (0.0, 2.0), 0.25, |_| 20.0);
    shop.record("bench", (10.0, 12.0), 0.25, |_| 10.0);
    near(shop.age_h("cure", 2.0), 2.0, 1e-9);
    near(shop.age_h("cure", 6.0), 2.0 + 4.0 * 0.5, 1e-9);
    near(shop.age_h("cure", 10.0), 2.0 + 8.0 * 0.5, 1e-9);
    assert_eq!(climate(&shop, "cure", 12.0), Climate::Gap(ms(2.0)));
    // The clock did not stop: an age that falls into the gap has a time in it.
    shop.begin(glue_up("other", "linear", "bench", 0.0, &[exact("clamp_off", 4.0)]));
    near(shop.alert_h("other", 0), 6.0, 1e-6);
}

#[test]
fn two_hours_between_readings_are_bridged_without_a_flag() {
    let mut shop = Shop::open();
    shop.begin(glue_up("cure", "linear", "bench", 0.0, &[exact("clamp_off", 50.0)]));
    shop.record("bench", (0.0, 8.0), 2.0, |hour| 10.0 + hour);
    near(shop.age_h("cure", 8.0), 8.0 * 14.0 / 20.0, 1e-9);
    assert_eq!(climate(&shop, "cure", 10.0), Climate::Recorded);
    assert_eq!(climate(&shop, "cure", 10.1), Climate::Gap(ms(8.0)));
}

#[test]
fn in_silence_the_clock_goes_on_and_safe_keeps_to_the_slow_edge() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 2.0), 0.25, |_| 20.0);
    shop.begin(glue_up("cure", "linear", "bench", 2.0, &[exact("clamp_off", 6.0)]));
    near(shop.age_h("cure", 8.0), 6.0, 1e-9);
    let [earliest, likely, safe] = shop.hours("cure", 0).map(|hour| hour.expect("a time"));
    near(likely, 8.0, 1e-6);
    // The band is 1 K far ahead: 5 % of the rate, less while it opens.
    assert!((8.1..8.0 + 6.0 * 0.06).contains(&safe), "{safe}");
    assert!((8.0 - 6.0 * 0.06..7.9).contains(&earliest), "{earliest}");
    // Once the air is recorded the band is gone.
    shop.record("bench", (2.25, 9.0), 0.25, |_| 20.0);
    assert!(shop.hours("cure", 0).into_iter().all(|hour| hour == Some(8.0)), "{:?}", shop.hours("cure", 0));
}

#[test]
fn air_that_broke_a_limit_while_it_mattered_is_found() {
    let limit = |bound| Limit { name: "x".into(), bound, until_h: 2.0, says: "x".into() };
    for (bound, since_h) in [
        (Bound::BelowTempC(9.0), None),
        (Bound::BelowTempC(11.0), Some(1.0)),
        (Bound::AboveTempC(19.0), Some(0.0)),
        (Bound::AboveTempC(30.0), None),
        (Bound::BelowRhPct(45.0), Some(0.0)),
        (Bound::AboveRhPct(70.0), Some(1.5)),
    ] {
        let mut shop = Shop::open();
        let mut begun = glue_up("cure", "linear", "bench", 0.0, &[exact("clamp_off", 50.0)]);
        begun.limits = vec![limit(bound)];
        shop.begin(begun);
        for (hour, temp_c, rh_pct) in [(0.0, 20.0, 40.0), (1.0, 10.0, 60.0), (1.5, 20.0, 80.0), (6.0, 5.0, 50.0)] {
            shop.take_reading(reading("bench", hour, temp_c, rh_pct));
        }
        let broken = shop.bench.broken_limits(shop.cure("cure"), ms(7.0));
        assert_eq!(broken.first().map(|(_, since_ms, _)| hour(*since_ms)), since_h, "{bound:?}");
    }
}

#[test]
fn a_cure_that_never_gets_there_has_no_times_and_no_alarm() {
    let mut shop = Shop::open();
    shop.begin(glue_up("early", "never", "bench", -1.0, &[stage("clamp_off", 1.0)]));
    shop.record("bench", (0.0, 3.0), 0.25, |_| 20.0);
    shop.begin(glue_up("late", "never", "bench", 3.5, &[stage("clamp_off", 1.0)]));
    for cure in ["early", "late"] {
        assert_eq!(shop.hours(cure, 0), [None; 3]);
        assert_eq!(shop.age_h(cure, 1000.0), 0.0);
    }
    assert_eq!((shop.bench.next_wake(), shop.told(5000.0).len()), (None, 0));
    shop.read("bench", 2.1, 10.0);
    let line = shop.bench.cure_line(shop.cure("early"), ms(4.0));
    assert_eq!((line.next, line.next_ms), (Some(0), None));
}

#[test]
fn a_cure_whose_rule_cannot_be_run_says_so_and_has_no_times() {
    let mut shop = Shop::open();
    shop.begin(glue_up("cure", "lost", "bench", 0.0, &[stage("clamp_off", 1.0)]));
    assert_eq!(shop.cure("cure").broken.as_deref(), Some("there is no law \"lost\""));
    assert_eq!(shop.hours("cure", 0), [None; 3]);
    assert_eq!(shop.bench.age_h(shop.cure("cure"), ms(5.0)), None);
    assert_eq!((shop.bench.next_wake(), shop.told(100.0).len()), (None, 0));
}
