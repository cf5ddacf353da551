//! Several sensors in a zone make one series, by the stated rule; a hygrometer's correction is for what it says later.

use clock::{Air, Climate};
use facts::{Fact, HygrometerCalibrated, Reading, Salt, SaltPoint};

use super::{
    exact, near,
    shop::{Shop, glue_up, id, ms, reading},
};

fn say(shop: &mut Shop, sensor: &str, hour: f64, temp_c: f64, rh_pct: f64) {
    shop.take_reading(Reading { sensor: Some(id(sensor)), ..reading("bench", hour, temp_c, rh_pct) });
}

fn air(shop: &Shop, hour: f64) -> Air {
    shop.bench.timeline("bench").and_then(|series| series.exactly(ms(hour))).expect("a point of the series")
}

#[track_caller]
fn is(shop: &Shop, hour: f64, temp_c: f64, rh_pct: f64) {
    near(air(shop, hour).temp_c, temp_c, 1e-9);
    near(air(shop, hour).rh_pct, rh_pct, 1e-9);
}

#[test]
fn the_air_is_the_mean_of_what_each_sensor_last_said_within_the_window() {
    let mut shop = Shop::open();
    say(&mut shop, "north", 0.0, 20.0, 50.0);
    say(&mut shop, "south", 0.1, 21.0, 54.0);
    is(&shop, 0.0, 20.0, 50.0);
    is(&shop, 0.1, 20.5, 52.0);
    // Twenty minutes and a little later the north sensor's word is too old.
    say(&mut shop, "south", 0.35, 22.0, 54.0);
    is(&shop, 0.35, 22.0, 54.0);
    // It comes late, and counts where it belongs.
    say(&mut shop, "north", 0.3, 20.0, 50.0);
    is(&shop, 0.3, 20.5, 52.0);
    is(&shop, 0.35, 21.0, 52.0);
}

#[test]
fn what_was_read_before_sensors_had_names_counts_as_one_of_them() {
    let mut shop = Shop::open();
    shop.read("bench", 0.0, 20.0);
    say(&mut shop, "north", 0.1, 21.0, 50.0);
    is(&shop, 0.1, 20.5, 50.0);
    assert_eq!(shop.bench.sensors("bench").len(), 2);
    assert_eq!(shop.bench.sensor("bench", None).map(|track| track.len()), Some(1));
}

#[test]
fn sensors_that_disagree_let_the_slower_count_and_the_times_say_so() {
    let mut shop = Shop::open();
    for step in 0..=16 {
        let hour = f64::from(step) * 0.25;
        say(&mut shop, "north", hour, 20.0, 50.0);
        say(&mut shop, "south", hour, if step >= 8 { 10.0 } else { 20.0 }, 50.0);
    }
    shop.begin(glue_up("agreed", "linear", "bench", 0.0, &[exact("full", 100.0)]));
    shop.begin(glue_up("apart", "linear", "bench", 2.0, &[exact("full", 100.0)]));
    // The linear law is 1 at 20 °C and a half at 10 °C; the mean would be three quarters.
    near(shop.age_h("apart", 4.0), 1.0, 1e-9);
    near(shop.age_h("agreed", 1.75), 1.75, 1e-9);
    assert_eq!(shop.bench.climate(shop.cure("agreed"), ms(1.9)), Climate::Recorded);
    assert_eq!(shop.bench.climate(shop.cure("agreed"), ms(4.0)), Climate::Apart(ms(2.0)));
    assert!(shop.bench.climate(shop.cure("apart"), ms(4.0)).is_assumed());
    near(air(&shop, 3.0).temp_c, 15.0, 1e-9);
    // They are brought together again by a correction.
    for step in 8..=16 {
        say(&mut shop, "south", f64::from(step) * 0.25, 20.0, 50.0);
    }
    near(shop.age_h("apart", 4.0), 2.0, 1e-9);
    assert_eq!(shop.bench.climate(shop.cure("apart"), ms(4.0)), Climate::Recorded);
}

fn calibrated(read_rh_pct: f64) -> Fact {
    let point = SaltPoint { salt: Salt::SodiumChloride, temp_c: 20.0, read_rh_pct, true_rh_pct: 75.36 };
    Fact::HygrometerCalibrated(HygrometerCalibrated::new(id("north"), vec![point]).expect("it is not broken"))
}

#[test]
fn a_calibration_corrects_what_the_sensor_says_later_and_leaves_what_it_said() {
    let mut shop = Shop::open();
    say(&mut shop, "north", 0.0, 20.0, 50.0);
    shop.say(1.0, calibrated(70.36));
    say(&mut shop, "north", 2.0, 20.0, 50.0);
    is(&shop, 0.0, 20.0, 50.0);
    is(&shop, 2.0, 20.0, 55.0);
    let raw = shop.bench.sensor("bench", Some(&id("north"))).expect("it spoke");
    assert_eq!(raw.get(1).1.rh_pct, 50.0, "what was recorded stays");
    // Another calibration takes over from its own date on.
    shop.say(3.0, calibrated(74.36));
    say(&mut shop, "north", 4.0, 20.0, 50.0);
    is(&shop, 2.0, 20.0, 55.0);
    is(&shop, 4.0, 20.0, 51.0);
}

#[test]
fn a_calibration_told_late_corrects_what_the_sensor_said_since_and_the_ages_with_it() {
    let mut shop = Shop::open();
    shop.begin(glue_up("cure", "damp", "bench", 0.0, &[exact("full", 100.0)]));
    for step in 0..=8 {
        say(&mut shop, "north", f64::from(step) * 0.5, 20.0, 50.0);
    }
    near(shop.age_h("cure", 4.0), 4.0, 1e-9);
    shop.say_later(2.0, 4.0, calibrated(70.36)).expect("it may be told late");
    // Straight from 50 to 55 % over the half hour before, 1.1 from then on.
    near(shop.age_h("cure", 4.0), 1.5 + 0.5 * 1.05 + 2.0 * 1.1, 1e-9);
}

#[test]
fn a_sensor_that_never_spoke_cannot_be_calibrated() {
    let mut shop = Shop::open();
    let refusal = shop.say_later(1.0, 1.0, calibrated(70.36)).expect_err("nobody knows it");
    assert!(refusal.to_string().contains("north"), "{refusal}");
}
