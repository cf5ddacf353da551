//! Stringing up in the calendar: each stage at the earliest moment at which it does no harm. Work is not waited for, so that
//! where somebody has something to do first the event says so and does not ring.

use std::sync::Arc;

use clock::{StageDue, StringUp, Strung};
use facts::{InstrumentId, Stage};

use super::{Event, KEPT_MS, MINUTE_MS, MOMENT_MS, uid};
use crate::{
    alerts::{string_up, words::ESTIMATE},
    problem::Problem,
    state::State,
    string_up::CAUTIONS,
};

/// Times of stringing up are days ahead and move with every reading: they are shown to a quarter of an hour.
const STEP_MS: i64 = 15 * MINUTE_MS;

/// Every stage of every instrument that is to be strung, or was within the last fortnight.
///
/// # Errors
/// When the plates could not be run.
pub(super) async fn events(state: &Arc<State>) -> Result<Vec<Event>, Problem> {
    let over_ms = state.now().ms() - KEPT_MS;
    let over = |strung: &Strung| strung.stages.get(&Stage::Rechecked).is_some_and(|at_ms| *at_ms < over_ms);
    let instruments: Vec<InstrumentId> = {
        let bench = state.bench();
        bench.to_be_strung().filter(|id| bench.strung(id.as_str()).is_some_and(|s| !over(s))).cloned().collect()
    };
    let mut events = Vec::new();
    for instrument in instruments {
        if let Some(up) = state.string_up(&instrument).await? {
            events.extend(up.schedule().iter().filter_map(|due| event(state, &up, due)));
        }
    }
    Ok(events)
}

fn event(state: &State, up: &StringUp, due: &StageDue) -> Option<Event> {
    let from_ms = match due.reached_ms {
        Some(reached_ms) => super::floor(reached_ms),
        None => (due.due_ms? + STEP_MS - 1).div_euclid(STEP_MS) * STEP_MS,
    };
    let name = state.bench().instruments().get(&up.instrument).map_or_else(String::new, |i| i.name.clone());
    let (title, does) = string_up::words_of(due.stage);
    let work: Vec<String> = up.work().map(|item| format!("{}: {}", item.name, item.says)).collect();
    let first = match work.as_slice() {
        [] => String::new(),
        _ if due.reached_ms.is_some() => String::new(),
        work => format!("Not before this, and only when this is done: {}.\n", work.join("; ")),
    };
    let next = up.next_stage().is_some_and(|next| next.stage == due.stage);
    Some(Event {
        uid: uid(state, &string_up::name_of(up, due.stage)),
        from_ms,
        until_ms: from_ms + MOMENT_MS,
        window: false,
        summary: format!("{title}: {name}"),
        description: format!("{does}\n{first}{}\n{ESTIMATE}", CAUTIONS[0]),
        rings: next && work.is_empty(),
        created_ms: up.strung.at_ms,
        kinds: &["string_up"],
    })
}
