//! Fuzz of the host: shipped and hostile scripts cut, doubled, swapped and spliced into one another. Whatever comes of it is a
//! rule or a fault that says how to mend it; nothing panics, hangs, or leaves the host unable to serve. The same check
//! stands in `tests/fuzz` (`scripts`) for a coverage-guided fuzzer.

use std::{path::Path, sync::LazyLock};

use proptest::prelude::*;

use super::*;

/// Every script there is to begin with.
static SEEDS: LazyLock<Vec<Vec<char>>> = LazyLock::new(|| {
    let of = |folder: &Path| -> Vec<Vec<char>> {
        let paths =
            std::fs::read_dir(folder).expect("a folder of scripts").map(|entry| entry.expect("an entry").path());
        paths.map(|path| std::fs::read_to_string(path).expect("text").chars().collect()).collect()
    };
    let (shipped, hostile) = (bench::root().join("scripts/materials"), bench::root().join("tests/hostile/scripts"));
    let mut seeds = [of(&shipped), of(&hostile)].concat();
    seeds.sort();
    seeds
});

/// One change of a text: where and how much as shares of it.
#[derive(Debug, Clone)]
enum Change {
    Cut(f64, f64),
    Double(f64, f64),
    Swap(f64, f64),
    Put(f64, &'static str),
    Splice(f64, usize, f64, f64),
}

const WORDS: [&str; 24] = [
    "(",
    ")",
    "{",
    "}",
    "[",
    "]",
    "#{",
    "\"",
    "`",
    "${",
    "/*",
    "*/",
    "//",
    "=>",
    "|",
    "..",
    "loop ",
    "fn ",
    "const ",
    "air",
    "0",
    "1e308",
    "-9223372036854775808",
    "\u{0}",
];

fn change() -> impl Strategy<Value = Change> {
    let share = || 0.0..1.0_f64;
    let short = || 0.0..0.05_f64;
    prop_oneof![
        (share(), short()).prop_map(|(at, of)| Change::Cut(at, of)),
        (share(), short()).prop_map(|(at, of)| Change::Double(at, of)),
        (share(), share()).prop_map(|(a, b)| Change::Swap(a, b)),
        (share(), prop::sample::select(WORDS.to_vec())).prop_map(|(at, word)| Change::Put(at, word)),
        (share(), any::<prop::sample::Index>(), share(), short()).prop_map(|(at, seed, from, of)| Change::Splice(
            at,
            seed.index(SEEDS.len()),
            from,
            of
        )),
    ]
}

fn changed(mut text: Vec<char>, changes: &[Change]) -> String {
    for change in changes {
        let place = |share: f64, of: usize| ((share * of as f64) as usize).min(of);
        let n = text.len();
        match *change {
            Change::Cut(at, of) => drop(text.drain(place(at, n)..place(at + of, n))),
            Change::Double(at, of) => {
                let part = text[place(at, n)..place(at + of, n)].to_vec();
                text.splice(place(at, n)..place(at, n), part);
            }
            Change::Swap(a, b) if n > 0 => text.swap(place(a, n - 1), place(b, n - 1)),
            Change::Swap(..) => {}
            Change::Put(at, word) => drop(text.splice(place(at, n)..place(at, n), word.chars())),
            Change::Splice(at, seed, from, of) => {
                let other = &SEEDS[seed];
                let part = other[place(from, other.len())..place(from + of, other.len())].to_vec();
                text.splice(place(at, n)..place(at, n), part);
            }
        }
    }
    text.into_iter().collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 400, max_shrink_iters: 200, failure_persistence: None, ..Default::default() })]

    #[test]
    fn a_mutant_is_a_rule_or_a_fault(seed in any::<prop::sample::Index>(), changes in prop::collection::vec(change(), 1..8)) {
        let text = changed(SEEDS[seed.index(SEEDS.len())].clone(), &changes);
        if let Err(fault) = Rule::check(&HOST, FILE, &text) {
            prop_assert!(!fault.what.is_empty() && !fault.mend.is_empty(), "{fault:?}");
            prop_assert!(fault.line <= text.lines().count() + 1, "{fault:?}");
        }
        let mut at = 0;
        for span in rules::spans(&text) {
            prop_assert!(at <= span.from && span.from < span.to, "{span:?} after {at}");
            at = span.to;
        }
        prop_assert!(at <= text.chars().count());
    }
}
