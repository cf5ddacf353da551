//! Age and its inverse, whatever the air.

use proptest::prelude::*;

use super::{
    ASKED, Named, exact, near,
    shop::{Shop, glue_up, ms, reading},
    stage,
};

const LAWS: [&str; 5] = ["arrhenius-50", "q10-2", "vpd-ratio", "linear", "damp"];

/// Readings by hour, temperature and humidity, from hour 0 on; none so far apart that it is a gap. The air of a room
/// changes by at most 5 K and 10 % an hour: of a quicker change, 15 minutes from one rate to the next miss more than
/// a thousandth.
fn air() -> impl Strategy<Value = Vec<(f64, f64, f64)>> {
    let change = (1..120_i32, -5.0..5.0_f64, -10.0..10.0_f64);
    (5.0..32.0_f64, 20.0..80.0_f64, prop::collection::vec(change, 1..60)).prop_map(|(temp_c, rh_pct, changes)| {
        let mut air = vec![(0.0, temp_c, rh_pct)];
        let mut at_min = 0;
        for (after_min, k_per_h, rh_per_h) in changes {
            let (_, temp_c, rh_pct) = air[air.len() - 1];
            let after_h = f64::from(after_min) / 60.0;
            at_min += after_min;
            let (temp_c, rh_pct) = (temp_c + k_per_h * after_h, rh_pct + rh_per_h * after_h);
            air.push((f64::from(at_min) / 60.0, temp_c.clamp(5.0, 32.0), rh_pct.clamp(20.0, 80.0)));
        }
        air
    })
}

fn record(shop: &mut Shop, air: &[(f64, f64, f64)]) {
    for (hour, temp_c, rh_pct) in air {
        shop.take_reading(reading("bench", *hour, *temp_c, *rh_pct));
    }
}

fn held() -> Shop {
    Shop::with(super::held())
}

/// Rate of a law by name.
fn rate(law: &str, temp_c: f64, rh_pct: f64) -> f64 {
    let law = clock::Laws::law(&Named, &super::shop::id(law), "").expect("a law by that name");
    law(clock::Air { temp_c, rh_pct })
}

/// Arrhenius factors with 50 kJ/mol, reference 20 °C, computed apart from this code with R = 8.314462618 J/(mol K).
#[test]
fn in_constant_air_age_is_rate_times_hours() {
    for (law, temp_c, factor, within) in [
        ("arrhenius-50", 10.0, 0.48457, 5.1e-6),
        ("arrhenius-50", 20.0, 1.0, 1e-12),
        ("arrhenius-50", 30.0, 1.96735, 5.1e-6),
        ("q10-2", 10.0, 0.5, 1e-12),
        ("linear", 15.0, 0.75, 1e-12),
    ] {
        let mut shop = held();
        shop.record("bench", (0.0, 6.0), 0.25, |_| temp_c);
        shop.begin(glue_up("cure", law, "bench", 1.0, &[exact("clamp_off", 1.0), exact("full", 50.0)]));
        for hours in [0.0, 0.1, 1.0, 5.0, 71.0, 100.0, 500.0] {
            near(shop.age_h("cure", 1.0 + hours), factor * hours, within * hours.max(1.0));
        }
        for (m, age_h) in [(0, 1.0), (1, 50.0)] {
            let [earliest_h, likely_h, safe_h] = shop.hours("cure", m);
            assert_eq!((earliest_h, safe_h), (likely_h, likely_h), "no spread and no band");
            near(likely_h.expect("a time") - 1.0, age_h / factor, age_h / factor * within / factor + 3e-7);
        }
    }
}

#[test]
fn an_hour_at_10_degrees_is_half_an_hour_of_age() {
    let mut shop = held();
    shop.read("bench", 0.0, 10.0);
    shop.begin(glue_up("cure", "arrhenius-50", "bench", 0.0, &[exact("clamp_off", 1.0)]));
    near(shop.alert_h("cure", 0), 2.0637, 5e-5);
}

#[test]
fn age_is_zero_until_the_cure_begins() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 5.0), 0.5, |_| 20.0);
    shop.begin(glue_up("cure", "linear", "bench", 3.0, &[exact("clamp_off", 1.0)]));
    assert_eq!([-9.0, 0.0, 2.9, 3.0].map(|hour| shop.age_h("cure", hour)), [0.0; 4]);
}

#[test]
fn two_versions_and_two_modes_in_one_zone_keep_their_own_ages() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 4.0), 0.25, |_| 30.0);
    for (cure, law, mode) in [("q", "q10-2", ""), ("l", "linear", ""), ("g", "linear", "gap")] {
        let mut begun = glue_up(cure, law, "bench", 0.0, &[exact("clamp_off", 3.0)]);
        begun.mode = mode.into();
        shop.begin(begun);
    }
    shop.record("bench", (4.25, 8.0), 0.25, |_| 30.0);
    near(shop.age_h("q", 8.0), 16.0, 1e-9);
    near(shop.age_h("l", 8.0), 12.0, 1e-9);
    near(shop.age_h("g", 8.0), 6.0, 1e-9);
    assert_eq!(["q", "l", "g"].map(|cure| shop.alert_h(cure, 0)), [1.5, 2.0, 4.0]);
}

#[test]
fn a_readings_cost_does_not_depend_on_how_many_cures_are_open() {
    let asked = |n_cures: i32| {
        let mut shop = Shop::open();
        shop.record("bench", (0.0, 24.0), 0.25, |_| 20.0);
        for n in 0..n_cures {
            let start_h = 24.0 - f64::from(n) * 0.001;
            shop.begin(glue_up(&format!("cure-{n}"), "linear", "bench", start_h, &[stage("full", 30.0)]));
        }
        shop.bench.next_wake();
        ASKED.set(0);
        for i in 1..=20 {
            shop.read("bench", 24.0 + f64::from(i) * 0.25, 20.0);
            shop.bench.next_wake();
        }
        ASKED.get()
    };
    assert_eq!(asked(1), asked(500));
}

#[test]
fn replaying_a_long_journal_sums_each_clock_once() {
    let mut shop = Shop::open();
    for day in 0..50 {
        let start_h = f64::from(day) * 24.0;
        shop.record("bench", (start_h, start_h + 23.0), 1.0, |_| 20.0);
        shop.begin(glue_up(&format!("cure-{day}"), "linear", "bench", start_h + 1.0, &[exact("clamp_off", 1.0)]));
        shop.tell(start_h + 23.0);
    }
    ASKED.set(0);
    shop.rebuilt();
    let n_readings = 50 * 24;
    assert!(ASKED.get() < 10 * n_readings, "{} rates for {n_readings} readings an hour apart", ASKED.get());
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..Default::default() })]

    #[test]
    fn age_agrees_with_a_plain_sum_over_seconds_within_a_thousandth(
        air in air(), law in 0..LAWS.len(), start in 0.0..1.0_f64, end in 0.0..1.0_f64,
    ) {
        let mut shop = Shop::open();
        record(&mut shop, &air);
        let last_h = air[air.len() - 1].0;
        let (start_h, end_h) = (start.min(end) * last_h, start.max(end) * last_h);
        shop.begin(glue_up("cure", LAWS[law], "bench", start_h, &[exact("clamp_off", 1e6)]));
        let n_steps = 20_000;
        let step_h = (end_h - start_h) / f64::from(n_steps);
        let mut i = 0;
        let plain: f64 = (0..n_steps)
            .map(|n| {
                let hour = start_h + (f64::from(n) + 0.5) * step_h;
                while air[i + 1].0 < hour {
                    i += 1;
                }
                let ((from_h, from_c, from_rh), (to_h, to_c, to_rh)) = (air[i], air[i + 1]);
                let part = (hour - from_h) / (to_h - from_h);
                rate(LAWS[law], from_c + (to_c - from_c) * part, from_rh + (to_rh - from_rh) * part) * step_h
            })
            .sum();
        let age_h = shop.age_h("cure", end_h);
        // Or a second of it: in air that is all but damp a thousandth of next to nothing is less than the parts resolve.
        prop_assert!((age_h - plain).abs() <= plain * 1e-3 + 1.0 / 3600.0, "{age_h} h here, {plain} h summed");
    }

    #[test]
    fn age_never_decreases(air in air(), law in 0..LAWS.len(), hours in prop::collection::vec(-5.0..400.0_f64, 2..60)) {
        let mut shop = Shop::open();
        shop.begin(glue_up("cure", LAWS[law], "bench", -1.0, &[exact("clamp_off", 1.0)]));
        record(&mut shop, &air);
        let mut hours = hours;
        hours.sort_by(f64::total_cmp);
        for pair in hours.windows(2) {
            let (before, after) = (shop.age_h("cure", pair[0]), shop.age_h("cure", pair[1]));
            prop_assert!(before <= after + 1e-12, "{before} h at {}, {after} h at {}", pair[0], pair[1]);
        }
    }

    #[test]
    fn a_milestone_comes_when_its_age_is_reached(air in air(), law in 0..LAWS.len(), target_h in 0.01..300.0_f64) {
        let mut shop = Shop::open();
        record(&mut shop, &air);
        shop.begin(glue_up("cure", LAWS[law], "bench", 0.3, &[stage("clamp_off", target_h)]));
        let likely_h = shop.hours("cure", 0)[1].expect("every law here moves");
        // No rate here is above 4, so a millisecond is at most this much age.
        let age_h = shop.age_h("cure", likely_h);
        prop_assert!((-1e-9..=4.0 / 3.6e6).contains(&(age_h - target_h)), "{age_h} h at the time of {target_h} h");
    }

    #[test]
    fn earliest_is_never_after_likely_nor_likely_after_safe(
        air in air(), law in 0..LAWS.len(), target_h in 0.01..300.0_f64, start_h in -2.0..60.0_f64, floor_h in 0.0..9.0_f64,
    ) {
        let mut shop = Shop::open();
        let mut target = stage("clamp_off", target_h);
        target.floor_h = floor_h;
        record(&mut shop, &air);
        shop.begin(glue_up("cure", LAWS[law], "bench", start_h, &[target]));
        let [earliest, likely, safe] = shop.hours("cure", 0);
        let [earliest, likely] = [earliest, likely].map(|hour| hour.expect("every law here moves"));
        // Air as wild as this may be saturated for good at the slow edge of its band: then no hour is safe.
        let safe = safe.unwrap_or(f64::INFINITY);
        prop_assert!(earliest <= likely && likely <= safe, "{earliest} {likely} {safe}");
        prop_assert!(earliest >= start_h + floor_h - 1e-6);
    }

    #[test]
    fn a_warmer_hour_never_delays_clamp_off(
        air in air(), law in 0..2_usize, from in 0..60_usize, warmer_k in 0.0..8.0_f64, target_h in 0.01..40.0_f64,
    ) {
        let (mut cool, mut warm) = (held(), held());
        let mut warmer = air.clone();
        warmer.iter_mut().skip(from % air.len()).take(4).for_each(|(_, temp_c, _)| *temp_c += warmer_k);
        for (shop, air) in [(&mut cool, &air), (&mut warm, &warmer)] {
            record(shop, air);
            shop.begin(glue_up("cure", LAWS[law], "bench", 0.3, &[stage("clamp_off", target_h)]));
        }
        for (cool_h, warm_h) in cool.hours("cure", 0).into_iter().zip(warm.hours("cure", 0)) {
            prop_assert!(warm_h <= cool_h, "{warm_h:?} instead of {cool_h:?}");
        }
    }

    #[test]
    fn splitting_an_interval_by_a_reading_on_the_straight_line_changes_nothing(
        air in air(), law in 0..LAWS.len(), at in 0..60_usize, part in 0.05..0.95_f64,
    ) {
        let (mut whole, mut split) = (held(), held());
        record(&mut whole, &air);
        record(&mut split, &air);
        let i = at % (air.len() - 1);
        let ((from_h, from_c, from_rh), (to_h, to_c, to_rh)) = (air[i], air[i + 1]);
        // On a whole millisecond, so that it lies on the line.
        let part = (ms(from_h + (to_h - from_h) * part) - ms(from_h)) as f64 / (ms(to_h) - ms(from_h)) as f64;
        let between = |from: f64, to: f64| from + (to - from) * part;
        split.take_reading(reading("bench", between(from_h, to_h), between(from_c, to_c), between(from_rh, to_rh)));
        let ages = [&mut whole, &mut split].map(|shop| {
            shop.begin(glue_up("cure", LAWS[law], "bench", 0.0, &[exact("clamp_off", 1e3)]));
            shop.age_h("cure", air[air.len() - 1].0)
        });
        let straight = LAWS[law] == "damp" || LAWS[law] == "linear";
        let within = if straight && to_h - from_h <= 0.25 { 1e-9 } else { 1e-3 };
        prop_assert!((ages[0] - ages[1]).abs() <= within * ages[0], "{ages:?}");
    }
}
