//! What was told and turns out untrue is taken back; what turns out a few minutes off is not.

use clock::{AlertState, Due};
use facts::Fact;

use super::{
    closing, exact,
    shop::{Shop, glue_up, id, instant, ms},
};

/// A glue-up whose clamp-off was told at hour 4 of steady 20 °C.
fn told_at_4() -> Shop {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 4.0), 0.25, |_| 20.0);
    shop.begin(glue_up("cure", "linear", "bench", 0.0, &[exact("clamp_off", 4.0), exact("full", 40.0)]));
    assert_eq!(shop.told(4.0), ["cure:clamp_off"]);
    shop
}

#[test]
fn a_correction_that_puts_it_well_ahead_takes_it_back_and_tells_it_anew() {
    let mut shop = told_at_4();
    for i in 0..12 {
        shop.read("bench", f64::from(i) * 0.25, 10.0);
    }
    assert_eq!(shop.told(4.1), ["untrue cure:clamp_off"]);
    assert_eq!(shop.bench.alerts()["cure:clamp_off"].state, AlertState::Retracted);
    assert_eq!(shop.cure("cure").told(0), None);
    assert_eq!(shop.told(4.2), [""; 0]);
    shop.record("bench", (4.25, 8.0), 0.25, |_| 20.0);
    let again_h = shop.alert_h("cure", 0);
    assert!((5.0..6.0).contains(&again_h), "{again_h}");
    assert_eq!(shop.told(again_h - 0.01), [""; 0]);
    assert_eq!(shop.told(again_h), ["cure:clamp_off:2"]);
    // And once more.
    shop.record("bench", (0.0, 8.0), 0.25, |_| 1.0);
    assert_eq!(shop.told(8.0), ["untrue cure:clamp_off:2"]);
    shop.record("bench", (0.0, 8.0), 0.25, |_| 20.0);
    assert_eq!(shop.told(8.0), ["cure:clamp_off:3"]);
}

#[test]
fn an_untrue_alert_stays_untrue_until_the_retraction_is_taken_in() {
    let mut shop = told_at_4();
    shop.record("bench", (0.0, 4.0), 0.25, |_| 10.0);
    // Its commit fails twice.
    for _ in 0..2 {
        assert!(matches!(&shop.bench.due(ms(4.0), 9)[..], [Due::Untrue { .. }]));
    }
    // Even a service that was killed before the commit finds it again.
    assert!(matches!(&shop.rebuilt().due(ms(4.0), 9)[..], [Due::Untrue { .. }]));
    assert_eq!(shop.told(4.0), ["untrue cure:clamp_off"]);
    assert_eq!(shop.rebuilt().due(ms(4.0), 9), []);
}

#[test]
fn a_difference_of_minutes_takes_nothing_back() {
    let mut shop = told_at_4();
    // 1 K for two hours: 6 minutes.
    for i in 0..9 {
        shop.read("bench", f64::from(i) * 0.25, 19.0);
    }
    assert!(shop.alert_h("cure", 0) > 4.09);
    assert_eq!(shop.told(4.0), [""; 0]);
}

/// The sensor falls silent, the heating fails with it, and clamp-off is told by the outlook.
#[test]
fn a_backlog_that_shows_a_cold_night_takes_back_what_the_outlook_told() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 1.0), 0.25, |_| 20.0);
    shop.begin(glue_up("cure", "linear", "bench", 0.0, &[exact("clamp_off", 4.0), exact("full", 40.0)]));
    assert_eq!(shop.told(5.0), ["cure:clamp_off"]);
    shop.record("bench", (1.25, 5.0), 0.25, |_| 5.0);
    assert_eq!(shop.told(5.0), ["untrue cure:clamp_off"]);
    assert!(shop.alert_h("cure", 0) > 10.0);
}

#[test]
fn a_reading_a_little_cooler_than_the_outlook_takes_nothing_back() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 4.0), 0.25, |_| 20.0);
    shop.begin(glue_up("cure", "linear", "bench", 0.0, &[exact("clamp_off", 4.1), exact("full", 40.0)]));
    let safe_h = shop.alert_h("cure", 0);
    assert_eq!(shop.told(safe_h), ["cure:clamp_off"]);
    shop.read("bench", 4.25, 15.0);
    assert!(shop.alert_h("cure", 0) > safe_h);
    assert_eq!(shop.told(4.25), [""; 0]);
}

#[test]
fn a_closed_window_and_a_closed_cure_take_nothing_back() {
    let mut shop = Shop::open();
    shop.record("bench", (0.0, 4.0), 0.25, |_| 20.0);
    shop.begin(glue_up("window", "linear", "bench", 0.0, &[closing(exact("closes", 4.0)), exact("full", 40.0)]));
    shop.begin(glue_up("over", "linear", "bench", 0.0, &[exact("clamp_off", 4.0)]));
    let mut told = shop.told(4.0);
    told.sort();
    assert_eq!(told, ["over:clamp_off", "window:closes"]);
    assert!(!shop.cure("over").is_open());
    shop.record("bench", (0.0, 4.0), 0.25, |_| 5.0);
    assert_eq!(shop.told(4.0), [""; 0]);
}

#[test]
fn a_retracted_alert_is_not_answered_any_more() {
    let mut shop = told_at_4();
    let alert = || id("cure:clamp_off");
    shop.say(4.0, Fact::AlertSnoozed { alert: alert(), until: instant(5.0) });
    shop.record("bench", (0.0, 4.0), 0.25, |_| 5.0);
    assert_eq!(shop.told(4.1), ["untrue cure:clamp_off"]);
    assert_eq!(shop.told(6.0), [""; 0], "it is not told again though it was snoozed");
    for fact in [
        Fact::AlertSnoozed { alert: alert(), until: instant(7.0) },
        Fact::AlertAcknowledged { alert: alert() },
        Fact::AlertRepeated { alert: alert() },
        Fact::AlertRetracted { alert: alert(), because: "x".into() },
    ] {
        let refusal = shop.say_later(6.0, 6.0, fact).expect_err("it was taken back");
        assert!(refusal.mend().contains("new alert"), "{}", refusal.mend());
    }
}
