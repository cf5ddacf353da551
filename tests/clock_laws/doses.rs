//! What a cure gathered, sorted by temperature, is what its clock shows; and it answers to another response to warmth as a
//! clock of that response would.

use std::sync::Arc;

use clock::{Air, Climate, Law};
use facts::Fact;

use super::{
    exact, near,
    shop::{Shop, glue_up, id, ms},
};

/// A bench that swings by 6 K in a day and a box at 30 °C, a cure carried between them, and a gap of four hours.
fn lived() -> Shop {
    let mut shop = Shop::with(super::held());
    shop.record("bench", (0.0, 20.0), 1.0 / 12.0, |hour| 18.0 + 6.0 * (hour / 24.0 * std::f64::consts::TAU).sin());
    shop.record("bench", (24.0, 40.0), 0.25, |hour| 16.0 + hour / 10.0);
    shop.record("box", (0.0, 40.0), 0.5, |_| 30.0);
    shop.begin(glue_up("cure", "q10-2", "bench", 1.3, &[exact("full", 500.0)]));
    shop.carry(9.1, "cure", "box");
    shop.carry(12.0, "cure", "bench");
    shop
}

fn q10(per_10_k: f64) -> Law {
    Arc::new(move |air: Air| per_10_k.powf((air.temp_c - 20.0) / 10.0))
}

fn age_h(shop: &Shop, at_h: f64, law: &Law, worth: impl Fn(f64) -> f64) -> f64 {
    let cure = shop.bench.cure("cure").expect("the cure");
    shop.bench.doses(cure, ms(at_h), law).doses.iter().map(|dose| dose.age_h * worth(dose.temp_c)).sum()
}

#[test]
fn doses_add_up_to_the_age_on_the_clock() {
    let mut shop = lived();
    let hours = [1.3, 1.4, 5.0, 9.1, 9.2, 12.0, 19.9, 21.0, 23.9, 30.0, 39.9, 45.0];
    let clock = hours.map(|at_h| shop.age_h("cure", at_h));
    for (at_h, clock) in hours.into_iter().zip(clock) {
        near(age_h(&shop, at_h, &q10(2.0), |_| 1.0), clock, 1e-6);
    }
    // A cure that is over has no clock any more, and its doses are what they were.
    shop.say(40.0, Fact::CureWithdrawn { cure: id("cure"), reason: "taken apart".into() });
    for (at_h, clock) in hours.into_iter().zip(clock) {
        near(age_h(&shop, at_h, &q10(2.0), |_| 1.0), clock, 1e-6);
    }
}

/// The response fitted multiplies the rate by `exp(w · (T - 20) / 10)`; a clock of that rate is asked beside it.
#[test]
fn another_response_to_warmth_follows_from_the_doses() {
    let shop = lived();
    for more in [0.5, 0.8, 1.3, 2.5] {
        // Behind the gap, in which nobody knows the air, the slower end under one response is not that under another.
        for (at_h, within) in [(2.0, 1e-3), (9.0, 1e-3), (11.0, 1e-3), (20.0, 1e-3), (39.0, 0.03)] {
            let whole = age_h(&shop, at_h, &q10(2.0 * more), |_| 1.0);
            let weighed = age_h(&shop, at_h, &q10(2.0), |temp_c: f64| more.powf((temp_c - 20.0) / 10.0));
            near(weighed / whole, 1.0, within);
        }
    }
}

#[test]
fn doses_say_how_well_the_air_was_known() {
    let shop = lived();
    let cure = shop.bench.cure("cure").expect("the cure");
    let climate = |at_h: f64| shop.bench.doses(cure, ms(at_h), &q10(2.0)).climate;
    assert_eq!(climate(19.0), Climate::Recorded);
    assert_eq!(climate(30.0), Climate::Gap(ms(20.0)));
    assert!(shop.bench.doses(cure, ms(1.3), &q10(2.0)).doses.is_empty(), "nothing is gathered at its start");
}
