//! "What if I take this job by then?", asked with a form: a procedure or a finish schedule, and a day.

use std::sync::Arc;

use facts::Step;

use crate::{
    now::instant,
    plan::{AskedJob, HOW, WhatIf, length, said},
    problem::{Kind, Problem},
    procedures::{self, Procedure},
    schedules::schedules,
    state::State,
};

/// The form and what was answered.
pub(super) struct Asking {
    /// Value, words, whether it is chosen.
    pub(super) choices: Vec<(String, String, bool)>,
    pub(super) by: String,
    pub(super) wrong: String,
    pub(super) answer: Option<Answered>,
}

impl Asking {
    /// Whether nothing was asked: a page with an answer is not fetched again, which would work it out anew.
    pub(super) fn is_blank(&self) -> bool {
        self.answer.is_none() && self.wrong.is_empty()
    }
}

/// What is said of a job that somebody thinks of taking.
pub(super) struct Answered {
    pub(super) says: String,
    /// Dates to promise: the chance, and the day.
    pub(super) promise: Vec<(String, String)>,
    pub(super) later: Vec<String>,
    /// What could not be kept with it, and how to mend it.
    pub(super) cannot: Vec<(String, &'static str)>,
    pub(super) assumed: Vec<String>,
    /// How many samples the chances are counted in.
    pub(super) samples: usize,
    pub(super) how: &'static str,
}

/// Steps of a procedure that are ready to be planned; joints are made when a job is opened.
fn steps_of(state: &State, procedure: &Procedure) -> Vec<Step> {
    let bench = state.bench();
    let step = |planned: &procedures::Planned| Step {
        id: planned.id.clone(),
        kind: planned.kind,
        title: planned.title.clone(),
        follows: planned.follows.clone(),
        joint: None,
        material: planned.material.clone().filter(|material| bench.in_force().contains_key(material)),
        before_strings: false,
        lay: None,
        work: planned.work.clone(),
    };
    procedure.steps.iter().map(step).collect()
}

impl State {
    /// The form, with its answer if a job was chosen.
    ///
    /// # Errors
    /// When the plan cannot be made; what was filled in wrongly stands in the form.
    pub(super) async fn asking(self: &Arc<Self>, job: &str, by: &str) -> Result<Asking, Problem> {
        let (procedures, _) = procedures::read(&self.settings.shop.procedures);
        let schedules = schedules(&self.settings.scripts.folder).unwrap_or_default();
        let choice = |value: String, text: String| {
            let is = value == job;
            (value, text, is)
        };
        let of_procedures = procedures.iter().map(|p| choice(format!("procedure:{}", p.id), p.title.clone()));
        let of_schedules =
            schedules.iter().map(|(id, s)| choice(format!("schedule:{id}"), format!("Finish: {}", s.name)));
        let choices = of_procedures.chain(of_schedules).collect();
        let mut asking = Asking { choices, by: by.into(), wrong: String::new(), answer: None };
        if job.is_empty() {
            return Ok(asking);
        }
        let asked = match job.split_once(':') {
            Some(("schedule", id)) => Ok(AskedJob { schedule: Some(id.into()), ..AskedJob::default() }),
            Some(("procedure", id)) => procedures
                .iter()
                .find(|p| p.id == id)
                .map(|p| AskedJob { title: Some(p.title.clone()), steps: steps_of(self, p), ..AskedJob::default() })
                .ok_or_else(|| Problem::not_found("procedure", id)),
            _ => Err(Problem::new(Kind::Invalid, format!("there is no job \"{job}\""), "choose one of the list")),
        };
        let due_ms = if by.is_empty() { Ok(None) } else { self.end_of_day(by).map(Some) };
        let answered = match (asked, due_ms) {
            (Ok(asked), Ok(due_ms)) => self.what_if(asked, due_ms.map(instant)).await,
            (Err(problem), _) | (_, Err(problem)) => Err(problem),
        };
        match answered {
            Ok(answer) => asking.answer = Some(self.answer_card(&answer)),
            Err(problem) if problem.kind == Kind::Internal => return Err(problem),
            Err(problem) => asking.wrong = problem.to_string(),
        }
        Ok(asking)
    }

    fn answer_card(&self, answer: &WhatIf) -> Answered {
        let now_ms = self.now().ms();
        let done = answer.done_ms.map(|at_ms| self.clock_text(at_ms, now_ms));
        let says = match (done, answer.chance_by_due) {
            (None, _) => "It cannot be planned whole, so no date can be named.".into(),
            (Some(done), None) => format!("Planned to be done {done}."),
            (Some(done), Some(chance)) => {
                format!("Planned to be done {done}. In time with a chance of {:.0} %.", chance * 100.0)
            }
        };
        let promise = answer.promise.iter().filter(|_| answer.done_ms.is_some()).map(|(chance, by_ms)| {
            let day = by_ms.map_or_else(|| "no date".into(), |at_ms| self.clock_text(at_ms, now_ms));
            (format!("{:.0} %", chance * 100.0), day)
        });
        let cannot = answer.cannot.iter().map(said).map(|(_, says, mend)| (says, mend));
        let later = answer.later.iter().map(|later| {
            let late = if later.late_min > 0 { ", and late" } else { "" };
            format!("{} later by {}{late}", later.title, length(later.later_min))
        });
        Answered {
            says,
            promise: promise.collect(),
            later: later.collect(),
            cannot: cannot.collect(),
            assumed: answer.assumed.clone(),
            samples: answer.samples,
            how: HOW,
        }
    }
}
