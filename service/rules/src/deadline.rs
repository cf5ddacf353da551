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

/// Runs `call` with a deadline that [`passed`] reports.
pub(crate) fn within<T>(limit: Duration, call: impl FnOnce() -> T) -> T {
    ENDS.set(Some(monotonic_now() + limit));
    let result = call();
    ENDS.set(None);
    result
}

/// Whether the call under way on this thread is past its deadline.
pub(crate) fn passed() -> bool {
    ENDS.get().is_some_and(|ends| monotonic_now() >= ends)
}
