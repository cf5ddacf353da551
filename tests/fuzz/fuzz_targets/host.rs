//! Whatever text is given: the host answers with a rule or a fault, and the words of the text are in order.
#![no_main]

use std::sync::{Arc, LazyLock};

use libfuzzer_sys::fuzz_target;
use rules::{Host, Rule};

static HOST: LazyLock<Arc<Host>> = LazyLock::new(|| Arc::new(Host::new()));

fuzz_target!(|text: &str| {
    let _ = Rule::check(&HOST, "fuzz", text);
    let mut at = 0;
    for span in rules::spans(text) {
        assert!(at <= span.from && span.from < span.to, "{span:?} after {at}");
        at = span.to;
    }
});
