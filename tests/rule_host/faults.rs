//! Scripts that mean well: each mistake is told with the file, the line and column where the engine knows them, and
//! what is wrong.

use super::*;

/// Holds the fault of `line`, put into the good rule, against a place and a part of what must be said. Line 0 is a
/// fault of the script as a whole.
fn check(rows: &[(&str, (usize, usize), &str)]) {
    for (line, place, said) in rows {
        let fault = fault(&with(line));
        assert!(fault.what.contains(said), "{line}\n  {fault}");
        assert_eq!((fault.line, fault.column), *place, "{line}\n  {fault}");
    }
}

#[test]
fn a_slip_of_the_pen_is_told_with_its_line_and_column() {
    check(&[
        ("fn rate(air) { 1.0 + }", (4, 22), "}"),
        ("fn rate(air) { let x = ; x }", (4, 24), ";"),
        ("fn rate(air) { q10(air.temp_c, REF_C, 2)", (5, 1), "';' to terminate"),
        ("const CLAMP_H = ;", (1, 17), ";"),
        ("fn rate(air) { \"open }", (4, 16), "string"),
    ]);
}

#[test]
fn a_mistake_at_run_time_is_told_with_its_line_and_column() {
    check(&[
        ("fn rate(air) { q10(air.temp_c, 20) }", (4, 16), "q10"),
        ("fn rate(air) { q11(air.temp_c, 20, 2) }", (4, 16), "q11"),
        ("fn rate(air) { throw \"no idea\"; }", (4, 16), "no idea"),
        ("fn rate(air) { \"warm\" * 2 }", (4, 23), "*"),
        (
            "fn rate(air) {\n  let t = air.temp_c;\n  q10(t, REF_C, 99) }",
            (6, 3),
            "q10 is 99; give a value from 0.1 to 10",
        ),
        ("fn rate(air) { table([[0, 1], [0, 2]], 1) }", (4, 16), "table: points.x"),
        ("fn rate(air) { table([[0, 1], 5], 1) }", (4, 16), "points of two numbers"),
        ("fn rate(air) { q10(\"warm\", 20, 2) }", (4, 16), "a number is needed here"),
        ("const CLAMP_H = 1 / 0;", (1, 19), "zero"),
    ]);
}

#[test]
fn a_mistake_in_a_function_called_from_another_is_told_where_it_is() {
    check(&[("fn rate(air) { deeper(air) }\nfn deeper(air) { [1][7] }", (5, 22), "index")]);
}

#[test]
fn an_unknown_variable_is_a_fault_even_where_no_air_leads() {
    check(&[
        ("fn rate(air) { q10(air.temp_c, REF, 2) }", (4, 32), "REF"),
        ("fn rate(air) { if air.temp_c > 1000 { return TYPO_H; } q10(air.temp_c, 20, 2) }", (4, 46), "TYPO_H"),
        ("fn milestones(joint) { if joint.gap_um > 4000 { CLAMP_HOURS } else { [] } }", (5, 49), "CLAMP_HOURS"),
    ]);
}

#[test]
fn a_rate_must_be_a_number_from_zero_up_in_every_air() {
    check(&[
        ("fn rate(air) { -1.0 }", (0, 0), "rate is -1"),
        ("fn rate(air) { -1 }", (0, 0), "rate is -1"),
        ("fn rate(air) { 0.0 / 0.0 }", (0, 0), "rate is NaN"),
        ("fn rate(air) { 1.0 / 0.0 }", (0, 0), "rate is inf"),
        ("fn rate(air) { \"fast\" }", (0, 0), "rate is fast"),
        ("fn rate(air) { }", (0, 0), "rate is "),
        ("fn rate(air) { if air.temp_c < -10 { -0.1 } else { 1 } }", (0, 0), "-20.0 °C and 1.0 % RH"),
        ("fn rate(air) { q10(air.temp_c, 25, 2) }", (0, 0), "it must be 1"),
    ]);
}

#[test]
fn a_missing_function_or_a_wrong_number_of_arguments_is_told_by_name() {
    for (part, said) in [
        ("fn material", "no fn material with 0"),
        ("fn rate", "no fn rate with 1"),
        ("fn milestones", "no fn milestones with 1"),
        ("fn expected", "no fn expected with 0"),
    ] {
        let text: Vec<_> = GOOD.into_iter().filter(|line| !line.starts_with(part)).collect();
        assert!(fault(&text.join("\n")).what.contains(said), "{}", fault(&text.join("\n")));
    }
    check(&[
        ("fn material(x) { #{} }", (0, 0), "no fn material with 0"),
        ("fn rate() { 1.0 }", (0, 0), "no fn rate with 1"),
        ("fn rate(air, mode) { 1.0 }", (0, 0), "fn rate(air, mode) and fn mode(joint) go together"),
        ("fn mode(joint) { \"thin\" }", (0, 0), "fn rate(air, mode) and fn mode(joint) go together"),
        ("fn milestones(joint, air) { [] }", (0, 0), "no fn milestones with 1"),
        ("fn expected(air) { [] }", (0, 0), "no fn expected with 0"),
        ("fn checks(air) { [] }", (0, 0), "fn checks takes 2"),
        ("fn strength(age_h) { 1.0 }", (0, 0), "fn strength takes 2"),
    ]);
}

#[test]
fn an_answer_in_another_shape_is_told_with_what_is_amiss() {
    check(&[
        ("fn material() { 5 }", (0, 0), "fn material answered in another shape"),
        ("fn material() { #{ name: \"x\" } }", (0, 0), "missing field"),
        (
            r#"fn material() { #{ name: "x", kind: "paint", reference: #{ temp_c: 20, rh_pct: 50 }, cautions: [], sources: [] } }"#,
            (0, 0),
            "unknown variant `paint`",
        ),
        (
            r#"fn material() { #{ name: "x", kind: "finish", color: 1, reference: #{ temp_c: 20, rh_pct: 50 }, cautions: [], sources: [] } }"#,
            (0, 0),
            "unknown field `color`",
        ),
        ("fn milestones(joint) { 5 }", (0, 0), "fn milestones answered in another shape"),
        ("fn milestones(joint) { [] }", (0, 0), "1 to 24 stages"),
        (r#"fn milestones(joint) { [#{ stage: "Clamp off", hours: 1 }] }"#, (0, 0), "a-z and _"),
        (r#"fn milestones(joint) { [#{ stage: "clamp_off", hours: -1 }] }"#, (0, 0), "hours and floor_h"),
        (r#"fn milestones(joint) { [#{ stage: "clamp_off", hours: 0.0 / 0.0 }] }"#, (0, 0), "expected f64"),
        (r#"fn milestones(joint) { [#{ stage: "clamp_off", hours: 1, spread: [2, 3] }] }"#, (0, 0), "spread"),
        (
            r#"fn milestones(joint) { [#{ stage: "clamp_off", hours: 1 }, #{ stage: "clamp_off", hours: 2 }] }"#,
            (0, 0),
            "each once",
        ),
        (r#"fn checks(air, joint) { [#{ level: "panic", what: "", mend: "" }] }"#, (0, 0), "unknown variant `panic`"),
        ("fn expected() { [] }", (0, 0), "gives no rows"),
        ("fn expected() { 7 }", (0, 0), "fn expected answered in another shape"),
    ]);
}

#[test]
fn a_limit_has_exactly_one_bound() {
    let material = |bounds: &str| {
        format!(
            r#"fn material() {{ #{{ name: "x", kind: "finish", reference: #{{ temp_c: 20, rh_pct: 50 }}, cautions: [], sources: [], limits: [#{{ name: "blush", until_h: 1, says: "white"{bounds} }}] }} }}"#
        )
    };
    let said = "limit \"blush\" needs exactly one of";
    check(&[
        (&material(", above_rh_pct: 65, below_temp_c: 10"), (0, 0), said),
        (&material(", above_rh_pct: 65, below_rh_pct: 30, above_temp_c: 40"), (0, 0), said),
        (&material(""), (0, 0), said),
    ]);
    assert_eq!(rule(&with(&material(", above_rh_pct: 65"))).limits.len(), 1);
}

#[test]
fn an_expected_row_that_does_not_hold_is_named_with_what_the_rule_gives() {
    let held = r#"#{ temp_c: 20, rh_pct: 50, stage: "clamp_off", hours: 0.75, within: 0.01, source: "by hand" }"#;
    let rows = |row: &str| format!("fn expected() {{ [{held}, {row}] }}");
    check(&[
        (
            &rows(r#"#{ temp_c: 10, rh_pct: 50, stage: "clamp_off", hours: 1, within: 0.1, source: "a guess" }"#),
            (0, 0),
            "expected row 2 (clamp_off at 10 °C, 50 % RH): 1 ± 0.1 h (a guess), but the rule gives 1.500 h",
        ),
        (
            &rows(r#"#{ temp_c: 5, rh_pct: 50, stage: "clamp_off", never: true, source: "a guess" }"#),
            (0, 0),
            "expected row 2 (clamp_off at 5 °C, 50 % RH): never (a guess)",
        ),
        (
            &rows(r#"#{ temp_c: 5, rh_pct: 50, stage: "cooked", hours: 1, source: "a guess" }"#),
            (0, 0),
            "no stage \"cooked\"",
        ),
        (&rows(r#"#{ temp_c: 5, rh_pct: 50, stage: "clamp_off", hours: 1 }"#), (0, 0), "missing field `source`"),
    ]);
}

#[test]
fn strength_is_a_share_at_every_milestone() {
    check(&[
        ("fn strength(age_h, joint) { 1.5 }", (0, 0), "strength(0.75) is 1.5; it must be 0 to 1"),
        ("fn strength(age_h, joint) { age_h - 0.5 }", (0, 0), "strength(0) is -0.5; it must be 0 to 1"),
        ("fn strength(age_h, joint) { 0.0 / 0.0 }", (0, 0), "fn strength answered in another shape"),
        ("fn strength(age_h, joint) { [1][7] }", (7, 33), "index"),
    ]);
    for (answer, share) in [("0.5", 0.5), ("1", 1.0), ("0", 0.0)] {
        let rule = rule(&with(&format!("fn strength(age_h, joint) {{ {answer} }}")));
        assert_eq!(rule.strength(1.0, &JOINT), Ok(Some(share)));
    }
    assert_eq!(rule(&GOOD.join("\n")).strength(1.0, &JOINT), Ok(None));
}

#[test]
fn constants_at_the_top_may_be_used_by_name_and_worked_out_from_one_another() {
    let text = with("const CLAMP_H = 45 / 60.0;").replace(
        "const REF_C = 20;",
        "const WARM_C = 25; const REF_C = WARM_C - 5; const DWELL = [[0, 0.0], [CLAMP_H, 1.0]];",
    );
    let rule = rule(&(text + "\nfn strength(age_h, joint) { table(DWELL, age_h) }"));
    assert_eq!(rule.strength(0.375, &JOINT), Ok(Some(0.5)));
}

#[test]
fn whole_numbers_do_wherever_decimal_ones_do() {
    rule(&with("fn rate(air) { table([[0, 0], [20, 1], [60, 5]], air.temp_c) * q10(20, 20, 2) * vpd_ratio(20, 50, 20, 50) }")
        .replace("hours: 0.375, within: 0.001", "hours: 0, within: 1"));
    let answer = rule(
        &with("fn milestones(joint) { [#{ stage: \"clamp_off\", hours: 3, spread: [1, 2], floor_h: 1 }] }")
            .replace("hours: 0.375, within: 0.001", "hours: 1.5, within: 0"),
    )
    .application(BENCH, &JOINT);
    assert!(answer.is_ok_and(|a| a.milestones[0].safe_h == 6.0));
}

/// What `material()` says is counted with for years: days that overflow a calendar, or hours below nothing, are none.
#[test]
fn a_material_that_cannot_be_is_told_with_its_number() {
    let good = GOOD[2];
    for (more, said) in [
        ("storage_days: 1.0e300", "storage_days is"),
        ("storage_days: -5", "storage_days is -5"),
        ("working_life_min: 0", "working_life_min is 0"),
        (
            r#"limits: [#{ name: "frost", below_temp_c: 0, until_h: 1.0e300, says: "no" }]"#,
            "until_h of limit \"frost\" is",
        ),
        (
            r#"limits: [#{ name: "frost", below_temp_c: 900, until_h: 1, says: "no" }]"#,
            "below_temp_c of limit \"frost\" is 900",
        ),
        (
            r#"limits: [#{ name: "damp", above_rh_pct: 650, until_h: 1, says: "no" }]"#,
            "above_rh_pct of limit \"damp\" is 650",
        ),
        (r#"limits: [#{ name: "damp", above_rh_pct: 65, until_h: 1, says: "a\tb\u0007" }]"#, "control characters"),
    ] {
        let fault = fault(&with(&good.replace("cautions: []", &format!("cautions: [], {more}"))));
        assert!(fault.what.contains(said), "{more}: {fault}");
    }
    let reference = fault(&with(&good.replace("temp_c: REF_C", "temp_c: 70")));
    assert!(reference.what.contains("reference.temp_c is 70"), "{reference}");
    for name in ["", " ", "two\\u0000"] {
        let nameless = fault(&with(&good.replace("test glue", name)));
        assert!(nameless.what.contains("name of a material"), "{name}: {nameless}");
    }
}
