//! Scripts that mean harm: none runs on, grows, reaches out or takes the service down.

use std::process::Command;

use super::*;

/// Runs `body` inside `rate` and holds what is said of it against `said`, with line 4 as its place, or the function
/// where the engine knows no line.
fn refused(attacks: &[(&str, &str, &str)]) {
    for (attack, body, said) in attacks {
        let fault = fault(&with(&format!("fn rate(air) {{ {body} }}")));
        assert!(fault.what.contains(said), "{attack}: {fault}");
        assert!(fault.line == 4 || fault.what.starts_with("in fn rate: "), "{attack}: {fault}");
    }
}

#[test]
fn what_does_not_end_is_ended() {
    refused(&[
        ("endless loop", "loop {}", "Too many operations"),
        ("while", "while true { let x = 1; } 1.0", "Too many operations"),
        ("call loop", "loop { q10(20, 20, 2); }", "Too many operations"),
        ("try-catch loop", "loop { try { loop {} } catch { } }", "Too many operations"),
        ("sort in a loop", "let a = []; a.pad(500, 1); loop { a.sort(); }", ""),
        ("search in a loop", "let a = []; a.pad(500, 1); loop { a.index_of(2); }", ""),
        ("range", "let x = 0; for i in 0..9223372036854775807 { x = i; } 1.0", "Too many operations"),
    ]);
}

/// Each call within its own limits, and thousands of them: the time for judging a rule holds them together.
#[test]
fn a_rule_slow_in_every_air_is_refused_in_bounded_time() {
    // Each turn is one operation that copies a whole text: slow on any machine, and far from the limit of one call.
    let slow = with(
        r#"fn rate(air) { let t = ""; t.pad(2000, "a"); for i in 0..4000 { t.to_upper(); } q10(air.temp_c, 20, 2) * (air.rh_pct / air.rh_pct) }"#,
    );
    let slow = fault(&slow);
    let ended = ["took more than 5 s", "Script terminated"];
    assert!(ended.iter().any(|said| slow.what.contains(said)), "{slow}");
}

#[test]
fn what_calls_itself_is_stopped() {
    refused(&[
        ("recursion", "rate(air)", "Stack overflow"),
        ("by two", "other(air) } fn other(air) { rate(air)", "Stack overflow"),
        ("by a closure", "let f = |f| f.call(f); f.call(f)", "Stack overflow"),
    ]);
}

#[test]
fn what_grows_is_held() {
    refused(&[
        ("string doubling", r#"let s = "a"; loop { s += s; }"#, "Length of string too large"),
        ("string pad", r#"let s = "a"; s.pad(2000000000, "x"); 1.0"#, "Length of string too large"),
        ("array doubling", "let a = [1]; loop { a += a; }", "Size of array"),
        ("array pad", "let a = []; a.pad(200000000, 0); 1.0", "Size of array"),
        ("array push", "let a = []; loop { a.push(1); }", "Size of array"),
        ("nested arrays", "let a = [1]; loop { a = [a, a]; }", "Size of array"),
        ("map by index", r#"let m = #{}; let i = 0; loop { m["k" + i] = i; i += 1; }"#, "computed index"),
        ("maps in an array", "let a = []; loop { a.push(#{ a: a }); }", "Size of object map too large"),
        (
            "replace bomb",
            r#"let s = "a"; s.pad(4000, "a"); let t = s; t.replace("a", s); t.replace("a", s); 1.0"#,
            "Length of string too large",
        ),
        ("split", r#"let s = "a"; s.pad(2000, "a"); s.split("").len() * 1.0"#, "Size of array"),
    ]);
}

#[test]
fn sources_made_to_choke_the_parser_are_refused() {
    let nested =
        |open: &str, close: &str, n: usize| format!("fn rate(air) {{ {}1{} }}", open.repeat(n), close.repeat(n));
    for (open, close) in [("(", ")"), ("[", "]"), ("#{a:", "}"), ("{", "}"), ("-", ""), ("!", "")] {
        // 200 000 deep is refused by its size, and what fits into the size by its depth.
        let huge = fault(&with(&nested(open, close, 200_000)));
        assert!(huge.what.contains("at most 32768"), "{open}: {huge}");
        let deep = fault(&with(&nested(open, close, 4_000)));
        assert_eq!(deep.line, 4, "{open}: {deep}");
    }
    let sum = fault(&with(&format!("fn rate(air) {{ 1{} }}", "+1".repeat(10_000))));
    assert_eq!(sum.line, 4, "{sum}");
    let huge = fault(&"// a comment is text too\n".repeat(200_000));
    assert!(huge.what.contains("at most 32768"), "{huge}");
}

/// A switch of 4 MB would take the parser minutes, which nothing stops: the size of a source bounds it.
#[test]
fn the_largest_switch_that_is_read_compiles() {
    let cases: String = (0..3600).map(|n| format!("{n}=>1,")).collect();
    let text = with(&format!("fn rate(air) {{ switch 1 {{ {cases} _ => 1 }} }}\nfn checks(air, joint) {{ [] }}"));
    assert!((24 * 1024..32 * 1024).contains(&text.len()), "{} bytes", text.len());
    // Its rate does not depend on the air, so its expected row fails; what counts is that it came to be judged.
    assert!(fault(&text).what.contains("expected row 1"), "{}", fault(&text));
}

#[test]
fn too_many_functions_and_variables_are_refused() {
    let functions: String = (0..100).map(|n| format!("fn f{n}() {{ 1 }}\n")).collect();
    assert!(fault(&with(&functions)).what.contains("functions"), "{}", fault(&with(&functions)));
    let variables: String = (0..200).map(|n| format!("let v{n} = 1; ")).collect();
    let text = with(&format!("fn rate(air) {{ {variables} 1 }}"));
    assert!(fault(&text).what.contains("variables"), "{}", fault(&text));
}

#[test]
fn nothing_outside_is_reachable() {
    refused(&[
        ("sleep", "sleep(1); 1.0", "sleep"),
        ("sleep of a decimal", "sleep(0.5); 1.0", "sleep"),
        ("clock", "timestamp().elapsed", "timestamp"),
        ("eval", r#"eval("1.0")"#, "eval"),
        ("import", r#"import "/etc/passwd" as p; 1.0"#, "import"),
        ("random", "rand()", "rand"),
        ("file", r#"open_file("/etc/passwd"); 1.0"#, "open_file"),
        ("blob", "blob(500000000); 1.0", "blob"),
        ("function by name", r#"Fn("sleep").call(1); 1.0"#, "sleep"),
        ("variable of the engine", "global::CLAMP_H", "global::CLAMP_H"),
    ]);
    let exported = with("export const X = 1;");
    assert!(fault(&exported).what.contains("export"), "{}", fault(&exported));
}

/// What was put in place of the engine's own gives what the language says of it.
#[test]
fn ranges_and_functions_over_arrays_do_what_the_language_says() {
    let body = r#"
        let sum = 0;
        for i in 0..4 { sum += i; }
        for i in 0..=4 { sum += i; }
        let squares = [1, 2, 3].map(|x| x * x);
        let placed = [5, 5].map(|x, i| x + i);
        let pairs = [1, 2].zip([10, 20], |x, y| x + y);
        if sum == 16 && squares == [1, 4, 9] && placed == [5, 6] && pairs == [11, 22] && 3 in 0..4 && 4 !in 0..4 && 4 in 0..=4 {
            return q10(air.temp_c, 20, 2);
        }
        0.0"#;
    rule(&with(&format!("fn rate(air) {{ {body} }}")));
}

/// What is thrown may be long; what is said of it is not.
#[test]
fn what_a_script_throws_is_cut_to_a_line() {
    let long = fault(&with(&format!("fn rate(air) {{ throw [#{{ {}: 1 }}]; }}", "k".repeat(12_000))));
    assert!(long.what.len() < 500 && long.what.ends_with(" ..."), "{long}");
}

/// What one rule leaves behind no other finds: a call begins with its arguments and constants alone.
#[test]
fn a_script_keeps_nothing_between_calls() {
    let text = format!("let calls = 0;\n{}", with("fn rate(air) { calls += 1; 1.0 }"));
    assert!(fault(&text).what.contains("calls"), "{}", fault(&text));
}

const SPOKEN: &str = "spoken by a script";

/// `print` is a word of the language that cannot be taken away; here it says nothing. This test is run a second time,
/// as a program of its own whose output is read.
#[test]
fn print_writes_nothing() {
    const AS_CHILD: &str = "RULE_HOST_PRINTS";
    if std::env::var_os(AS_CHILD).is_some() {
        let rate = format!(r#"fn rate(air) {{ print("{SPOKEN}"); debug("{SPOKEN}"); q10(air.temp_c, 20, 2) }}"#);
        rule(&with(&rate));
        return;
    }
    let child = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "rule_host::sandbox::print_writes_nothing", "--nocapture"])
        .env(AS_CHILD, "1")
        .output()
        .unwrap();
    let written = String::from_utf8_lossy(&[child.stdout, child.stderr].concat()).into_owned();
    assert!(written.contains("1 passed"), "{written}");
    assert!(!written.contains(SPOKEN), "{written}");
}

/// Versions of the standard library that notice an order which is none panic in `sort`.
#[test]
fn a_sort_by_an_order_that_is_none_does_not_take_the_service_down() {
    let body =
        "let a = []; for i in 0..60 { a.push((i * 7919) % 61); } a.sort(|x, y| if (x + y) % 3 == 0 { 1 } else { -1 });";
    let text = with(&format!("fn rate(air) {{ {body} q10(air.temp_c, 20, 2) }}"));
    // Refused or not, it came back, and the host still serves.
    let _ = Rule::check(&HOST, FILE, &text);
    rule(&GOOD.join("\n"));
}

#[test]
fn arithmetic_that_overflows_is_an_ordinary_fault() {
    refused(&[
        ("addition", "9223372036854775807 + air.temp_c.to_int() * 0 + 1", "overflow"),
        ("multiplication", "let x = 9223372036854775807; x * x", "overflow"),
        ("division by zero", "let x = 0; 1 / x", "zero"),
        ("remainder by zero", "let x = 0; 1 % x", "zero"),
        ("power", "let x = 2; x ** 1000000", "overflow"),
        ("negation", "let x = -9223372036854775807 - 1; -x", "overflow"),
        ("absolute value", "let x = -9223372036854775807 - 1; abs(x)", "overflow"),
        ("float to int", "(1.0e300).to_int()", "overflow"),
        ("index", "let a = [1]; a[9]", "index"),
        ("index of the smallest", "let a = [1]; a[-9223372036854775807 - 1]", "index"),
    ]);
}
