//! Alarms: each milestone is told once, in time, by whoever asks, however seldom.

use clock::AlertState;
use facts::{Fact, Meets};
use proptest::prelude::*;

use super::{
    closing, exact, near,
    shop::{Shop, Told, glue_up, hour, id, instant, ms},
    stage,
};

#[test]
fn a_floor_in_hours_is_shortened_by_no_warm_room() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 4.0), 0.25, |_| 40.0);
    let mut floored = exact("clamp_off", 1.0);
    floored.floor_h = 3.0;
    shop.begin(glue_up("cure", "linear", "bench", 0.0, &[floored, exact("full", 2.0)]));
    assert_eq!(shop.hours("cure", 0), [Some(3.0); 3]);
    assert_eq!(shop.told(1.0), ["cure:full"]);
    // Its age is reached: now it waits for the wall clock.
    assert_eq!(shop.bench.next_wake().map(hour), Some(3.0));
    assert_eq!(shop.told(2.999), [""; 0]);
    // A late reading sets it anew, and it is told once all the same.
    shop.read("bench", 0.1, 39.0);
    assert_eq!(shop.told(2.999), [""; 0]);
    let told = Told { alert: "cure:clamp_off".into(), at_h: 3.0, due_h: 3.0, late: false };
    assert_eq!(shop.tell(3.0), [told]);
    assert_eq!((shop.bench.next_wake(), shop.told(9.0).len()), (None, 0));
}

#[test]
fn a_milestone_that_waits_for_the_wall_clock_still_heeds_a_cold_reading() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 1.0), 0.25, |_| 20.0);
    let mut floored = exact("clamp_off", 4.0);
    floored.floor_h = 8.0;
    shop.begin(glue_up("cure", "linear", "bench", 1.0, &[floored]));
    // In silence its age seems reached at about 5, and only the floor is left.
    assert_eq!(shop.told(6.0), [""; 0]);
    assert_eq!(shop.bench.next_wake().map(hour), Some(9.0));
    // But the heating had failed.
    shop.record("bench", (1.25, 9.0), 0.25, |_| 4.0);
    assert_eq!(shop.told(9.0), [""; 0]);
    assert!(shop.alert_h("cure", 0) > 20.0);
}

#[test]
fn what_is_told_long_after_it_came_true_is_called_late() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 9.0), 0.25, |_| 20.0);
    for (cure, age_h, asked_h, late) in
        [("in-time", 1.0, 1.0, false), ("soon", 2.0, 2.016, false), ("missed", 3.0, 8.0, true)]
    {
        shop.begin(glue_up(cure, "linear", "bench", 0.0, &[exact("clamp_off", age_h)]));
        let told = Told { alert: format!("{cure}:clamp_off"), at_h: asked_h, due_h: age_h, late };
        assert_eq!(shop.tell(asked_h), [told]);
    }
    // Registered at 8.5 with its milestone long passed: it is told at once and nobody was late.
    let backdated = Fact::CureBegun(glue_up("backdated", "linear", "bench", 0.5, &[exact("clamp_off", 1.0)]).into());
    shop.say_later(0.5, 8.5, backdated).expect("it may be registered after the fact");
    let told = Told { alert: "backdated:clamp_off".into(), at_h: 8.5, due_h: 1.5, late: false };
    assert_eq!(shop.tell(8.5), [told]);
}

#[test]
fn a_snoozed_alert_is_told_again_once() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 2.0), 0.25, |_| 20.0);
    shop.begin(glue_up("cure", "linear", "bench", 0.0, &[exact("clamp_off", 1.0), exact("full", 99.0)]));
    assert_eq!(shop.told(1.0), ["cure:clamp_off"]);
    let snooze = |until_h| Fact::AlertSnoozed { alert: id("cure:clamp_off"), until: instant(until_h) };
    shop.say(1.1, snooze(3.0));
    shop.say(1.2, snooze(1.5));
    assert_eq!(shop.bench.alerts()["cure:clamp_off"].state, AlertState::Snoozed(ms(1.5)));
    assert_eq!(shop.bench.next_wake().map(hour), Some(1.5));
    assert_eq!(shop.told(1.4), [""; 0]);
    assert_eq!(shop.told(1.5), ["again cure:clamp_off"]);
    assert_eq!(shop.bench.alerts()["cure:clamp_off"].state, AlertState::Open);
    assert_eq!(shop.told(4.0), [""; 0]);
    shop.say(4.0, snooze(5.0));
    shop.say(4.5, Fact::AlertAcknowledged { alert: id("cure:clamp_off") });
    assert_eq!(shop.told(6.0), [""; 0]);
}

#[test]
fn a_window_that_closes_is_told_at_its_earliest_and_an_opening_at_its_safe_time() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 9.0), 0.25, |_| 20.0);
    shop.begin(glue_up("cure", "linear", "bench", 0.0, &[closing(stage("closes", 2.0)), stage("clamp_off", 2.0)]));
    for (m, alert, age_h) in [(0, "cure:closes", 1.6), (1, "cure:clamp_off", 2.5)] {
        let alert_h = shop.alert_h("cure", m);
        near(alert_h, age_h, 3e-7);
        assert_eq!(shop.told(alert_h - 1e-5), [""; 0]);
        assert_eq!(shop.told(alert_h), [alert]);
    }
}

#[test]
fn asking_changes_nothing_and_asks_for_no_more_than_it_can_take() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 9.0), 0.25, |_| 20.0);
    for n in 0..100 {
        shop.begin(glue_up(&format!("cure-{n}"), "linear", "bench", 0.0, &[exact("clamp_off", 1.0)]));
    }
    assert_eq!(shop.bench.due(ms(2.0), 10).len(), 10);
    let due = shop.bench.due(ms(2.0), 1000);
    assert_eq!((due.len(), shop.bench.due(ms(2.0), 1000)), (100, due));
    assert_eq!(shop.told(2.0).len(), 100);
}

#[test]
fn an_outlook_made_anew_leaves_every_alarm_where_it_was() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 30.0), 0.25, |hour| 18.0 + (hour / 4.0).sin());
    shop.begin(glue_up("cure", "arrhenius-50", "bench", 31.0, &[stage("clamp_off", 3.0)]));
    shop.carry(32.0, "cure", "box");
    let alert_h = shop.alert_h("cure", 0);
    shop.bench.look_again();
    assert_eq!((shop.alert_h("cure", 0), shop.bench.next_wake().map(hour)), (alert_h, Some(alert_h)));
}

/// Cures of all kinds, by start and target age; the air is known from the beginning.
fn stocked(temps: &[f64], cures: &[(f64, f64, f64, bool)]) -> Shop {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, (temps.len() - 1) as f64 * 0.25), 0.25, |hour| temps[(hour * 4.0) as usize]);
    for (n, (start_h, age_h, floor_h, closes)) in cures.iter().enumerate() {
        let mut target = stage("stage", *age_h);
        target.floor_h = *floor_h;
        target.meets = if *closes { Meets::Closes } else { Meets::Opens };
        let begun = glue_up(&format!("cure-{n}"), "q10-2", "bench", *start_h, &[target, exact("full", 1e4)]);
        shop.begin(begun);
    }
    shop
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..Default::default() })]

    #[test]
    fn each_milestone_is_told_once_at_the_first_step_after_its_time(
        temps in prop::collection::vec(5.0..30.0_f64, 2..100),
        cures in prop::collection::vec((-2.0..8.0_f64, 0.1..12.0_f64, prop_oneof![Just(0.0), 0.0..9.0_f64], any::<bool>()), 1..20),
        steps in prop::collection::vec(0.001..3.0_f64, 1..60),
    ) {
        let mut shop = stocked(&temps, &cures);
        let expected: Vec<f64> = (0..cures.len()).map(|n| shop.alert_h(&format!("cure-{n}"), 0)).collect();
        let mut now_h = -2.0;
        let mut told_at = vec![None; cures.len()];
        for step_h in steps.iter().cycle() {
            let before_h = now_h;
            now_h += step_h;
            for told in shop.tell(now_h) {
                let n: usize = told.alert.trim_start_matches("cure-").trim_end_matches(":stage").parse().expect("a cure");
                prop_assert!(told_at[n].is_none(), "{} twice", told.alert);
                told_at[n] = Some(now_h);
                let true_h = expected[n];
                prop_assert!(true_h <= now_h + 1e-9, "{} told at {now_h}, true at {true_h}", told.alert);
                prop_assert!(before_h < true_h + 1e-9 || before_h < -1.99, "{} told a step late", told.alert);
                near(told.due_h, true_h, 3e-7);
            }
            if now_h > 100.0 {
                break;
            }
        }
        prop_assert!(told_at.iter().all(Option::is_some), "{told_at:?}");
    }

    #[test]
    fn sleeping_until_next_wake_misses_nothing(
        temps in prop::collection::vec(5.0..30.0_f64, 2..100),
        cures in prop::collection::vec((-2.0..8.0_f64, 0.1..12.0_f64, prop_oneof![Just(0.0), 0.0..9.0_f64], any::<bool>()), 1..20),
    ) {
        let mut shop = stocked(&temps, &cures);
        let mut n_told = 0;
        let mut last_ms = i64::MIN;
        while let Some(wake_ms) = shop.bench.next_wake().filter(|wake_ms| hour(*wake_ms) < 1000.0) {
            prop_assert!(wake_ms > last_ms, "woken twice at {wake_ms} with nothing told in between");
            last_ms = wake_ms;
            for told in shop.tell(hour(wake_ms)) {
                prop_assert!((ms(told.due_h) - wake_ms).abs() <= 1, "{told:?}");
                n_told += 1;
            }
        }
        prop_assert_eq!(n_told, cures.len());
    }
}
