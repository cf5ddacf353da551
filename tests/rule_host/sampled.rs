//! The law that the clock goes by is sampled from the script; here it is held against the script itself, which every row of
//! `expected()` asks directly.

use super::*;

/// Airs on the steps of the table.
const AIRS: [(f64, f64); 5] = [(20.0, 50.0), (20.0, 30.0), (20.0, 80.0), (9.5, 47.5), (31.0, 100.0)];

/// Holds the law of a rule with this body of `rate` against the script; gives its rates in [`AIRS`].
fn held(body: &str) -> Vec<f64> {
    let row = |(temp_c, rh_pct): (f64, f64)| {
        format!(
            r#"#{{ temp_c: {temp_c:.1}, rh_pct: {rh_pct:.1}, stage: "clamp_off", hours: 1, within: 1e9, source: "the script" }}"#
        )
    };
    let rows = AIRS.map(row).join(", ");
    let text = with(&format!("fn rate(air) {{ {body} }}"));
    let text = text.lines().filter(|line| !line.starts_with("fn expected")).collect::<Vec<_>>().join("\n");
    let text = format!("{text}\nfn expected() {{ [{rows}] }}\nfn damp(of) {{ of.rh_pct / 50.0 }}");
    let (rule, rows) = Rule::judged(&HOST, FILE, &text).unwrap_or_else(|fault| panic!("{body}: {fault}"));
    let law = rule.law("").expect("a law");
    let target_h = rule.application(BENCH, &JOINT).expect("an answer").milestones[0].likely_h;
    let rates = AIRS.iter().zip(rows).map(|((temp_c, rh_pct), row)| {
        let rate = law(Air { temp_c: *temp_c, rh_pct: *rh_pct });
        let gives_h = row.gives_h.unwrap_or(f64::INFINITY);
        assert!((target_h / rate / gives_h - 1.0).abs() < 1e-12 || target_h / rate == gives_h, "{body}: {row:?}");
        rate
    });
    rates.collect()
}

#[test]
fn a_rate_that_goes_by_the_temperature_alone_is_the_script_everywhere() {
    for body in [
        "q10(air.temp_c, 20, 2)",
        "if air.temp_c < 10 { return 0.0; } arrhenius(air.temp_c, REF_C, 60)",
        "let warm = air.temp_c; abs(warm) / 20.0",
        "air.temp_c.abs() / 20.0",
        "1",
    ] {
        let rates = held(body);
        assert_eq!((rates[0], rates[0]), (rates[1], rates[2]), "{body}");
    }
}

/// However a script comes by the humidity, it is heeded.
#[test]
fn a_rate_that_heeds_the_humidity_is_the_script_everywhere() {
    for body in [
        "air.rh_pct / 50.0",
        "q10(air.temp_c, 20, 2) * air.rh_pct / 50.0",
        "damp(air)",
        "let other = air; other.rh_pct / 50.0",
        r#"air["rh_pct"] / 50.0"#,
        "air?.rh_pct / 50.0",
        "air.values()[0] / 50.0",
        "[air][0].rh_pct / 50.0",
        "#{ a: air }.a.rh_pct / 50.0",
        "let damp = 0.0; for value in air.values() { damp = value; break; } damp / 50.0",
        "switch 1 { 1 => air.rh_pct / 50.0, _ => 1.0 }",
        "switch air { _ => air.rh_pct / 50.0 }",
        "if air.temp_c > -50 && air.rh_pct > 40 { 1.0 } else { 0.5 }",
        "try { air.rh_pct / 50.0 } catch { 1.0 }",
        "let damp = 0.0; while damp < air.rh_pct { damp += 10.0; } damp / 50.0",
        "let of = |of| of.rh_pct / 50.0; of.call(air)",
        "air.temp_c = air.rh_pct; air.temp_c / 50.0",
    ] {
        let rates = held(body);
        assert_ne!(rates[0], rates[1], "{body}");
    }
}

/// The rates of many airs are asked for in one call where the script keeps the limits of one over all of them. One that
/// does not is no worse a rule.
#[test]
fn a_slow_rate_is_sampled_one_air_at_a_time() {
    let rates = held("for i in 0..500 { if i < 0 { break; } } air.rh_pct / 50.0");
    assert_eq!(rates[..3], [1.0, 0.6, 1.6]);
    let fails = "fn rate(air) { if air.rh_pct > 60 { let none = 0; 1 / none } else { q10(air.temp_c, 20, 2) } }";
    let fault = fault(&with(fails));
    assert!(fault.line == 4 && fault.what.contains("zero"), "{fault}");
}
