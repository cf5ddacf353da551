//! The service over HTTP, as its callers meet it: the main job from end to end, every list, what is told and when, and
//! that nothing is said twice.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

mod alerts;
pub(crate) mod events;
mod hooks;
mod lists;
mod once;
mod readings;
mod recurring;
mod rules;
mod tasks;
mod walk;
pub(crate) mod webhooks;
mod workshop;

use serde_json::Value;

/// The instant of a field, ms.
#[track_caller]
pub(crate) fn at_ms(value: &Value) -> i64 {
    bench::ms(value.as_str().unwrap_or_else(|| panic!("{value} is no time")))
}

/// One field of each item, as text.
fn each<'a>(items: &'a [Value], field: &str) -> Vec<&'a str> {
    items.iter().map(|item| item[field].as_str().unwrap_or_default()).collect()
}
