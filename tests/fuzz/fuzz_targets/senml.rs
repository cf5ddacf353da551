//! A SenML pack is taken, or is a whole problem.
#![no_main]

mod furnished;

use furnished::BENCH;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|input: &[u8]| {
    let (runtime, bench) = &*BENCH;
    runtime.block_on(bench::thrown::readings(bench, "/api/v1/readings/senml?zone=bench", "application/senml+json", input));
});
