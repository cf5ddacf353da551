//! The alarm task: what is due becomes an alert, committed together with its deliveries.
//!
//! It sleeps until the next alarm but never longer than five seconds without looking at the wall clock again,
//! because the runtime's timers stand still while the machine sleeps.

use std::{sync::Arc, time::Duration};

use clock::Due;
use facts::{AlertId, AlertKind, AlertRaised, CureId, Fact};
use futures_util::future::join_all;
use tokio_util::sync::CancellationToken;

use crate::{
    alerts::{
        shop::{self, Telling},
        taken_back, tell, unwritten,
        words::{self, Words},
    },
    problem::Problem,
    state::State,
};

/// Longest the task sleeps without looking at the wall clock.
const LONGEST_SLEEP: Duration = Duration::from_secs(5);
/// Clocks whose next alarm is looked up in one go, and how long others are let at the bench after it.
const LOOKED_UP: usize = 64;
const LET_IN: Duration = Duration::from_millis(1);
/// Alerts committed in one go.
const AT_ONCE: usize = 256;

/// Tells everything that is due. Returns how many alerts were told.
///
/// # Errors
/// When the store failed; what was not told is still due.
pub(crate) async fn step(state: &Arc<State>) -> Result<usize, Problem> {
    if state.doubt().is_some() {
        return Ok(0);
    }
    let mut told = 0;
    loop {
        // Where every zone changed, as with a new forecast, looking all of them up at once would hold everybody up.
        while state.shared.bench_mut().look_up(LOOKED_UP) {
            tokio::time::sleep(LET_IN).await;
        }
        let now_ms = state.now().ms();
        let due = state.shared.bench_mut().due(now_ms, AT_ONCE);
        if due.is_empty() {
            shop::tell_set_aside(state).await?;
            return Ok(told);
        }
        told += due.len();
        let tellings: Vec<_> = due.iter().filter_map(|due| telling(state, due, now_ms)).collect();
        tell_all(state, shop::worded(state, tellings).await).await?;
    }
}

/// Says tellings, each with its deliveries, then the steps that follow from them.
async fn tell_all(state: &Arc<State>, tellings: Vec<Telling>) -> Result<(), Problem> {
    let now_ms = state.now().ms();
    let mut steps = Vec::new();
    let (mut sayings, mut planned) = (Vec::new(), Vec::new());
    for telling in tellings {
        if let Fact::AlertRetracted { alert, because } = telling.fact {
            taken_back::take_back(state, alert, because).await?;
            continue;
        }
        let about = telling.about.as_ref();
        let deliveries = about.map_or_else(Vec::new, |raised| tell::plan(state, raised, telling.to.as_deref(), now_ms));
        planned.push(deliveries.clone());
        sayings.push(state.saying(telling.fact, now_ms, "clock", deliveries, None));
        steps.extend(telling.steps);
    }
    // All at once: the writer commits together what waits together.
    let said = join_all(sayings.into_iter().map(|saying| state.say(saying))).await;
    let unsaid = said.iter().zip(planned).filter(|(said, _)| said.as_ref().is_err_and(unwritten::of_the_disk));
    unwritten::tell(state, unsaid.flat_map(|(_, planned)| planned).collect(), now_ms).await;
    said.into_iter().collect::<Result<Vec<_>, _>>()?;
    shop::add_steps(state, steps).await;
    Ok(())
}

fn telling(state: &State, due: &Due, now_ms: i64) -> Option<Telling> {
    Some(match due {
        Due::Reached { cure, milestone, alert, due_ms, late } => {
            let bench = state.bench();
            let words = words::of_milestone(state, &bench, bench.cure(cure.as_str())?, *milestone);
            state
                .shared
                .meters
                .note(|| metrics::histogram!(crate::meters::LATENESS).record((now_ms - due_ms) as f64 / 1000.0));
            said(words, (alert, AlertKind::Milestone, Some(cure)), *due_ms, *late)
        }
        Due::Gelling { mix, alert, due_ms, late } => {
            let bench = state.bench();
            let words = words::of_mix(state, &bench, bench.mixes().get(mix)?);
            said(words, (alert, AlertKind::Mix, None), *due_ms, *late)
        }
        Due::Again { alert } => {
            let raised = state.bench().alerts().get(alert).map(|alert| AlertRaised::clone(&alert.raised));
            Telling::again(Fact::AlertRepeated { alert: alert.clone() }, raised)
        }
        Due::Untrue { alert, now_due_ms } => Telling::silent(Fact::AlertRetracted {
            alert: alert.clone(),
            because: match now_due_ms {
                Some(ms) => {
                    format!("by the readings and the clock as they are now it is expected at {}", state.rfc3339(*ms))
                }
                None => "by the readings as they are now it is not expected at all".into(),
            },
        }),
    })
}

/// What is due in its words: which alert, of what kind, about which cure.
fn said(words: Words, (id, kind, cure): (&AlertId, AlertKind, Option<&CureId>), due_ms: i64, late: bool) -> Telling {
    let raised = AlertRaised {
        id: id.clone(),
        alert_kind: kind,
        cure: cure.cloned(),
        instrument: None,
        stage: words.stage,
        due_at: crate::now::instant(due_ms),
        late,
        title: words.title,
        body: words.body,
    };
    Telling::new(raised, words.kept)
}

/// Says an alert that is no milestone's, together with its deliveries; `kept` follows its body whatever a script words.
///
/// # Errors
/// When the store failed; nothing was told.
pub(crate) async fn tell(state: &Arc<State>, raised: AlertRaised, kept: &str) -> Result<(), Problem> {
    let worded = shop::worded(state, vec![Telling::new(raised, kept.into())]).await;
    tell_all(state, worded).await
}

/// Runs steps until told to stop.
pub(crate) async fn run(state: Arc<State>, stop: CancellationToken) {
    loop {
        let stepped = if state.others.on_duty() { step(&state).await.map(Some) } else { Ok(None) };
        let sleep = match stepped {
            // Another instance tells; the duty rings when it comes here.
            Ok(None) => LONGEST_SLEEP,
            Ok(Some(_)) => {
                let wake_ms = state.shared.bench_mut().next_wake();
                let left_ms = wake_ms.map_or(i64::MAX, |ms| (ms - state.now().ms()).max(0));
                Duration::from_millis(left_ms as u64).min(LONGEST_SLEEP)
            }
            Err(problem) => {
                tracing::error!(%problem, "alerts could not be told; trying again");
                Duration::from_secs(1)
            }
        };
        // By this liveness and the system's watchdog know that alarms are looked at.
        state.alarm_looks.note();
        tokio::select! {
            () = stop.cancelled() => return,
            () = state.shared.alarms.notified() => {}
            () = tokio::time::sleep(sleep) => {}
        }
    }
}
