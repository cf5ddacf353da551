//! Scripts run apart: on a stack of known size, and behind a catch, so that neither a deep script nor a panic of the
//! interpreter takes the service down. The thread that asks goes on by itself on that stack, which costs a few
//! microseconds; a thread begun for each call costs ten times that, and one that waits to be asked two switches.

use std::{
    cell::Cell,
    panic::{AssertUnwindSafe, catch_unwind},
};

use crate::Fault;

/// Stack of a script. The deepest script within the limits needs under a fifth of it, unoptimised.
const STACK_BYTES: usize = 8 * 1024 * 1024;

thread_local! {
    static APART: Cell<bool> = const { Cell::new(false) };
}

/// Runs `call` apart, or where it is if that is apart already.
///
/// # Errors
/// Those of `call`; a fault of the whole script when the interpreter fails or no stack can be had.
pub(crate) fn run<T>(file: &str, call: impl FnOnce() -> Result<T, Fault>) -> Result<T, Fault> {
    let caught = || catch_unwind(AssertUnwindSafe(call)).unwrap_or_else(|_| Err(failed(file)));
    if APART.get() {
        return caught();
    }
    let on_its_stack = || {
        APART.set(true);
        let result = caught();
        APART.set(false);
        result
    };
    // What panics out of here is not the script, which is caught inside.
    catch_unwind(AssertUnwindSafe(|| stacker::grow(STACK_BYTES, on_its_stack))).unwrap_or_else(|_| {
        let what = "no stack can be had to run the script";
        Err(Fault::whole(file, what, "the machine has no room for it; try again"))
    })
}

fn failed(file: &str) -> Fault {
    Fault::whole(file, "the script made the interpreter fail", "simplify the part changed last")
}
