//! Whatever a summary is, its calendar has lines as RFC 5545 has them, and unfolds to what was written.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    let written = bench::thrown::calendar(&[text.into()]).replace("\r\n ", "");
    let summary = written.lines().find_map(|line| line.strip_prefix("SUMMARY:")).expect("a summary");
    let (mut read, mut escaped) = (String::new(), false);
    for c in summary.chars() {
        match (escaped, c) {
            (false, '\\') => escaped = true,
            (true, 'n') => (read.push('\n'), escaped = false).1,
            (_, c) => (read.push(c), escaped = false).1,
        }
    }
    let expected: String = text.chars().filter(|c| *c == '\n' || !c.is_control()).collect();
    assert_eq!(read, expected);
});
