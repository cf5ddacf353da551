//! What a planned change of the air does to the times of open cures, and what it leaves alone.

use facts::Fact;

use super::{
    exact, near,
    shop::{Shop, glue_up, hour, id, ms, planned},
};

/// A shop that has recorded 20 °C for two days, up to hour 0.
fn recorded() -> Shop {
    let mut shop = Shop::open();
    shop.record("bench", (-48.0, 0.0), 0.25, |_| 20.0);
    shop
}

fn cancel(plan: &str) -> Fact {
    Fact::PlanCancelled { plan: id(plan) }
}

#[test]
fn a_warm_evening_brings_a_milestone_forward_and_calling_it_off_puts_it_back() {
    let mut shop = recorded();
    shop.begin(glue_up("cure", "linear", "bench", -1.0, &[exact("clamp_off", 12.0)]));
    let unplanned = shop.hours("cure", 0);
    let [_, cold, cold_safe] = unplanned;
    near(cold.expect("a time"), 11.0, 0.01);
    shop.say(0.0, planned("warm", "bench", (2.0, 10.0), 40.0));
    let [_, warm, warm_safe] = shop.hours("cure", 0);
    // Twice the rate from hour 2 on, less the half hour in which the air follows: 3 h done, 9 h at double speed.
    near(warm.expect("a time"), 2.0 + 9.0 / 2.0 + 0.25, 0.03);
    assert!(warm_safe < cold_safe, "{warm_safe:?} {cold_safe:?}");
    assert_eq!(shop.bench.next_wake().map(hour), warm_safe);
    shop.say(1.0, cancel("warm"));
    assert_eq!(shop.hours("cure", 0), unplanned);
    assert_eq!(shop.bench.next_wake().map(hour), cold_safe);
}

#[test]
fn a_plan_changes_nothing_that_is_recorded() {
    let mut shop = recorded();
    shop.begin(glue_up("cure", "linear", "bench", -10.0, &[exact("clamp_off", 30.0)]));
    let before = [-9.0, -5.0, -0.1, 0.0].map(|at_h| shop.age_h("cure", at_h));
    shop.say(0.0, planned("warm", "bench", (-6.0, 10.0), 40.0));
    assert_eq!([-9.0, -5.0, -0.1, 0.0].map(|at_h| shop.age_h("cure", at_h)), before);
    // And readings that say otherwise have the last word.
    shop.record("bench", (0.25, 8.0), 0.25, |_| 20.0);
    near(shop.age_h("cure", 8.0), 18.0, 1e-9);
}

#[test]
fn in_a_zone_without_a_sensor_a_plan_stands_for_what_the_air_was_and_will_be() {
    let mut shop = Shop::open();
    shop.begin(glue_up("before", "linear", "box", -2.0, &[exact("clamp_off", 10.0)]));
    shop.say(0.0, planned("warm", "box", (1.0, 5.0), 40.0));
    shop.begin(glue_up("during", "linear", "box", 0.0, &[exact("clamp_off", 100.0)]));
    near(shop.age_h("before", 1.0), 3.0, 1e-9);
    // Four hours at double rate; what is lost while the air follows is had back while it leaves.
    near(shop.age_h("before", 12.0), 14.0 + 4.0, 0.02);
    near(shop.age_h("during", 12.0), 12.0 + 4.0, 0.02);
    near(shop.hours("before", 0)[1].expect("a time"), 1.0 + 7.0 / 2.0 + 0.25, 0.03);
    // Days on, the plan is not repeated, and a cure begun then never saw it.
    near(shop.age_h("during", 240.0), 240.0 + 4.0, 0.02);
    shop.begin(glue_up("after", "linear", "box", 200.0, &[exact("clamp_off", 6.0)]));
    near(shop.hours("after", 0)[1].expect("a time"), 206.0, 1e-3);
    near(shop.age_h("after", 203.0), 3.0, 1e-3);
}

#[test]
fn a_plan_called_off_under_way_ends_then() {
    let mut shop = Shop::open();
    shop.begin(glue_up("cure", "linear", "box", 0.0, &[exact("clamp_off", 100.0)]));
    shop.say(0.0, planned("warm", "box", (1.0, 5.0), 40.0));
    shop.say(3.0, cancel("warm"));
    near(shop.age_h("cure", 12.0), 12.0 + 2.0, 0.02);
}

#[test]
fn a_milestone_told_because_of_a_plan_is_taken_back_when_the_plan_is_called_off() {
    let mut shop = Shop::open();
    shop.begin(glue_up("cure", "linear", "box", 0.0, &[exact("clamp_off", 12.0), exact("full", 100.0)]));
    shop.say(0.0, planned("warm", "box", (1.0, 11.0), 50.0));
    let told_h = shop.alert_h("cure", 0);
    assert_eq!(shop.told(told_h), ["cure:clamp_off"]);
    // The heater never worked.
    shop.say_later(1.0, told_h, cancel("warm")).expect("it is still under way");
    assert_eq!(shop.told(told_h), ["untrue cure:clamp_off"]);
    assert!(shop.alert_h("cure", 0) > told_h + 1.0);
}

#[test]
fn plans_that_cannot_be_are_refused() {
    let mut shop = Shop::open();
    shop.say(0.0, planned("one", "box", (2.0, 6.0), 30.0));
    let mut refused = |plan: &str, zone: &str, hours, word: &str| {
        let refusal = shop.say_later(0.0, 0.0, planned(plan, zone, hours, 30.0)).expect_err(word);
        assert!(format!("{refusal}; {}", refusal.mend()).contains(word), "{refusal}; {}", refusal.mend());
    };
    refused("two", "attic", (1.0, 2.0), "no zone \"attic\"");
    refused("one", "box", (7.0, 8.0), "there already");
    refused("two", "box", (5.0, 8.0), "\"one\" has the air");
    refused("two", "box", (9.0, 8.0), "after from");
    refused("two", "box", (-9.0, -8.0), "readings");
    refused("two", "box", (1.0, 400.0), "14 days ahead");
    refused("two", "box", (-400.0, 1.0), "last 14 days");
    shop.say(0.0, planned("two", "box", (6.0, 8.0), 30.0));
    shop.say(0.0, planned("three", "bench", (2.0, 6.0), 30.0));
    shop.say(1.0, cancel("two"));
    // Its time is free again.
    shop.say(1.0, planned("four", "box", (6.0, 8.0), 35.0));
    for (plan, at_h, word) in [("two", 2.0, "called off"), ("one", 6.0, "is over"), ("nine", 2.0, "no plan")] {
        let refusal = shop.say_later(at_h, at_h, cancel(plan)).expect_err(word);
        assert!(refusal.to_string().contains(word), "{refusal}");
    }
    assert_eq!(shop.bench.next_wake(), None);
    assert_eq!(shop.bench.air_at("box", ms(5.9)).map(|air| air.temp_c.round()), Some(30.0));
}
