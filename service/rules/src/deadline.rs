//! What the script call under way on this thread may use: operations, and a deadline for scripts whose single operations are
//! slow. Operations are counted here because the engine's own count is lost where a function of its own calls back into the
//! script: what `map` over a `map` does would be counted for the last of them alone, and its clock hardly be looked at.

use std::{
    cell::Cell,
    time::{Duration, Instant},
};

thread_local! {
    static ENDS: Cell<Option<Instant>> = const { Cell::new(None) };
    static OPERATIONS: Cell<u64> = const { Cell::new(0) };
}

/// Operations between two looks at the clock.
const LOOK_EVERY: u64 = 256;

#[expect(clippy::disallowed_methods, reason = "monotonic time bounds a computation here; it never dates a fact")]
fn monotonic_now() -> Instant {
    Instant::now()
}

/// Runs `call` with a deadline that [`passed`] reports. Within another deadline the nearer of the two holds, so that
/// many short calls cannot outlast the one around them; operations are counted for each by itself.
pub(crate) fn within<T>(limit: Duration, call: impl FnOnce() -> T) -> T {
    let ends = monotonic_now() + limit;
    let outer = ENDS.replace(Some(ENDS.get().map_or(ends, |outer| outer.min(ends))));
    let counted = OPERATIONS.replace(0);
    let result = call();
    OPERATIONS.set(counted);
    ENDS.set(outer);
    result
}

/// Counts one operation of the call under way: whether that is more than `most`, or it is past its deadline. A call past it
/// stays past it with every further operation: a sort goes on when the comparison it asks for is ended.
pub(crate) fn spent(most: u64) -> bool {
    let counted = OPERATIONS.get().saturating_add(1);
    let ended = counted > most || (counted.is_multiple_of(LOOK_EVERY) && passed());
    OPERATIONS.set(if ended { u64::MAX } else { counted });
    ended
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
