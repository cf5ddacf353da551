//! Alerts of stringing up: each stage is told once when it may be done, with what else to look at. Worked out anew each
//! minute; a stage told that turns out not to be so any more is taken back, and told again when it is.

use std::{ops::Bound, sync::Arc};

use chrono::NaiveDate;
use clock::{Alert, AlertState, StageDue, StringUp};
use facts::{AlertId, AlertKind, AlertRaised, InstrumentId, Stage};

use crate::{
    alerts::{alarm, taken_back, words::ESTIMATE},
    now::instant,
    problem::Problem,
    state::State,
    string_up::CAUTIONS,
};

/// A stage told is taken back only when it turns out to lie this far ahead: the difference between the outlook and the
/// reading that replaced it must not ring twice.
const UNTRUE_MS: i64 = 10 * 60_000;
/// How long after it came true a stage counts as told late, ms: it is looked at every minute.
const LATE_MS: i64 = 10 * 60_000;

/// Tells every stage that may be done and has not been told.
///
/// # Errors
/// When the store failed; what was not told is looked at again.
pub(crate) async fn step(state: &Arc<State>) -> Result<(), Problem> {
    let instruments: Vec<InstrumentId> = {
        let bench = state.bench();
        let done =
            |id: &&InstrumentId| bench.strung(id.as_str()).is_some_and(|s| s.stages.contains_key(&Stage::Rechecked));
        bench.to_be_strung().filter(|id| !done(id)).cloned().collect()
    };
    for instrument in instruments {
        let Some(up) = state.string_up(&instrument).await? else { continue };
        let Some(next) = up.next_stage() else { continue };
        let name = name_of(&up, next.stage);
        let told = told(state, &name);
        let standing = told.iter().find(|(_, state)| *state != AlertState::Retracted).map(|(id, _)| id.clone());
        match (standing, up.may_be_done(&next)) {
            (None, true) => {
                let id = if told.is_empty() { name } else { format!("{name}.{}", told.len() + 1) };
                let kept = format!("{} {ESTIMATE}", CAUTIONS[0]);
                alarm::tell(state, alert(state, &up, &next, &id), &kept).await?;
            }
            (Some(alert), false) if is_untrue(&up, &next) => {
                let because = state.said_of(&up);
                taken_back::take_back(state, alert, because).await?;
            }
            _ => {}
        }
    }
    Ok(())
}

/// The next stage of each instrument that is to be strung, where its time comes on this day: lines for the digest.
///
/// # Errors
/// When the plates could not be run.
pub(crate) async fn of_day(state: &Arc<State>, day: NaiveDate) -> Result<Vec<String>, Problem> {
    let instruments: Vec<InstrumentId> = state.bench().to_be_strung().cloned().collect();
    let mut lines = Vec::new();
    for instrument in instruments {
        let Some(up) = state.string_up(&instrument).await? else { continue };
        let Some((next, due_ms)) = up.next_stage().and_then(|next| Some((next, next.due_ms?))) else { continue };
        let at = instant(due_ms).with_timezone(&state.zone);
        if at.date_naive() == day {
            let name = state.bench().instruments().get(&up.instrument).map_or_else(String::new, |i| i.name.clone());
            let first: Vec<&str> = up.work().map(|item| item.name.as_str()).collect();
            let first =
                if first.is_empty() { String::new() } else { format!(", when this is done: {}", first.join(", ")) };
            lines.push(format!("{}: {}, {name}{first}", at.format("%H:%M"), words_of(next.stage).0.to_lowercase()));
        }
    }
    Ok(lines)
}

/// A stage by the instrument and by when its strings were said: for ever the same.
pub(crate) fn name_of(up: &StringUp, stage: Stage) -> String {
    format!("string-up-{}-{}-{}", up.instrument, up.strung.at_ms / 1000, stage.word())
}

/// A stage as a person says it, and what is to be done.
pub(crate) fn words_of(stage: Stage) -> (&'static str, &'static str) {
    match stage {
        Stage::HalfTension => {
            ("Half tension", "Bring the strings to half tension, six semitones below pitch, and leave it.")
        }
        Stage::FullPitch => ("Full pitch", "Bring it to pitch slowly, and measure relief and action."),
        Stage::Rechecked => ("Look again", "A day at pitch: measure relief and action again, look at every joint."),
    }
}

fn is_untrue(up: &StringUp, next: &StageDue) -> bool {
    up.work().next().is_some() || next.due_ms.is_none_or(|due_ms| due_ms > up.now_ms + UNTRUE_MS)
}

/// Every alert that told this stage, and what became of it.
fn told(state: &State, name: &str) -> Vec<(AlertId, AlertState)> {
    let bench = state.bench();
    let of_stage = |alert: &&Alert| alert.raised.id.as_str().starts_with(name);
    let from = bench.alerts().range::<str, _>((Bound::Included(name), Bound::Unbounded));
    from.map(|(_, alert)| alert).take_while(of_stage).map(|alert| (alert.raised.id.clone(), alert.state)).collect()
}

fn alert(state: &State, up: &StringUp, next: &StageDue, id: &str) -> AlertRaised {
    let name = state.bench().instruments().get(&up.instrument).map_or_else(String::new, |i| i.name.clone());
    let due_ms = next.due_ms.unwrap_or(up.now_ms);
    let (title, does) = words_of(next.stage);
    let joints = up.joints.iter().filter(|joint| joint.required > 0.0);
    let asked: Vec<String> =
        joints.map(|joint| format!("{} {:.0} %", joint.joint.name, joint.required * 100.0)).collect();
    let asked = if asked.is_empty() {
        String::new()
    } else {
        format!(" Asked of full strength, margin {:.1}: {}.", up.margin, asked.join(", "))
    };
    let total_n = up.pulls.total_n();
    AlertRaised {
        id: AlertId::new(id).expect("an instrument's id, a number and a stage make an alert id"),
        alert_kind: AlertKind::StringUp,
        cure: None,
        instrument: Some(up.instrument.clone()),
        stage: next.stage.word().into(),
        due_at: instant(due_ms),
        late: up.now_ms - due_ms.max(up.strung.at_ms) > LATE_MS,
        title: format!("{title}: {name}"),
        body: format!("{does} The strings pull {total_n:.0} N.{asked}"),
    }
}
