//! The page: every alert is on the board and in the event stream; this channel counts as reached when somebody follows it.
//! A stream says nothing back, so nobody knows that it was read. A machine that is gone counts until the system closes its
//! connection, a heartbeat and `server.slow_reader_seconds` later; a browser that stands still on a machine that goes on, for as
//! long as that machine has room for what comes. What closes goes on to the next channel until somebody acknowledges it.

use super::Failure;
use crate::state::State;

/// Reached while a page is open. Otherwise the next channel takes over at once.
pub(super) fn send(state: &State) -> Result<(), Failure> {
    match state.shared.news.receiver_count() {
        0 => Err(Failure::forever("nobody has the page open")),
        _ => Ok(()),
    }
}
