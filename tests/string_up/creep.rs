//! Whether a glue creeps is said of every one that bears a load: a hold, or why there is none.

#[test]
fn every_rule_that_bears_a_load_says_how_long_it_is_held_for_its_creep_or_why_not() {
    let folder = bench::root().join("scripts/materials");
    let mut bearing = 0;
    for rule in std::fs::read_dir(&folder).unwrap() {
        let path = rule.unwrap().path();
        let text = std::fs::read_to_string(&path).unwrap();
        if !text.contains("\nfn strength(") {
            continue;
        }
        bearing += 1;
        let held = text.contains("creep_hold_h: CREEP_HOLD_H");
        let reason = text.lines().find(|line| line.starts_with("// No creep_hold_h: "));
        assert!(held != reason.is_some(), "{}: a hold or a reason, and not both", path.display());
    }
    // An adhesive for each class that is glued with under strings, foam tape among them to say that it is none.
    assert_eq!(bearing, 10);
}
