//! Scripts run apart: on a thread with a stack of known size, and behind a catch, so that neither a deep script nor a
//! panic of the interpreter takes the service down. Beginning such a thread costs some ten microseconds.

use std::{
    cell::Cell,
    panic::{AssertUnwindSafe, catch_unwind},
    thread,
};

use crate::Fault;

/// Stack of a thread that runs scripts. The deepest script within the limits needs under a fifth of it, unoptimised.
const STACK_BYTES: usize = 8 * 1024 * 1024;

thread_local! {
    static APART: Cell<bool> = const { Cell::new(false) };
}

/// Runs `call` apart, or where it is if that is apart already.
///
/// # Errors
/// Those of `call`; a fault of the whole script when the interpreter fails or no thread can be had.
pub(crate) fn run<T: Send>(file: &str, call: impl FnOnce() -> Result<T, Fault> + Send) -> Result<T, Fault> {
    let caught = || catch_unwind(AssertUnwindSafe(call)).unwrap_or_else(|_| Err(failed(file)));
    if APART.get() {
        return caught();
    }
    thread::scope(|scope| {
        let begun = thread::Builder::new().name("script".into()).stack_size(STACK_BYTES).spawn_scoped(scope, || {
            APART.set(true);
            caught()
        });
        match begun {
            Ok(thread) => thread.join().unwrap_or_else(|_| Err(failed(file))),
            Err(e) => {
                let what = format!("no thread can be had to run the script: {e}");
                Err(Fault::whole(file, what, "the machine has no room for it; try again"))
            }
        }
    })
}

fn failed(file: &str) -> Fault {
    Fault::whole(file, "the script made the interpreter fail", "simplify the part changed last")
}
