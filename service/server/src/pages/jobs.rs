//! The jobs of the shop, and opening one: from a procedure whose steps may be changed before, or from nothing.

use actix_web::{HttpResponse, ResponseError, web};
use askama::Template;
use facts::{Fact, InstrumentAdded, InstrumentId, JobId, JobOpened, JointAdded, JointId, Step, StepId, StepKind};
use serde::Deserialize;

use super::{
    form::{Fields, new_key},
    frame::{Frame, see_other, show},
};
use crate::{
    compose::new_id,
    now::instant,
    problem::{Kind, Problem},
    procedures::{self, Planned, Procedure},
    routes::{Answer, Shop, id_of},
    state::State,
    wall,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/jobs").route(web::get().to(list)).route(web::post().to(open)))
        .service(web::resource("/jobs/new").route(web::get().to(new)));
}

struct JobLine {
    id: String,
    title: String,
    instrument: String,
    due: String,
    state: String,
}

#[derive(Template)]
#[template(path = "jobs.html")]
struct JobsPage {
    frame: Frame,
    open: Vec<JobLine>,
    closed: Vec<JobLine>,
}

/// Most closed jobs listed.
const CLOSED_SHOWN: usize = 50;

async fn list(shop: Shop) -> Answer {
    let bench = shop.bench();
    let line = |job: &clock::Job| {
        let next = bench.steps(job).into_iter().find(|(_, state, _)| *state != clock::StepState::Done);
        JobLine {
            id: job.opened.id.to_string(),
            title: job.opened.title.clone(),
            instrument: instrument_name(&bench, &job.opened.instrument),
            due: job.opened.due_at.map_or_else(String::new, |due| shop.day_text(due.timestamp_millis())),
            state: match next {
                Some((step, clock::StepState::Curing, _)) => format!("cures: {}", step.title),
                Some((step, ..)) => format!("next: {}", step.title),
                None => "every step is done".into(),
            },
        }
    };
    let mut open: Vec<&clock::Job> = bench.jobs().values().filter(|job| !job.closed).collect();
    open.sort_by_key(|job| (job.opened.due_at.is_none(), job.opened.due_at));
    let mut closed: Vec<&clock::Job> = bench.jobs().values().filter(|job| job.closed).collect();
    closed.sort_by_key(|job| std::cmp::Reverse(job.opened_ms));
    let page = JobsPage {
        frame: shop.frame("/jobs"),
        open: open.into_iter().map(line).collect(),
        closed: closed.into_iter().take(CLOSED_SHOWN).map(line).collect(),
    };
    show(&page, HttpResponse::Ok())
}

pub(super) fn instrument_name(bench: &clock::Bench, id: &InstrumentId) -> String {
    bench.instruments().get(id).map_or_else(|| id.to_string(), |instrument| instrument.name.clone())
}

#[derive(Template)]
#[template(path = "job_new.html")]
struct NewJobPage {
    frame: Frame,
    key: String,
    wrong: String,
    procedures: Vec<Procedure>,
    faults: Vec<String>,
    chosen: Option<Procedure>,
    title: String,
    instruments: Vec<(String, String, bool)>,
    new_instrument: String,
    due: String,
    steps: Vec<StepField>,
}

/// A step as the form holds it.
struct StepField {
    n: usize,
    title: String,
    kinds: Vec<(&'static str, &'static str, bool)>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Chosen {
    procedure: Option<String>,
}

async fn new(shop: Shop, chosen: web::Query<Chosen>) -> Answer {
    let fields = Fields(chosen.procedure.iter().map(|id| ("procedure".into(), id.clone())).collect());
    show(&shop.new_job_page(&fields, String::new()), HttpResponse::Ok())
}

/// Kinds of steps: as the form sends them, and as they are said.
const KINDS: [(&str, &str, StepKind); 5] = [
    ("hands_on", "work at the bench", StepKind::HandsOn),
    ("glue_up", "glue-up", StepKind::GlueUp),
    ("coat", "coat", StepKind::Coat),
    ("wait", "wait", StepKind::Wait),
    ("check", "check", StepKind::Check),
];
/// Empty lines offered behind the steps of a procedure.
const MORE_STEPS: usize = 3;

impl State {
    fn new_job_page(&self, fields: &Fields, wrong: String) -> NewJobPage {
        let (procedures, faults) = procedures::read(&self.settings.shop.procedures);
        let chosen = fields.get("procedure").and_then(|id| procedures.iter().find(|p| p.id == id)).cloned();
        let planned = chosen.as_ref().map_or(&[][..], |procedure| &procedure.steps);
        let field = |n: usize| {
            let of_procedure = planned.get(n);
            let kind = of_procedure.map_or(StepKind::HandsOn, |step| step.kind);
            let sent = fields.0.iter().find(|(name, _)| *name == format!("step_{n}")).map(|(_, title)| title.clone());
            let sent_kind = fields.get(&format!("kind_{n}"));
            let is = |word: &str, k: StepKind| sent_kind.map_or(k == kind, |sent| sent == word);
            StepField {
                n,
                title: sent.unwrap_or_else(|| of_procedure.map_or_else(String::new, |step| step.title.clone())),
                kinds: KINDS.map(|(word, said, k)| (word, said, is(word, k))).into(),
            }
        };
        let bench = self.bench();
        let is_chosen = |id: &str| fields.get("instrument") == Some(id);
        NewJobPage {
            frame: self.frame("/jobs"),
            key: fields.get("key").map_or_else(new_key, str::to_string),
            wrong,
            title: fields
                .get("title")
                .map_or_else(|| chosen.as_ref().map_or_else(String::new, |p| p.title.clone()), str::to_string),
            instruments: bench
                .instruments()
                .values()
                .map(|instrument| {
                    (instrument.id.to_string(), instrument.name.clone(), is_chosen(instrument.id.as_str()))
                })
                .collect(),
            new_instrument: fields.get("new_instrument").unwrap_or_default().into(),
            due: fields.get("due").unwrap_or_default().into(),
            steps: (0..planned.len() + MORE_STEPS).map(field).collect(),
            procedures,
            faults,
            chosen,
        }
    }
}

async fn open(shop: Shop, fields: Fields) -> Answer {
    match opened(&shop, &fields).await {
        Ok(id) => see_other(&format!("/jobs/{id}")),
        Err(problem) => {
            let builder = HttpResponse::build(problem.status_code());
            show(&shop.new_job_page(&fields, problem.to_string()), builder)
        }
    }
}

async fn opened(shop: &Shop, fields: &Fields) -> Result<String, Problem> {
    let id: JobId = new_id('o');
    let (procedures, _) = procedures::read(&shop.settings.shop.procedures);
    let chosen = fields.get("procedure").and_then(|id| procedures.iter().find(|p| p.id == id));
    let planned = chosen.map_or(&[][..], |procedure| &procedure.steps);
    let due_at = fields.get("due").map(|day| shop.end_of_day(day)).transpose()?.map(instant);
    let title = fields.get("title").unwrap_or_default().to_string();
    let steps = steps(fields, planned)?;
    let instrument = instrument(shop, fields).await?;
    let mut with_joints = Vec::new();
    for (mut step, joint) in steps {
        if let Some(name) = joint {
            step.joint = Some(joint_named(shop, &instrument, &name).await?);
        }
        step.material = step.material.filter(|material| shop.bench().in_force().contains_key(material));
        with_joints.push(step);
    }
    let fact = Fact::JobOpened(JobOpened { id: id.clone(), instrument, title, due_at, weight: 1, steps: with_joints });
    let kept = fields.answer("/jobs", id.as_str());
    let said = shop.say_fact(fact, shop.now().ms(), "bench", kept).await?;
    Ok(id_of(&said, id.as_str()))
}

/// The steps of the form that have words, each with the name of its joint. What a step follows is that of the
/// procedure, as far as it is still there.
fn steps(fields: &Fields, planned: &[Planned]) -> Result<Vec<(Step, Option<String>)>, Problem> {
    let mut steps: Vec<(Step, Option<String>)> = Vec::new();
    for n in 0..planned.len() + MORE_STEPS {
        let Some(title) = fields.get(&format!("step_{n}")) else { continue };
        let of_procedure = planned.get(n);
        let word = fields.get(&format!("kind_{n}")).unwrap_or("hands_on");
        let kind = KINDS.iter().find(|(known, ..)| *known == word).map(|(.., kind)| *kind).ok_or_else(|| {
            Problem::new(Kind::Invalid, format!("there is no kind of step \"{word}\""), "choose one of the list")
                .about("kind")
        })?;
        let there = |id: &&StepId| steps.iter().any(|(step, _)| step.id == **id);
        let step = Step {
            id: of_procedure.map_or_else(|| StepId::new(format!("step-{}", n + 1)), |step| Ok(step.id.clone()))?,
            kind,
            title: title.into(),
            follows: of_procedure.map_or_else(Vec::new, |step| step.follows.iter().filter(there).cloned().collect()),
            joint: None,
            before_strings: false,
            lay: None,
            work: of_procedure.map(|step| step.work.clone()).unwrap_or_default(),
            material: of_procedure.filter(|step| step.kind == kind).and_then(|step| step.material.clone()),
        };
        let joint = of_procedure.filter(|_| kind == StepKind::GlueUp).and_then(|step| step.joint.clone());
        steps.push((step, joint));
    }
    Ok(steps)
}

/// The instrument chosen, or a new one of the name given; one of that name is not added again.
async fn instrument(shop: &Shop, fields: &Fields) -> Result<InstrumentId, Problem> {
    let Some(name) = fields.get("new_instrument") else {
        return fields.id("instrument")?.ok_or_else(|| {
            Problem::new(Kind::Invalid, "the instrument is missing", "choose one, or name a new one")
                .about("instrument")
        });
    };
    let known = shop.bench().instruments().values().find(|known| known.name == name).map(|known| known.id.clone());
    if let Some(known) = known {
        return Ok(known);
    }
    let added = InstrumentAdded { id: new_id('i'), name: name.into(), family: String::new() };
    let id = added.id.clone();
    shop.say_fact(Fact::InstrumentAdded(added), shop.now().ms(), "bench", None).await?;
    Ok(id)
}

/// The joint of that name of an instrument, made if it has none.
async fn joint_named(shop: &Shop, instrument: &InstrumentId, name: &str) -> Result<JointId, Problem> {
    let known = {
        let bench = shop.bench();
        let mut of_it = bench.joints().values().filter(|joint| joint.instrument == *instrument);
        of_it.find(|joint| joint.name == name).map(|joint| joint.id.clone())
    };
    if let Some(known) = known {
        return Ok(known);
    }
    let (id, instrument, name) = (new_id('j'), instrument.clone(), name.into());
    let added = JointAdded { id, instrument, name, gap_um: 100.0, porosity: facts::Porosity::default() };
    let id = added.id.clone();
    shop.say_fact(Fact::JointAdded(added), shop.now().ms(), "bench", None).await?;
    Ok(id)
}

impl State {
    /// When the shop closes on a day of its calendar, or six in the evening of one on which it is closed, ms.
    pub(super) fn end_of_day(&self, day: &str) -> Result<i64, Problem> {
        let wrong = || Problem::new(Kind::Invalid, format!("\"{day}\" is no day"), "write 2026-03-31").about("due");
        let date = chrono::NaiveDate::parse_from_str(day, "%Y-%m-%d").map_err(|_| wrong())?;
        let closes_min = self.day(date).hours.spans_min().last().map_or(18 * 60, |(_, to)| *to);
        let midnight = date.and_time(chrono::NaiveTime::MIN);
        Ok(wall::first_ms(self.zone, midnight + chrono::TimeDelta::minutes(i64::from(closes_min))))
    }
}
