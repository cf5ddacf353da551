//! A deadline for the script call under way on this thread. The operation limit bounds most scripts; this bounds
//! those whose single operations are slow.

use std::{
    cell::Cell,
    time::{Duration, Instant},
};

thread_local! {
    static ENDS: Cell<Option<Instant>> = const { Cell::new(None) };
}

#[expect(clippy::disallowed_methods, reason = "monotonic time bounds a computation here; it never dates a fact")]
fn monotonic_now() -> Instant {
    Instant::now()
}

/// Runs `call` with a deadline that [`passed`] reports. Within another deadline the nearer of the two holds, so that
/// many short calls cannot outlast the one around them.
pub(crate) fn within<T>(limit: Duration, call: impl FnOnce() -> T) -> T {
    let ends = monotonic_now() + limit;
    let outer = ENDS.replace(Some(ENDS.get().map_or(ends, |outer| outer.min(ends))));
    let result = call();
    ENDS.set(outer);
    result
}

/// Runs `call` and says how long it took.
pub(crate) fn timed<T>(call: impl FnOnce() -> T) -> (T, Duration) {
    let began = monotonic_now();
    let result = call();
    (result, monotonic_now() - began)
}

/// Whether the call under way on this thread is past its deadline.
pub(crate) fn passed() -> bool {
    ENDS.get().is_some_and(|ends| monotonic_now() >= ends)
}
