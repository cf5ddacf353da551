//! The law that the clock goes by is sampled from the script, many airs at a time; here it is held against the script
//! itself, asked about one air at a time.

use proptest::{prelude::*, test_runner::TestRunner};

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

/// Holds every mode's law to the script at every `stride`-th step of the table, to the last bit; at its far edges, where the
/// law is worked out between two steps, to the last digits. Where the script has no rate there is no law.
fn exact(text: &str, modes: &[&str], stride: usize) -> Result<bool, Fault> {
    let rule = Rule::compile(&HOST, FILE, text)?;
    let steps = || (0..161 * 41).map(|n| (f64::from(n / 41) * 0.5 - 20.0, f64::from(n % 41) * 2.5));
    let asked = |(temp_c, rh_pct): (f64, f64), mode| rule.rate(Air { temp_c, rh_pct: rh_pct.max(1.0) }, mode);
    for mode in modes {
        let Ok(law) = rule.law(mode) else {
            assert!(steps().any(|step| asked(step, mode).is_err()), "no law {mode} of\n{text}");
            return Ok(false);
        };
        for (temp_c, rh_pct) in steps().step_by(stride) {
            let (tabled, asked) = (law(Air { temp_c, rh_pct }), asked((temp_c, rh_pct), mode)?);
            let edge = temp_c >= 60.0 || rh_pct >= 100.0;
            let same =
                tabled.to_bits() == asked.to_bits() || edge && (tabled - asked).abs() <= 1e-9 * asked.abs().max(1.0);
            assert!(same, "{temp_c} °C, {rh_pct} %, {mode}: {tabled} and not {asked} from\n{text}");
        }
    }
    Ok(true)
}

#[test]
fn every_shipped_law_is_its_script_at_every_step() {
    let folder = std::fs::read_dir(bench::root().join("scripts/materials")).unwrap();
    let mut rules = 0;
    for path in folder.map(|entry| entry.unwrap().path()) {
        let text = std::fs::read_to_string(&path).unwrap();
        assert!(!text.contains("fn mode("), "a rule with modes: name them here");
        assert!(exact(&text, &[""], 1).unwrap(), "{}", path.display());
        rules += 1;
    }
    assert!(rules >= 20, "{rules}");
}

/// A piece of a script that gives a number, for some airs or for all.
fn expression() -> impl Strategy<Value = String> {
    let leaf = prop::sample::select(vec![
        "air.temp_c",
        "air.rh_pct",
        "air.rh_pct",
        "REF_C",
        "50.0",
        "2",
        "0.5",
        "-3",
        "damp(air)",
        "air[\"rh_pct\"]",
        "(if mode == \"damp\" { air.rh_pct } else { 1.0 })",
    ]);
    leaf.prop_map(str::to_owned).prop_recursive(4, 24, 3, |inner| {
        let operator = prop::sample::select(vec!["+", "-", "*", "/", "%", "**"]);
        let comparison = prop::sample::select(vec!["<", "<=", ">", ">=", "==", "!="]);
        let of_one = prop::sample::select(vec![
            "abs(A)",
            "-(A)",
            "sqrt(A)",
            "exp(A)",
            "ln(A)",
            "log(A)",
            "floor(A)",
            "ceiling(A)",
            "round(A)",
            "sin(A)",
            "(A).abs()",
            "(A).twice()",
            "twice(A)",
            "(A).floor",
            "(A ?? 1.0)",
            "[A][0]",
            "#{ a: A }.a",
            "emc_pct(20, 0.9 * min(max(A, 1), 100))",
            "q10(min(max(A, -20), 60), 20, 2)",
            "table([[0, 1.0], [50, 2], [100, 0.5]], A)",
            "solvent_factor(\"ethanol\", 20, min(max(A, 0), 40))",
            "{ let f = |x| x + 1; f.call(A) }",
            "{ let f = |x| switch x { 50.0 => 2.0, _ => 1.0 }; f.call(A) }",
            "switch A { 50.0 => 2.0, _ => 1.0 }",
            "switch 1 { 1 => A, _ => 1.0 }",
            "if `${A}` == \"50.0\" { 2.0 } else { 1.0 }",
            "if \"\" + A == \"50.0\" { 2.0 } else { 1.0 }",
            "if (A) == \"50.0\" { 2.0 } else { 1.0 }",
            "if (A) in 0..50 { 2.0 } else { 1.0 }",
            "if [50.0].contains(A) { 2.0 } else { 1.0 }",
            "if type_of(A) == \"f64\" { 2.0 } else { 1.0 }",
            "if is_def_fn(\"mode\", 1) { A } else { 1.0 }",
            "{ let n = 0; while n < A && n < 4 { n += 1; } n }",
            "{ let of = [A]; of.push(1.0); of.len() }",
        ]);
        let of_two = prop::sample::select(vec![
            "max(A, B)",
            "min(A, B)",
            "log(A, B)",
            "{ let x = A; x += B; x *= 2; x }",
            "{ let x = 1.5; x -= A; x }",
            "vpd_ratio(20, min(max(A, 1), 90), 20, 50) * B",
            "{ let x = A; { let x = B; } x }",
            "{ let x = 1.0; try { x = vpd_pa(20, A) } catch { x = B } x }",
        ]);
        prop_oneof![
            4 => (inner.clone(), operator, inner.clone()).prop_map(|(a, op, b)| format!("({a} {op} {b})")),
            2 => (inner.clone(), of_one).prop_map(|(a, form)| form.replace('A', &a)),
            2 => (inner.clone(), inner.clone(), of_two).prop_map(|(a, b, form)| put(form, &a, &b)),
            1 => (inner.clone(), comparison, inner.clone(), inner)
                .prop_map(|(a, than, b, c)| format!("(if {a} {than} {b} {{ {c} }} else {{ 1.5 }})")),
        ]
    })
}

/// The two places of a form filled in, so that what is filled in is not read for a place.
fn put(form: &str, a: &str, b: &str) -> String {
    form.split('A').map(|part| part.replace('B', b)).collect::<Vec<_>>().join(a)
}

/// Whatever a script does on its way to a number: asked about many airs at a time it says what it says to one.
#[test]
fn a_made_up_law_is_its_script() {
    let config = ProptestConfig { cases: 128, failure_persistence: None, ..ProptestConfig::default() };
    let laws = std::cell::Cell::new(0);
    let held = TestRunner::new(config).run(&(expression(), any::<bool>()), |(expression, typed)| {
        let of_kind = if typed { "fn f64.twice() { this * 3 }" } else { "" };
        let text = with(&format!("fn rate(air, mode) {{ min(abs({expression}) * 1.0, 1e9) }}"));
        let text = format!(
            "{text}\nfn mode(joint) {{ \"dry\" }}\nfn damp(of) {{ of.rh_pct / 50.0 }}\nfn twice(x) {{ x * 2 }}\n\
             fn twice() {{ this * 2 }}\n{of_kind}"
        );
        // A text that is no script has no law to be held to.
        laws.set(laws.get() + u32::from(exact(&text, &["dry", "damp"], 7).unwrap_or(false)));
        Ok(())
    });
    held.unwrap_or_else(|failed| panic!("{failed}"));
    assert!(laws.get() >= 40, "only {} of them have a law", laws.get());
}
