//! A cure that is carried from zone to zone takes its age along.

use proptest::prelude::*;

use super::{
    closing, exact, near,
    shop::{Shop, Told, glue_up, hour, ms},
    stage,
};

/// A bench at 10 °C (rate 0.5) and a box at 30 °C (rate 1.5), recorded up to an hour.
/// Each zone stays as it was last read.
fn two_zones(until_h: f64) -> Shop {
    let mut shop = Shop::with(super::held());
    shop.record("bench", (0.0, until_h), 0.25, |_| 10.0);
    shop.record("box", (0.0, until_h), 0.25, |_| 30.0);
    shop
}

#[test]
fn age_is_gathered_leg_by_leg() {
    let mut shop = two_zones(10.0);
    shop.begin(glue_up("cure", "linear", "bench", 1.0, &[exact("clamp_off", 4.5), exact("full", 6.0)]));
    shop.carry(3.0, "cure", "box");
    shop.carry(5.0, "cure", "bench");
    for (at_h, age_h) in [(1.0, 0.0), (2.0, 0.5), (3.0, 1.0), (4.0, 2.5), (5.0, 4.0), (7.0, 5.0), (9.0, 6.0)] {
        near(shop.age_h("cure", at_h), age_h, 1e-9);
    }
    near(shop.alert_h("cure", 0), 6.0, 1e-6);
    near(shop.alert_h("cure", 1), 9.0, 1e-6);
    assert_eq!(shop.told(9.1), ["cure:clamp_off", "cure:full"]);
}

#[test]
fn a_milestone_on_an_earlier_leg_is_told_with_the_time_it_had_there() {
    let mut shop = two_zones(10.0);
    let stages = [closing(exact("closes", 0.25)), exact("clamp_off", 0.5), exact("full", 6.0)];
    shop.begin(glue_up("cure", "linear", "bench", 1.0, &stages));
    shop.carry(5.0, "cure", "box");
    assert_eq!([0, 1].map(|m| shop.alert_h("cure", m)), [1.5, 2.0]);
    let told = |stage: &str, due_h| Told { alert: format!("cure:{stage}"), at_h: 5.0, due_h, late: true };
    let mut said = shop.tell(5.0);
    said.sort_by(|a, b| a.due_h.total_cmp(&b.due_h));
    assert_eq!(said, [told("closes", 1.5), told("clamp_off", 2.0)]);
}

#[test]
fn a_late_reading_in_the_zone_it_left_moves_its_age() {
    let mut shop = two_zones(2.0);
    shop.begin(glue_up("cure", "linear", "bench", 0.0, &[exact("full", 10.0)]));
    shop.carry(1.0, "cure", "box");
    near(shop.age_h("cure", 2.0), 2.0, 1e-9);
    let before_h = shop.alert_h("cure", 0);
    // 20 °C in the middle of the first hour instead of 10 °C: a triangle half an hour wide.
    shop.read("bench", 0.5, 20.0);
    near(shop.age_h("cure", 2.0), 2.125, 1e-9);
    let after_h = shop.alert_h("cure", 0);
    assert!((0.05..0.12).contains(&(before_h - after_h)), "{before_h} {after_h}");
    assert_eq!(shop.bench.next_wake().map(hour), Some(after_h));
}

#[test]
fn a_move_while_the_sensor_lags_is_settled_by_the_next_reading() {
    let mut shop = two_zones(1.0);
    shop.begin(glue_up("cure", "linear", "bench", 0.0, &[exact("full", 10.0)]));
    // The bench's sensor fell silent at 1; it is in the box from 3 on.
    shop.carry(3.0, "cure", "box");
    shop.record("box", (1.25, 6.0), 0.25, |_| 30.0);
    near(shop.age_h("cure", 6.0), 1.5 + 4.5, 1e-9);
    // The backlog says that the bench had been heated.
    shop.record("bench", (1.25, 6.0), 0.25, |_| 20.0);
    near(shop.age_h("cure", 6.0), 0.5 + 0.1875 + 1.75 + 4.5, 1e-9);
    let alert_h = shop.alert_h("cure", 0);
    assert_eq!(shop.bench.next_wake().map(hour), Some(alert_h));
    shop.record("box", (6.25, 12.0), 0.25, |_| 30.0);
    let due_h = shop.alert_h("cure", 0);
    near(due_h, 6.0 + (10.0 - 6.9375) / 1.5, 1e-6);
    assert_eq!(shop.tell(12.0)[0].due_h, due_h);
}

#[test]
fn a_cure_left_in_a_zone_without_a_sensor_costs_later_readings_nothing() {
    let mut shop = Shop::open();
    shop.record("box", (0.0, 1.0), 0.25, |_| 30.0);
    shop.begin(glue_up("cure", "linear", "bench", 0.0, &[exact("full", 50.0)]));
    shop.carry(0.5, "cure", "box");
    for i in 0..2000 {
        shop.read("box", 0.1 + f64::from(i) * 1e-4, 30.0);
    }
    super::ASKED.set(0);
    // The first reading of the bench settles the first leg, once.
    shop.read("bench", 1.0, 20.0);
    shop.bench.next_wake();
    assert!(super::ASKED.get() < 10_000, "{} rates asked for one cure", super::ASKED.get());
    near(shop.age_h("cure", 1.0), 0.5 + 0.75, 1e-9);
}

#[test]
fn a_closed_cure_is_not_carried_on() {
    let mut shop = two_zones(2.0);
    shop.begin(glue_up("cure", "linear", "bench", 0.0, &[exact("full", 10.0)]));
    let fact = facts::Fact::CureWithdrawn { cure: super::shop::id("cure"), reason: "taken apart".into() };
    shop.say(1.0, fact);
    // A move that was admitted in the same breath.
    let fact = facts::Fact::CureMoved { cure: super::shop::id("cure"), zone: super::shop::id("box") };
    let (happened_at, recorded_at) = (super::shop::instant(1.5), super::shop::instant(1.5));
    shop.bench.take(&facts::Recorded { seq: 99, happened_at, recorded_at, by: "test".into(), fact });
    assert_eq!((shop.bench.next_wake(), shop.told(100.0).len()), (None, 0));
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..Default::default() })]

    #[test]
    fn carrying_a_cure_to_air_that_is_the_same_changes_nothing(
        temps in prop::collection::vec(5.0..30.0_f64, 2..40),
        moves in prop::collection::vec(0.0..1.2_f64, 1..6),
        target_h in 0.1..40.0_f64,
    ) {
        let mut shop = Shop::open();
        let last_h = (temps.len() - 1) as f64 * 0.25;
        for zone in ["bench", "box"] {
            shop.record(zone, (0.0, last_h), 0.25, |hour| temps[(hour * 4.0) as usize]);
        }
        for cure in ["carried", "left"] {
            shop.begin(glue_up(cure, "q10-2", "bench", 0.0, &[stage("clamp_off", target_h)]));
        }
        let mut moves: Vec<_> = moves.iter().map(|part| part * last_h).collect();
        moves.sort_by(f64::total_cmp);
        for (i, at_h) in moves.iter().enumerate() {
            shop.carry(*at_h, "carried", ["box", "bench"][i % 2]);
        }
        for (left, carried) in shop.hours("left", 0).into_iter().zip(shop.hours("carried", 0)) {
            let (left, carried) = (left.expect("a time"), carried.expect("a time"));
            prop_assert!((ms(left) - ms(carried)).abs() <= 1, "{left} {carried}");
        }
        let alert_h = shop.alert_h("left", 0);
        near(shop.age_h("left", alert_h), shop.age_h("carried", alert_h), 1e-9);
        prop_assert_eq!(shop.told(alert_h.max(moves[moves.len() - 1]) + 1e-6).len(), 2);
    }
}
