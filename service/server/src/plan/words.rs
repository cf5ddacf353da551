//! The plan in words: why a piece stands where it stands, and what cannot be.

use planner::Why;
use serde::Serialize;

use super::{
    draft::Part,
    give_way::{Cannot, Given},
    hours::ms,
    standing::Standing,
};
use crate::{alerts::words::spoken, state::State};

/// A reason: a word for programs, a sentence for people.
#[derive(Debug, Clone, Serialize, utoipa::ToSchema)]
pub(crate) struct Reason {
    pub(crate) reason: &'static str,
    pub(crate) says: String,
}

/// Minutes as a person says them.
pub(crate) fn length(minutes: i64) -> String {
    match minutes {
        ..120 => format!("{minutes} min"),
        120..2880 => format!("{} h {:02} min", minutes / 60, minutes % 60),
        _ => format!("{} days {} h", minutes / 1440, minutes % 1440 / 60),
    }
}

impl State {
    /// Why a piece is done when it is.
    pub(crate) fn reasons(&self, standing: &Standing, piece: usize, now_ms: i64) -> Vec<Reason> {
        let title = |of: usize| standing.draft.pieces[of].title.as_str();
        let at = |minute: i64| self.clock_text(ms(minute), now_ms);
        let say = |why: &Why| {
            let (reason, says) = match why {
                Why::Begun => ("begun", "under way, by the plan".into()),
                Why::Frozen => ("frozen", "stays as it was told".into()),
                Why::Overnight { before } if standing.draft.pieces[*before].part == Part::ClampsOff => {
                    ("overnight", "clamps it overnight".into())
                }
                Why::Overnight { .. } => ("overnight", "cures overnight".into()),
                Why::WindowCloses { at_min, .. } => ("window_closes", format!("window closes {}", at(*at_min))),
                Why::After { step } => ("after", format!("as soon as \"{}\" lets it", title(*step))),
                Why::WaitsFor { resource } => {
                    ("waits_for", format!("waits for {}", standing.draft.resources[*resource]))
                }
                Why::FreshFor { step } => ("fresh_for", format!("no sooner, so that \"{}\" is in time", title(*step))),
                Why::Ready => ("ready", "ready to be begun".into()),
                Why::Stands => ("stands", "stays where it was planned".into()),
                Why::Turn => ("turn", "in its turn".into()),
                Why::Opens => ("opens", "as the shop opens".into()),
                Why::Due { at_min, late_min: 0 } => ("due", format!("no time to spare, due {}", at(*at_min))),
                Why::Due { at_min, late_min } => {
                    ("late", format!("due {}, late by {}", at(*at_min), length(*late_min)))
                }
            };
            Reason { reason, says }
        };
        standing.told[piece].why.iter().map(say).collect()
    }

    /// The same in one line for people. That a piece stays as it was told is said only where nothing else is.
    pub(crate) fn why(&self, standing: &Standing, piece: usize, now_ms: i64) -> String {
        in_a_line(self.reasons(standing, piece, now_ms))
    }

    /// The same beside a window that is shown already.
    pub(crate) fn why_besides_window(&self, standing: &Standing, piece: usize, now_ms: i64) -> String {
        let reasons = self.reasons(standing, piece, now_ms).into_iter();
        in_a_line(reasons.filter(|reason| reason.reason != "window_closes").collect())
    }
}

fn in_a_line(mut reasons: Vec<Reason>) -> String {
    if reasons.len() > 1 {
        reasons.retain(|reason| reason.reason != "frozen");
    }
    reasons.into_iter().map(|reason| reason.says).collect::<Vec<_>>().join(", ")
}

/// What cannot be, and how to mend it.
pub(crate) fn cannot(what: &Cannot) -> (&'static str, String, &'static str) {
    let step = format!("\"{}\" of \"{}\"", what.title, what.job.title);
    let by = length(what.by_min.unwrap_or(0));
    let after = what.after.as_ref().map_or_else(String::new, |after| format!(" after \"{}\"", after.title));
    match &what.kind {
        Given::Window => (
            "window",
            format!("{step} comes too late{after}: its window is missed by {by}. It is planned without it"),
            "come in for it if the shop can be opened; a coat past its window is abraded first, a prepared face freshened",
        ),
        Given::Contradiction => (
            "contradiction",
            format!("{step} waits longer than its windows allow, by {by}. It is planned without them"),
            "lengthen the window (max_wait_before_min), or plan on another certainty of the cure",
        ),
        Given::Hours => (
            "hours",
            format!("{step} finds no place in the shop's hours; what is left of the job is not planned"),
            "shorten hands_on_min, let it be split (may_split), or lengthen shop.hours",
        ),
        Given::Capacity(resource) => (
            "capacity",
            format!("{step} takes more {resource} than the shop has; what is left of the job is not planned"),
            "correct the step's work, add the clamps, or raise the count in the settings",
        ),
        Given::Taken => (
            "taken",
            format!("{step} finds no place beside what has begun; what is left of the job is not planned"),
            "say what is done or taken off already, then plan again",
        ),
        Given::Never(stage) => (
            "never",
            format!("{step} hangs on {}, which the air expected there never brings", spoken(stage)),
            "warm the zone or choose another; it is planned again as soon as the air says otherwise",
        ),
    }
}
