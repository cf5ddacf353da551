//! A mix in the calendar: an interval from when it was stirred to when it may first gel, with an alarm ahead of its end.

use clock::{Bench, Mix};

use super::{Event, KEPT_MS, floor, uid};
use crate::{alerts::words::ESTIMATE, state::State};

/// The working life of a mix; none where it never gels in this air, or did long ago.
pub(super) fn event(state: &State, bench: &Bench, mix: &Mix, now_ms: i64) -> Option<Event> {
    let from_ms = floor(mix.at_ms);
    let gels_ms = bench.gels(mix, now_ms).earliest_ms?;
    let until_ms = floor(gels_ms).max(from_ms);
    (until_ms > now_ms - KEPT_MS).then(|| Event {
        uid: uid(state, &format!("mix-{}.working_life", mix.made.id)),
        from_ms,
        until_ms,
        window: true,
        summary: format!("Working life: {}, mix {}", mix.made.material, mix.made.id),
        description: format!("{} {ESTIMATE}", mix.made.life.next).trim().into(),
        rings: false,
        created_ms: mix.at_ms,
        kinds: &["mix"],
    })
}
