//! "What if I take this job by Friday?": the bench planned with one job more, what that does to the others, and the date
//! that can be promised.

use std::sync::Arc;

use chrono::{DateTime, Utc};
use clock::Job;
use facts::{InstrumentId, JobOpened, Step};
use serde::Deserialize;

use super::{
    Cannot, Standing, beside,
    chance::{self, Ends},
    standing::LONGER,
};
use crate::{
    compose::new_id,
    now::instant,
    problem::{Kind, Problem},
    schedules::schedules,
    state::State,
};

/// A job that is only thought of.
#[derive(Debug, Clone, Default, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct AskedJob {
    pub(crate) title: Option<String>,
    /// If it is here already; its place is where it is done then.
    pub(crate) instrument: Option<InstrumentId>,
    /// Its steps by a finish schedule.
    pub(crate) schedule: Option<String>,
    /// Its steps, or what comes before those of the schedule.
    #[serde(default)]
    #[schema(value_type = Vec<crate::twins::Step>)]
    pub(crate) steps: Vec<Step>,
    pub(crate) weight: Option<u32>,
}

/// What is asked: nothing but a new plan, or what one job more would do.
#[derive(Debug, Clone, Default, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = AskedOfPlan)]
pub(crate) struct Asked {
    pub(crate) job: Option<AskedJob>,
    /// By when it is wanted; as soon as can be if not said.
    pub(crate) due_at: Option<DateTime<Utc>>,
}

/// What one job more would do.
pub(crate) struct WhatIf {
    /// When the job is done in the plan made with it.
    pub(crate) done_ms: Option<i64>,
    /// Share of samples in which it is done by the day it is wanted, 0 to 1.
    pub(crate) chance_by_due: Option<f64>,
    /// Chances, and the date that holds with each.
    pub(crate) promise: Vec<(f64, Option<i64>)>,
    /// Jobs that would be done later than without it.
    pub(crate) later: Vec<Later>,
    /// What cannot be kept with it and could without.
    pub(crate) cannot: Vec<Cannot>,
    /// What had to be taken for granted of it.
    pub(crate) assumed: Vec<String>,
    pub(crate) samples: usize,
    /// The plan with it.
    pub(crate) with: Standing,
}

/// A job that would be done later.
pub(crate) struct Later {
    pub(crate) job: String,
    pub(crate) title: String,
    pub(crate) done_ms: i64,
    pub(crate) later_min: i64,
    pub(crate) late_min: i64,
}

/// How the chance is come by.
pub(crate) const HOW: &str = "The bench is planned anew for each sample, with every cure drawn between its earliest and its safe time \
    (read as the 5, 50 and 95 % points) and every piece of work between 0.8 and 1.6 times its minutes. The plan itself waits for \
    each cure as the settings say, by default for every safe time, and many cures in a row are seldom all that slow: so a date \
    may be likely that lies before the plan's own. Common practice, no source; new customers, illness and work done twice are \
    not in it.";

/// Chances a date is named for.
const CHANCES: [f64; 3] = [0.5, 0.8, 0.95];
/// A job done later by no more than this is not said to be later, minutes.
const NOTICED_MIN: i64 = 10;

impl State {
    /// Plans with one job more; nothing of it is kept.
    ///
    /// # Errors
    /// When the job could not be opened like this.
    pub(crate) async fn what_if(
        self: &Arc<Self>,
        asked: AskedJob,
        due_at: Option<DateTime<Utc>>,
    ) -> Result<WhatIf, Problem> {
        let job = self.thought_of(asked, due_at)?;
        let state = self.clone();
        beside(move || {
            let certainty = state.settings.plan.certainty;
            let without = state.stood(state.draft(None, certainty), &state.plan_wall.places(), LONGER, &|| false)?;
            let mut with = state.stood(state.draft(Some(&job), certainty), &without.places(), LONGER, &|| false)?;
            let place = with.draft.jobs.iter().position(|line| line.id.as_ref() == Some(&job.opened.id));
            if let Some(place) = place.filter(|_| due_at.is_none()) {
                with.without_due(place);
            }
            // Of a job that is not planned whole nobody knows when it is done.
            let whole = place.filter(|place| with.done_ms(*place).is_some());
            let ends = whole.map(|place| chance::ends(&with.draft, place));
            Ok(answered(&without, with, place, ends.as_ref(), due_at))
        })
        .await
    }

    fn thought_of(&self, asked: AskedJob, due_at: Option<DateTime<Utc>>) -> Result<Job, Problem> {
        let mut steps = asked.steps;
        let mut title = asked.title;
        if let Some(name) = asked.schedule {
            let all = schedules(&self.settings.scripts.folder)?;
            let (_, schedule) = all
                .into_iter()
                .find(|(known, _)| *known == name)
                .ok_or_else(|| crate::compose::unknown("schedule", &name, "schedules"))?;
            steps.extend(schedule.unfolded());
            title = title.or(Some(schedule.name));
        }
        if steps.is_empty() {
            let mend = "send its steps, or a schedule that GET /api/v1/schedules lists";
            return Err(Problem::new(Kind::Invalid, "the job has no steps", mend).about("steps"));
        }
        let weight = asked.weight.unwrap_or(1);
        facts::within("weight", f64::from(weight), 1.0, 100.0, "", "leave it out for 1")?;
        let bench = self.bench();
        bench.admit_steps(&steps)?;
        if let Some(id) = asked.instrument.as_ref().filter(|id| !bench.instruments().contains_key(*id)) {
            return Err(crate::compose::unknown("instrument", id.as_str(), "instruments"));
        }
        let opened = JobOpened {
            id: new_id('o'),
            instrument: asked.instrument.unwrap_or_else(|| new_id('i')),
            title: title.unwrap_or_else(|| "the job asked about".into()),
            // As soon as can be is as if it were due now.
            due_at: Some(due_at.unwrap_or_else(|| instant(self.now().ms()))),
            weight,
            steps,
        };
        Ok(Job::new(opened, self.now().ms()))
    }
}

fn answered(
    without: &Standing,
    with: Standing,
    place: Option<usize>,
    ends: Option<&Ends>,
    due_at: Option<DateTime<Utc>>,
) -> WhatIf {
    let before = without.jobs_done_ms();
    let later = with.draft.jobs.iter().enumerate().filter_map(|(i, line)| {
        let (id, done_ms) = (line.id.as_ref()?.to_string(), with.done_ms(i)?);
        let later_min = (done_ms - before.get(&id)?) / 60_000;
        let due_ms = with.draft.problem.jobs[i].due_min.map(super::hours::ms);
        let late_min = due_ms.map_or(0, |due| (done_ms - due).max(0) / 60_000);
        let later = || Later { job: id, title: line.title.clone(), done_ms, later_min, late_min };
        (later_min > NOTICED_MIN).then(later)
    });
    let is_new = |one: &&Cannot| {
        let same = |known: &Cannot| (&known.kind, &known.job.id, &known.title) == (&one.kind, &one.job.id, &one.title);
        !without.cannot.iter().any(same)
    };
    let cannot = with.cannot.iter().filter(is_new).cloned().collect();
    let assumed = with.draft.assumed.difference(&without.draft.assumed).cloned().collect();
    let chance = |due: DateTime<Utc>| ends.map(|ends| ends.chance_by(due.timestamp_millis()));
    WhatIf {
        done_ms: place.and_then(|place| with.done_ms(place)),
        chance_by_due: due_at.and_then(chance),
        promise: CHANCES.map(|chance| (chance, ends.and_then(|ends| ends.date_ms(chance)))).into(),
        later: later.collect(),
        cannot,
        assumed,
        samples: ends.map_or(0, |ends| ends.samples),
        with,
    }
}
