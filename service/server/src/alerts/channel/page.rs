//! The page: every alert is on the board and in the event stream; this channel counts as reached when somebody follows it.

use super::Failure;
use crate::state::State;

/// Reached while a page is open. Otherwise the next channel takes over at once.
pub(super) fn send(state: &State) -> Result<(), Failure> {
    match state.shared.news.receiver_count() {
        0 => Err(Failure::forever("nobody has the page open")),
        _ => Ok(()),
    }
}
