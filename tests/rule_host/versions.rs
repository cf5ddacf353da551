//! What the rulebook remembers: a cure keeps the text it began with, whatever is saved over it.

use clock::Laws;
use facts::VersionId;
use rules::Rulebook;

use super::*;

/// The first 16 digits of a SHA-256 computed elsewhere (`printf 'fn rate(air) { 1.0 }' | sha256sum`).
#[test]
fn the_version_of_a_text_never_changes() {
    assert_eq!(Rule::version_of("fn rate(air) { 1.0 }").as_str(), "ff97b45b2497854d");
    assert_ne!(Rule::version_of("fn rate(air) { 1.0 }"), Rule::version_of("fn rate(air) { 1.0 } "));
}

#[test]
fn an_old_version_still_runs_after_a_new_one_is_in_force() {
    let book = Rulebook::new();
    let old = book.check(FILE, &GOOD.join("\n")).unwrap();
    let new = with("const CLAMP_H = 1.0;").replace("hours: 0.375", "hours: 0.5");
    let new = book.check(FILE, &new).unwrap();
    assert_ne!(old.version, new.version);
    for (version, likely_h) in [(&old.version, 0.75), (&new.version, 1.0)] {
        let rule = book.rule(version).unwrap();
        assert_eq!(rule.application(BENCH, &JOINT).unwrap().milestones[0].likely_h, likely_h);
        assert_eq!((book.law(version, "").unwrap())(Air { temp_c: 30.0, rh_pct: 50.0 }), 2.0);
    }
}

#[test]
fn a_bad_text_is_not_remembered_and_leaves_the_good_one_alone() {
    let book = Rulebook::new();
    let good = book.check(FILE, &GOOD.join("\n")).unwrap();
    for bad in ["fn rate(air) { 1.0", "fn rate(air) { -1.0 }", "fn expected() { [] }"] {
        let bad = with(bad);
        assert!(book.check(FILE, &bad).is_err(), "{bad}");
        assert_eq!(book.text(&Rule::version_of(&bad)), None, "{bad}");
        assert!(book.rule(&Rule::version_of(&bad)).is_err(), "{bad}");
    }
    assert!(book.rule(&good.version).is_ok());
}

/// Expected values guard what comes in force; a version that was in force goes on though the guard has grown.
#[test]
fn a_version_from_the_journal_runs_without_being_judged_again() {
    let book = Rulebook::new();
    let text =
        with(r#"fn expected() { [#{ temp_c: 20, rh_pct: 50, stage: "clamp_off", hours: 9, source: "changed" }] }"#);
    let version = Rule::version_of(&text);
    assert!(book.check(FILE, &text).is_err());
    book.remember(&version, FILE, &text);
    assert_eq!(book.text(&version), Some(text));
    assert!(book.rule(&version).is_ok_and(|rule| rule.version == version));
}

#[test]
fn two_materials_with_the_same_text_both_had_it() {
    let book = Rulebook::new();
    let version = book.check(FILE, &GOOD.join("\n")).unwrap().version.clone();
    assert!(book.stood_in(&version, FILE) && !book.stood_in(&version, "materials/other.rhai"));
    book.check("materials/other.rhai", &GOOD.join("\n")).unwrap();
    assert!(book.stood_in(&version, FILE) && book.stood_in(&version, "materials/other.rhai"));
}

#[test]
fn a_version_nobody_remembers_is_a_fault_that_names_it() {
    let unknown = VersionId::new("0123456789abcdef").unwrap();
    let Err(said) = Rulebook::new().law(&unknown, "") else { panic!("there is no such version") };
    assert!(said.contains("0123456789abcdef"), "{said}");
}
