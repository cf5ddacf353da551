//! What the shop's own scripts make of alerts: other words, a step to do next, who is told. They run beside the alarm
//! task under a deadline; whatever goes wrong with them, the alert is told in the service's own words to everybody.

use std::{sync::Arc, time::Duration};

use chrono::{Datelike, Timelike};
use facts::{AlertId, AlertKind, AlertRaised, Fact, JobId, Step, StepId};
use rules::{AlertSeen, AskedStep, HookTally};
use sha2::{Digest, Sha256};

use crate::{
    alerts::{alarm, tell, words},
    now::instant,
    problem::Problem,
    state::State,
};

/// Longest all scripts together may take over one batch of alerts. Each call has a nearer deadline of its own; this one is
/// for a call the interpreter does not come back from.
pub(crate) const PATIENCE: Duration = Duration::from_secs(5);
/// Hooks that are asked about alerts.
const OF_ALERTS: [&str; 3] = ["word_alert", "next_step", "tell"];

/// An alert on its way to be told.
#[derive(Debug, Clone)]
pub(crate) struct Telling {
    /// What is to be committed.
    pub(crate) fact: Fact,
    /// The alert it is about; none where nobody is told anything.
    pub(crate) about: Option<AlertRaised>,
    /// Cautions said behind the body whatever a script words.
    pub(crate) kept: String,
    /// Receivers chosen; none for everybody.
    pub(crate) to: Option<Vec<String>>,
    /// A step to add to a job behind the step the cure belongs to.
    pub(crate) steps: Vec<(JobId, Step)>,
}

impl Telling {
    /// A fact nobody hears of.
    pub(crate) fn silent(fact: Fact) -> Self {
        Self { fact, about: None, kept: String::new(), to: None, steps: vec![] }
    }

    /// An alert told anew; `kept` follows its body.
    pub(crate) fn new(raised: AlertRaised, kept: String) -> Self {
        let fact = Fact::AlertRaised(Box::new(raised.clone()));
        Self { about: Some(raised), kept, ..Self::silent(fact) }
    }

    /// An alert told again in the words it had.
    pub(crate) fn again(fact: Fact, about: Option<AlertRaised>) -> Self {
        Self { about, ..Self::silent(fact) }
    }

    /// Puts the words together that are told and kept.
    fn sealed(mut self) -> Self {
        if let (Fact::AlertRaised(raised), Some(about)) = (&mut self.fact, &mut self.about) {
            about.body = format!("{} {}", about.body.trim_end(), self.kept).trim().into();
            **raised = about.clone();
        }
        self
    }
}

/// What the shop's scripts make of these. Without scripts they are what they were.
pub(crate) async fn worded(state: &Arc<State>, tellings: Vec<Telling>) -> Vec<Telling> {
    let asked = OF_ALERTS.iter().any(|hook| state.hooks.any(hook));
    let spoken = |telling: &Telling| telling.about.as_ref().is_some_and(|a| a.alert_kind != AlertKind::HookSetAside);
    if !asked || !tellings.iter().any(spoken) {
        return tellings.into_iter().map(Telling::sealed).collect();
    }
    let (with, untouched) = (state.clone(), tellings.clone());
    let asking = tokio::task::spawn_blocking(move || {
        let over = |telling| if spoken(&telling) { with_hooks(&with, telling) } else { telling };
        tellings.into_iter().map(over).collect::<Vec<_>>()
    });
    let worded = match tokio::time::timeout(PATIENCE, asking).await {
        Ok(Ok(worded)) => worded,
        _ => {
            tracing::error!("shop scripts did not come back; they are set aside");
            state.hooks.set_all_aside(&OF_ALERTS, "its calls over one batch of alerts took more than 5 s");
            untouched
        }
    };
    worded.into_iter().map(Telling::sealed).collect()
}

fn with_hooks(state: &State, mut telling: Telling) -> Telling {
    let Some(mut about) = telling.about.take() else { return telling };
    let (mut seen, own_step) = seen(state, &about);
    // An alert that is told again keeps the words it was told in; only who hears of it is asked anew.
    if matches!(telling.fact, Fact::AlertRaised(_)) {
        (about.title, about.body) = state.hooks.word_alert(&seen);
        seen.title.clone_from(&about.title);
        seen.body.clone_from(&about.body);
        for asked in state.hooks.next_steps(&seen) {
            about.body =
                format!("{} Next, as this shop does: {}.", about.body.trim_end(), asked.title.trim_end_matches('.'));
            if let Ok(job) = JobId::new(seen.job.clone()) {
                telling.steps.push((job, step(&about.id, &asked, own_step.clone())));
            }
        }
    }
    telling.to = state.hooks.receivers(&seen, &tell::receivers(&state.settings));
    telling.about = Some(about);
    telling
}

/// The step a script asks for, under an id that is the same when the alert is told again.
fn step(alert: &AlertId, asked: &AskedStep, follows: Option<StepId>) -> Step {
    let hash = Sha256::digest(format!("{alert}\n{}\n{}", asked.file, asked.title).as_bytes());
    let hex: String = hash.iter().take(6).map(|byte| format!("{byte:02x}")).collect();
    Step {
        id: StepId::new(format!("added-{hex}")).expect("a word and hex digits make an id"),
        kind: asked.kind,
        title: asked.title.trim().into(),
        follows: follows.into_iter().collect(),
        joint: None,
        material: None,
        before_strings: false,
        lay: None,
        work: facts::Work::default(),
    }
}

/// An alert as a script sees it, and the step of its cure.
fn seen(state: &State, raised: &AlertRaised) -> (AlertSeen, Option<StepId>) {
    let bench = state.bench();
    let cure = raised.cure.as_ref().and_then(|cure| bench.cure(cure.as_str()));
    let of = |text: Option<&str>| text.unwrap_or_default().to_string();
    let named = raised.instrument.as_ref().and_then(|id| bench.instruments().get(id));
    let of_instrument = || of(named.map(|instrument| instrument.name.as_str()));
    let local = instant(state.now().ms()).with_timezone(&state.zone);
    let kind = serde_json::to_value(raised.alert_kind).ok();
    let seen = AlertSeen {
        kind: of(kind.as_ref().and_then(serde_json::Value::as_str)),
        title: raised.title.clone(),
        body: raised.body.clone(),
        stage: raised.stage.clone(),
        cure: of(raised.cure.as_ref().map(|cure| cure.as_str())),
        material: of(cure.map(|cure| cure.begun.material.as_str())),
        instrument: of(cure.map(|cure| &cure.begun.instrument).or(raised.instrument.as_ref()).map(|id| id.as_str())),
        job: of(cure.and_then(|cure| cure.begun.job.as_ref()).map(|job| job.as_str())),
        place: cure.map_or_else(of_instrument, |cure| words::place(&bench, cure)),
        late: raised.late,
        hour: i64::from(local.hour()),
        weekday: local.weekday().to_string().to_lowercase(),
    };
    (seen, cure.and_then(|cure| cure.begun.step.clone()))
}

/// Adds the steps scripts asked for, after their alert is on disk. A job closed meanwhile takes none.
pub(crate) async fn add_steps(state: &Arc<State>, steps: Vec<(JobId, Step)>) {
    for (job, step) in steps {
        let fact = Fact::StepAdded { job, step };
        if let Err(problem) = state.say_fact(fact, state.now().ms(), "shop script", None).await {
            tracing::warn!(%problem, "a step a shop script asked for was not added");
        }
    }
}

/// Tells of every hook that was set aside and has not been told of. Its alert is named for the text that failed.
///
/// # Errors
/// When the store failed; what was not told is told next time.
pub(crate) async fn tell_set_aside(state: &Arc<State>) -> Result<(), Problem> {
    for tally in state.hooks.tallies().into_iter().filter(|tally| tally.set_aside) {
        let stem = tally.file.trim_start_matches("shop/").trim_end_matches(".rhai");
        let Ok(id) = AlertId::new(format!("hook:{stem}:{}:{}", tally.hook, tally.version)) else { continue };
        if !state.bench().alerts().contains_key(&id) {
            alarm::tell(state, set_aside(state, id, &tally), "").await?;
        }
    }
    Ok(())
}

fn set_aside(state: &State, id: AlertId, tally: &HookTally) -> AlertRaised {
    let why = tally.last_fault.as_ref().map_or_else(String::new, |fault| format!(" {fault}. {}.", fault.mend));
    AlertRaised {
        id,
        alert_kind: AlertKind::HookSetAside,
        cure: None,
        instrument: None,
        stage: String::new(),
        due_at: instant(state.now().ms()),
        late: false,
        title: format!("Shop script set aside: {} of {}", tally.hook, tally.file),
        body: format!(
            "It failed {} times, at last {} in a row, and is not asked any more until its file changes; alerts are told in \
             their usual words to everybody.{why} GET /api/v1/hooks and the page /hooks show every hook.",
            tally.failures, tally.in_a_row
        ),
    }
}
