//! A message of a broker is a reading, or is refused with a sentence.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|input: &[u8]| {
    bench::thrown::message(input);
});
