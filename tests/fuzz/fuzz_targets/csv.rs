//! A file of rows: each row ends somewhere, or the file is a whole problem.
#![no_main]

mod furnished;

use furnished::BENCH;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|input: &[u8]| {
    let (runtime, bench) = &*BENCH;
    runtime.block_on(bench::thrown::readings(bench, "/api/v1/zones/bench/readings/csv", "text/csv", input));
});
