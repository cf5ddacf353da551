//! Bad input at scale: what stands in `tests/fuzz/corpus` is cut, doubled, swapped, spliced and sprinkled, by a seed that is
//! the same on every run, and thrown at every reader. How many inputs that were is printed; `BENCH_FUZZ_TIMES=100` in the
//! environment makes it a hundred times as many. The fuzzers of `tests/fuzz` go on from the same files by coverage.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

mod mutate;
mod readers;

use mutate::Seeds;

/// How many inputs of a kind are thrown.
fn times(usual: usize) -> usize {
    let more = std::env::var("BENCH_FUZZ_TIMES").map_or(1, |n| n.parse().expect("a number"));
    usual * more
}

/// Says how many were thrown at what, and that neither all nor none of them were of use.
#[expect(clippy::print_stdout, reason = "how many inputs were tried is what this is for")]
fn said(what: &str, thrown: usize, good: usize) {
    println!("{what}: {thrown} inputs, {good} of them good");
    assert!(good > 0 && good < thrown, "{what}: {good} of {thrown} are good: nothing is tried");
}
