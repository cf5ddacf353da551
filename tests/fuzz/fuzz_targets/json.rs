//! A body for an address is taken, or is a whole problem; the service never fails.
#![no_main]

mod furnished;

use furnished::BENCH;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|input: &[u8]| {
    let (runtime, bench) = &*BENCH;
    runtime.block_on(bench::thrown::body(bench, input, "application/json"));
});
