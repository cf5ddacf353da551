//! A rule written from a data sheet: it keeps the contract, it gives the sheet's own values, and what the sheet leaves out
//! is marked as assumed.

use proptest::prelude::*;
use rules::{Class, DataSheet};
use serde_json::{Value, json};

use super::*;

fn sheet(said: Value) -> DataSheet {
    serde_json::from_value(said).expect("a sheet")
}

/// The rule of a sheet that must be one, with its text.
fn written(said: Value) -> (Rule, String) {
    let written = sheet(said).script().expect("a good sheet");
    (rule(&written.text), written.text)
}

/// Hours a stage takes in constant air, by the rule's own table.
fn hours(rule: &Rule, stage: &str, air: Air) -> f64 {
    let joint = JointState { film_um: 0.0, ..JOINT };
    let said = rule.application(air, &joint).expect("an answer");
    let target = said.milestones.iter().find(|target| target.stage == stage).expect(stage);
    target.likely_h / (rule.law(&said.mode).expect("a law"))(air)
}

#[test]
fn each_class_writes_a_rule_from_one_time_alone() {
    for class in Class::ALL {
        let time = if class.is_finish() { "recoat_opens_h" } else { "clamp_off_h" };
        let said = json!({"material": "new-one", "class": class, time: 2.5, "full_strength_h": 90.0});
        let said = if class.is_finish() { json!({"material": "new-one", "class": class, time: 2.5}) } else { said };
        let (rule, text) = written(said);
        assert_eq!(rule.sheet.name, class.name());
        assert!(text.contains("= 2.5;") && text.contains("The sheet."), "{text}");
        assert!(text.contains("Assumed from the class, not on the sheet."), "{text}");
        assert!(rule.sheet.cautions.iter().any(|caution| caution.contains("safety data sheet")), "{text}");
    }
}

/// What one would find on the sheet of a slow epoxy: 6 h at 23 °C, 13 h at 13 °C. By E = R·ln(t2/t1)/(1/T2 - 1/T1), the
/// rate law of ASTM C1074 solved for E and worked out apart from this program, 54.479 kJ/mol.
#[test]
fn two_times_at_two_temperatures_give_the_activation_energy() {
    let (rule, text) = written(json!({
        "material": "slow-one", "class": "two_part_epoxy", "temp_c": 23, "rh_pct": 50, "clamp_off_h": 6,
        "full_strength_h": 72, "second": {"temp_c": 13, "hours": 13}, "working_life_min": 30, "min_temp_c": 5,
    }));
    assert!(text.contains("ACTIVATION_KJ_MOL = 54.479;"), "{text}");
    for (temp_c, h) in [(23.0, 6.0), (13.0, 13.0)] {
        let is = hours(&rule, "clamp_off", Air { temp_c, rh_pct: 50.0 });
        assert!((is / h - 1.0).abs() < 0.001, "{is} h at {temp_c} °C");
    }
    assert_eq!((rule.sheet.working_life_min, rule.sheet.limits.len()), (Some(30.0), 1));
    assert_eq!(rule.law("").expect("a law")(Air { temp_c: 4.0, rh_pct: 50.0 }), 0.0);
}

#[test]
fn a_sheet_that_states_everything_leaves_nothing_of_that_to_the_class() {
    let said = json!({
        "material": "yellow-one", "name": "the shop's \"yellow\"", "class": "aliphatic_resin", "temp_c": 21, "rh_pct": 55,
        "clamp_off_h": 0.5, "full_strength_h": 20, "working_life_min": 12, "open_time_min": 8, "min_temp_c": 7.5,
        "film_forming_c": 8.0, "min_rh_pct": 20, "max_rh_pct": 85, "storage_days": 700, "q10": 1.7,
    });
    let written = sheet(said.clone()).script().expect("a good sheet");
    let stated = ["REF_TEMP_C", "REF_RH_PCT", "CLAMP_OFF_H", "FULL_STRENGTH_H", "TEMP_Q10", "storage_days"];
    assert!(written.assumed.iter().all(|name| !stated.contains(name)), "{:?}", written.assumed);
    let rule = rule(&written.text);
    assert_eq!(rule.sheet.name, "the shop's \"yellow\"");
    assert_eq!(rule.limits.len(), 4);
    let closes = rule.application(BENCH, &JOINT).expect("an answer").milestones[0].clone();
    assert_eq!((closes.stage.as_str(), closes.meets), ("assembly_closes", facts::Meets::Closes));
}

#[test]
fn a_sheet_that_contradicts_itself_is_refused_with_the_field() {
    let glue = |more: Value| {
        let mut said = json!({"material": "m", "class": "two_part_epoxy", "clamp_off_h": 6});
        said.as_object_mut().expect("fields").extend(more.as_object().expect("fields").clone());
        said
    };
    let rows = [
        (json!({"material": "m", "class": "two_part_epoxy"}), "clamp_off_h"),
        (json!({"material": "m", "class": "shellac", "clamp_off_h": 1}), "clamp_off_h"),
        (glue(json!({"sandable_h": 1})), "sandable_h"),
        (glue(json!({"full_strength_h": 5})), "full_strength_h"),
        (glue(json!({"open_time_min": 600})), "clamp_off_h"),
        (glue(json!({"q10": 2, "second": {"temp_c": 10, "hours": 12}})), "q10"),
        (glue(json!({"temp_c": 20, "second": {"temp_c": 20.5, "hours": 12}})), "second.temp_c"),
        (glue(json!({"temp_c": 20, "second": {"temp_c": 10, "hours": 3}})), "second.hours"),
        // Of which temperature the first time is, the class cannot know; and there is none where it does not cure.
        (glue(json!({"second": {"temp_c": 10, "hours": 12}})), "temp_c"),
        (glue(json!({"temp_c": 20, "min_temp_c": 15, "second": {"temp_c": 13, "hours": 12}})), "second.temp_c"),
        (glue(json!({"temp_c": 72})), "temp_c"),
        (glue(json!({"clamp_off_h": -1})), "clamp_off_h"),
        (glue(json!({"film_forming_c": 25})), "temp_c"),
        (glue(json!({"min_rh_pct": 60, "max_rh_pct": 40})), "min_rh_pct"),
        (glue(json!({"min_rh_pct": 60})), "rh_pct"),
        (glue(json!({"name": "two\nlines"})), "name"),
        // A time the class stands in for contradicts one that is stated.
        (glue(json!({"clamp_off_h": 80})), "full_strength_h"),
        (json!({"material": "m", "class": "cyanoacrylate", "full_strength_h": 24, "open_time_min": 5}), "clamp_off_h"),
        (json!({"material": "m", "class": "oil_varnish", "recoat_opens_h": 80}), "recoat_closes_h"),
        (json!({"material": "m", "class": "oil_varnish", "recoat_closes_h": 10}), "recoat_closes_h"),
        (json!({"material": "m", "class": "shellac", "recoat_opens_h": 200}), "dry_through_h"),
        (json!({"material": "m", "class": "shellac", "dust_free_h": 4}), "sandable_h"),
    ];
    for (said, field) in rows {
        let refused = sheet(said.clone()).script().expect_err(&said.to_string());
        assert_eq!(refused.what, field, "{said}: {refused}");
        assert!(!refused.mend.is_empty(), "{said}");
    }
}

/// A sheet may state two stages at once; only a window and clamps need a time between.
#[test]
fn what_comes_at_the_same_time_is_no_contradiction() {
    let (rule, _) = written(json!({
        "material": "m", "class": "water_borne_lacquer", "dust_free_h": 2, "recoat_opens_h": 24, "sandable_h": 2,
        "dry_through_h": 24,
    }));
    assert_eq!(hours(&rule, "dry_through", Air { temp_c: 20.0, rh_pct: 50.0 }), 24.0);
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 48, failure_persistence: None, ..Default::default() })]

    /// Whatever a sheet states, the script written from it is refused with a reason or comes in force as it is.
    #[test]
    fn what_is_written_keeps_the_contract(
        class in 0..9_usize,
        numbers in prop::collection::vec((any::<bool>(), 0.0..1.0_f64), 14),
        name in "[^\\x00-\\x1f\\x7f]{1,20}",
    ) {
        let class = Class::ALL[class];
        let pick = |i: usize, low: f64, high: f64| {
            numbers[i].0.then_some(((low + numbers[i].1 * (high - low)) * 100.0).round() / 100.0)
        };
        let mut said = json!({"material": "m", "class": class, "name": name});
        let of_kind: &[(&str, f64, f64)] = match class.is_finish() {
            true => &[("recoat_opens_h", 0.5, 20.0), ("recoat_closes_h", 1.0, 90.0), ("dry_through_h", 5.0, 500.0), ("film_um", 20.0, 300.0)],
            false => &[("clamp_off_h", 0.02, 40.0), ("full_strength_h", 1.0, 200.0), ("open_time_min", 0.5, 60.0), ("working_life_min", 1.0, 90.0)],
        };
        let common = [("temp_c", 10.0, 30.0), ("rh_pct", 30.0, 70.0), ("min_temp_c", -5.0, 15.0), ("film_forming_c", 0.0, 14.0),
            ("min_rh_pct", 5.0, 45.0), ("max_rh_pct", 60.0, 99.0), ("storage_days", 10.0, 900.0), ("q10", 1.1, 4.0)];
        for (i, (field, low, high)) in of_kind.iter().chain(&common).enumerate() {
            if let Some(value) = pick(i, *low, *high) {
                said[*field] = value.into();
            }
        }
        match sheet(said.clone()).script() {
            Err(refused) => prop_assert!(!refused.mend.is_empty()),
            Ok(written) => {
                if let Err(fault) = Rule::check(&HOST, FILE, &written.text) {
                    prop_assert!(false, "{said}\n{fault}\n{}", written.text);
                }
            }
        }
    }
}
