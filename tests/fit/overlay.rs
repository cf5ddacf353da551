//! What `fitted()` does to a rule: the sheet stays what it was, and what was fitted stands beside it.

use std::sync::Arc;

use clock::Air;
use facts::{JointState, Porosity};
use rules::{Fault, Host, Rule};

const JOINT: JointState = JointState { gap_um: 100.0, film_um: 100.0, porosity: Porosity::Normal };

fn with(fitted: &str) -> Result<Rule, Fault> {
    let text = std::fs::read_to_string(bench::root().join("scripts/materials/aliphatic-resin.rhai")).expect("the rule");
    Rule::check(&Arc::new(Host::new()), "aliphatic-resin.rhai", &format!("{text}\n{fitted}"))
}

fn good(fitted: &str) -> Rule {
    with(fitted).unwrap_or_else(|fault| panic!("{fault}"))
}

#[test]
fn fitted_numbers_change_times_and_response_and_leave_the_sheet() {
    let sheet = good("");
    let rule = good(
        "fn fitted() { #{ stages: #{ clamp_off: #{ times: 1.6, spread: [0.8, 1.3] }, full_strength: #{ times: 0.5 } },
                          per_10_k: 1.2 } }",
    );
    let air = Air { temp_c: 20.0, rh_pct: 50.0 };
    let of = |rule: &Rule, stage: &str| {
        let said = rule.application(air, &JOINT).expect("an application");
        said.milestones.into_iter().find(|target| target.stage == stage).expect("the stage")
    };
    let clamp = of(&rule, "clamp_off");
    let ages = [clamp.earliest_h, clamp.likely_h, clamp.safe_h];
    for (age_h, expected) in ages.into_iter().zip([0.75 * 1.6 * 0.8, 0.75 * 1.6, 0.75 * 1.6 * 1.3]) {
        assert!((age_h - expected).abs() < 1e-9, "{ages:?}");
    }
    // Without a spread of its own the sheet's shares hold, and no fit shortens a floor.
    let (full, before) = (of(&rule, "full_strength"), of(&sheet, "full_strength"));
    assert!((full.likely_h - 12.0).abs() < 1e-9 && (full.safe_h / full.likely_h - 1.5).abs() < 1e-9, "{full:?}");
    assert!((full.floor_h - before.floor_h).abs() < 1e-12 && full.floor_h > 0.0);
    assert_eq!(of(&rule, "scrape_flush"), of(&sheet, "scrape_flush"), "a stage nobody fitted is the sheet's");
    assert_eq!(
        rule.sheet_target(&JOINT, "clamp_off").expect("a target"),
        sheet.sheet_target(&JOINT, "clamp_off").expect("a target")
    );
    let (law, sheet_law) = (rule.law("").expect("a law"), sheet.law("").expect("a law"));
    for (temp_c, factor) in [(20.0, 1.0), (30.0, 1.2), (15.0, 1.2_f64.powf(-0.5))] {
        let air = Air { temp_c, ..air };
        assert!((law(air) / sheet_law(air) - factor).abs() < 1e-9, "{temp_c}");
        assert!((rule.sheet_law("").expect("a law")(air) - sheet_law(air)).abs() < 1e-12);
    }
    // Full strength was fitted: its share of age is what the strength goes by.
    let strength = |rule: &Rule, age_h: f64| rule.strength(age_h, &JOINT).expect("a strength").expect("it bears load");
    assert!((strength(&rule, 3.0) - strength(&sheet, 6.0)).abs() < 1e-9);
}

#[test]
fn a_strength_nobody_fitted_follows_the_slowest_stage_and_is_never_quicker() {
    let strength = |fitted: &str| good(fitted).strength(4.0, &JOINT).expect("a strength").expect("it bears load");
    let slow = strength("fn fitted() { #{ stages: #{ clamp_off: #{ times: 2.0 } } } }");
    assert!((slow - good("").strength(2.0, &JOINT).expect("a strength").expect("it bears load")).abs() < 1e-9);
    let quick = strength("fn fitted() { #{ stages: #{ clamp_off: #{ times: 0.5 } } } }");
    assert!((quick - strength("")).abs() < 1e-12);
}

#[test]
fn fitted_numbers_that_cannot_be_are_faults() {
    for (fitted, said) in [
        ("#{ stages: #{ hard: #{ times: 1.2 } } }", "no stage \"hard\""),
        ("#{ stages: #{ clamp_off: #{ times: 30 } } }", "0.05 to 20"),
        ("#{ stages: #{ clamp_off: #{ times: 1.2, spread: [1.1, 1.3] } } }", "spread of \"clamp_off\""),
        ("#{ per_10_k: 0 }", "per_10_k is 0"),
        ("#{ per_10_k: 1.1, q10: 2 }", "unknown field"),
        ("42", "another shape"),
    ] {
        let fault = with(&format!("fn fitted() {{ {fitted} }}")).err().unwrap_or_else(|| panic!("{fitted} was taken"));
        assert!(fault.what.contains(said), "{fitted}: {fault}");
    }
    assert!(with("fn fitted(joint) { #{} }").err().is_some_and(|fault| fault.what.contains("takes 0 argument")));
}
