//! Whatever text is given: the host answers with a rule or a fault, and the words of the text are in order.
#![no_main]

use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    bench::thrown::script(text);
});
