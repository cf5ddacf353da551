//! The rule host: that a script, however it is written, can only ever give values back or be refused with the file,
//! the place and the reason. Attacks are in `sandbox`, mistakes in `faults`, and what is remembered in `versions`.

mod faults;
mod mutants;
mod sampled;
mod sandbox;
mod sheets;
mod versions;
mod words;

use std::sync::{Arc, LazyLock};

use clock::Air;
use facts::{JointState, Porosity};
use rules::{Fault, Host, Rule};

static HOST: LazyLock<Arc<Host>> = LazyLock::new(|| Arc::new(Host::new()));

const FILE: &str = "materials/test.rhai";
const BENCH: Air = Air { temp_c: 20.0, rh_pct: 50.0 };
const JOINT: JointState = JointState { gap_um: 100.0, film_um: 0.0, porosity: Porosity::Normal };

/// A rule that keeps the contract, one line per part so that a test can replace one. `rate` is line 4.
const GOOD: [&str; 6] = [
    "const CLAMP_H = 0.75;",
    "const REF_C = 20;",
    r#"fn material() { #{ name: "test glue", kind: "adhesive", reference: #{ temp_c: REF_C, rh_pct: 50 }, cautions: [], sources: [] } }"#,
    "fn rate(air) { q10(air.temp_c, REF_C, 2) }",
    r#"fn milestones(joint) { [#{ stage: "clamp_off", hours: CLAMP_H }] }"#,
    r#"fn expected() { [#{ temp_c: 30, rh_pct: 50, stage: "clamp_off", hours: 0.375, within: 0.001, source: "by hand" }] }"#,
];

/// The good rule with the line that begins like `line` replaced by it; a line that begins like none is added.
fn with(line: &str) -> String {
    let start = |line: &str| line.split(['(', '=']).next().unwrap_or_default().to_owned();
    let mut lines = GOOD.map(str::to_owned).to_vec();
    match lines.iter_mut().find(|good| start(good) == start(line)) {
        Some(good) => *good = line.into(),
        None => lines.push(line.into()),
    }
    lines.join("\n")
}

/// The fault of a text that must not come in force.
fn fault(text: &str) -> Fault {
    match Rule::check(&HOST, FILE, text) {
        Err(fault) => {
            assert_eq!(fault.file, FILE, "{fault:?}");
            assert!(!fault.mend.is_empty(), "{fault:?}");
            fault
        }
        Ok(_) => panic!("this should have been refused:\n{}", text.get(..2000).unwrap_or(text)),
    }
}

fn rule(text: &str) -> Rule {
    Rule::check(&HOST, FILE, text).unwrap_or_else(|fault| panic!("{fault}\n  mend: {}", fault.mend))
}

#[test]
fn the_good_rule_is_good() {
    assert_eq!(rule(&GOOD.join("\n")).sheet.name, "test glue");
}
