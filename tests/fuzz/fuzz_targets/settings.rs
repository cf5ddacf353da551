//! A settings file is one, or is refused with the key that is wrong.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|input: &[u8]| {
    bench::thrown::settings(input);
});
