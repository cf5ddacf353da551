//! Registering a glue-up with one clean finger: choose the planned step, look at what is proposed, press Register.

mod proposal;

use actix_web::{HttpResponse, ResponseError, web};
use askama::Template;
use clock::Bench;
use facts::{ClampId, Fact, JobId, JointAdded, JointId, StepId, StepKind};
use proposal::Proposal;
use rules::MaterialKind;
use serde::Deserialize;

use super::{
    choice::{self, Choice},
    form::{Fields, new_key},
    frame::{Frame, see_other, show},
};
use crate::{
    compose::GlueUpRequest,
    now::instant,
    problem::{Kind, Problem},
    routes::{Answer, Shop, id_of},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/glue-up").route(web::get().to(choose_or_fill)).route(web::post().to(register)));
}

/// A planned step that can be begun.
pub(super) struct PlannedStep {
    pub(super) value: String,
    pub(super) title: String,
    pub(super) job: String,
}

#[derive(Template)]
#[template(path = "glue_up_choose.html")]
struct ChoosePage {
    frame: Frame,
    steps: Vec<PlannedStep>,
}

#[derive(Template)]
#[template(path = "glue_up.html")]
struct GlueUpPage {
    frame: Frame,
    key: String,
    wrong: String,
    /// What the page is for: the step, or nothing.
    step: String,
    title: String,
    joints: Vec<Choice>,
    /// Whether a joint can be named here: only the instrument of a planned step is known.
    may_name_joint: bool,
    materials: Vec<Choice>,
    lots: Vec<Choice>,
    zones: Vec<Choice>,
    clamps: Vec<Choice>,
    started: Vec<Choice>,
    clock: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Chosen {
    /// Job and step with a blank between, or "none" for a glue-up nobody planned.
    step: Option<String>,
}

async fn choose_or_fill(shop: Shop, chosen: web::Query<Chosen>) -> Answer {
    match &chosen.step {
        None => show(&shop.choose_page(), HttpResponse::Ok()),
        Some(step) => {
            let fields = Fields(vec![("step".into(), step.clone())]);
            show(&shop.glue_up_page(&fields, String::new()), HttpResponse::Ok())
        }
    }
}

/// Job and step of a form, if it names one.
pub(super) fn step_of(fields: &Fields) -> Result<Option<(JobId, StepId)>, Problem> {
    let Some((job, step)) = fields.get("step").and_then(|both| both.split_once(' ')) else { return Ok(None) };
    Ok(Some((JobId::new(job.to_string())?, StepId::new(step.to_string())?)))
}

/// The steps of a kind that can be begun.
pub(super) fn planned_steps(bench: &Bench, kind: StepKind) -> Vec<PlannedStep> {
    let mut steps = Vec::new();
    for job in bench.jobs().values().filter(|job| !job.closed) {
        let ready = bench.steps(job).into_iter();
        let ready = ready.filter(|(step, state, _)| step.kind == kind && *state == clock::StepState::Ready);
        steps.extend(ready.map(|(step, ..)| PlannedStep {
            value: format!("{}+{}", job.opened.id, step.id),
            title: step.title.clone(),
            job: job.opened.title.clone(),
        }));
    }
    steps
}

impl State {
    fn choose_page(&self) -> ChoosePage {
        ChoosePage { frame: self.frame("/"), steps: planned_steps(&self.bench(), StepKind::GlueUp) }
    }

    /// The form: what was filled in already, and what is proposed where nothing was.
    fn glue_up_page(&self, fields: &Fields, wrong: String) -> GlueUpPage {
        let (bench, now_ms) = (self.bench(), self.now().ms());
        let planned = step_of(fields).ok().flatten();
        let planned = planned.and_then(|(job, step)| {
            let job = bench.jobs().get(&job)?;
            Some((job, job.opened.steps.iter().find(|of_job| of_job.id == step)?))
        });
        let proposal = Proposal::of(&bench, planned, now_ms);
        let again = !wrong.is_empty();
        let is = |name: &str, value: &str, proposed: Option<&str>| match again {
            true => fields.all(name).any(|sent| sent == value),
            false => proposed == Some(value),
        };
        let of_instrument =
            |joint: &&JointAdded| planned.is_none_or(|(job, _)| job.opened.instrument == joint.instrument);
        GlueUpPage {
            frame: self.frame("/"),
            key: fields.get("key").map_or_else(new_key, str::to_string),
            wrong,
            step: fields.get("step").unwrap_or("none").into(),
            title: planned.map_or_else(String::new, |(job, step)| format!("{}: {}", job.opened.title, step.title)),
            joints: bench
                .joints()
                .values()
                .filter(of_instrument)
                .map(|joint| Choice {
                    value: joint.id.to_string(),
                    text: joint_text(&bench, joint),
                    chosen: is("joint", joint.id.as_str(), proposal.joint.as_ref().map(|id| id.as_str())),
                })
                .collect(),
            may_name_joint: planned.is_some(),
            materials: self.materials(&bench, MaterialKind::Adhesive, |id| {
                is("material", id, proposal.material.as_ref().map(|m| m.as_str()))
            }),
            lots: choice::lots(&bench, |id| is("lot", id, proposal.lot.as_ref().map(|lot| lot.as_str()))),
            zones: choice::zones(&bench, |id| is("zone", id, proposal.zone.as_ref().map(|zone| zone.as_str()))),
            clamps: bench
                .clamps()
                .values()
                .filter(|clamp| clamp.is_free())
                .map(|clamp| Choice {
                    value: clamp.added.id.to_string(),
                    text: clamp.added.name.clone(),
                    chosen: match again {
                        true => is("clamp", clamp.added.id.as_str(), None),
                        false => proposal.clamps.contains(&clamp.added.id),
                    },
                })
                .collect(),
            started: choice::started(|value| is("started", value, Some("0"))),
            clock: fields.get("clock").unwrap_or_default().into(),
        }
    }
}

impl GlueUpPage {
    /// What is proposed, in one line: on a phone the button stands above the fields.
    fn sum(&self) -> String {
        let chosen = |choices: &[Choice]| -> Vec<String> {
            choices.iter().filter(|choice| choice.chosen).map(|choice| choice.text.clone()).collect()
        };
        let one = [&self.joints, &self.materials, &self.zones].map(|choices| chosen(choices).concat());
        let words: Vec<String> = one.into_iter().chain([chosen(&self.clamps).join(", ")]).collect();
        words.into_iter().filter(|words| !words.is_empty()).collect::<Vec<_>>().join(" · ")
    }
}

fn joint_text(bench: &Bench, joint: &JointAdded) -> String {
    let instrument = bench.instruments().get(&joint.instrument).map_or(joint.instrument.as_str(), |i| &i.name);
    format!("{} of {instrument}", joint.name)
}

/// Fields as the form sends them; clamps come once for each that is ticked.
async fn register(shop: Shop, fields: Fields) -> Answer {
    match registered(&shop, &fields).await {
        Ok(id) => see_other(&format!("/cures/{id}")),
        Err(problem) => {
            let builder = HttpResponse::build(problem.status_code());
            show(&shop.glue_up_page(&fields, problem.to_string()), builder)
        }
    }
}

async fn registered(shop: &Shop, fields: &Fields) -> Result<String, Problem> {
    let planned = step_of(fields)?;
    let joint = match fields.get("new_joint") {
        Some(name) => Some(new_joint(shop, fields, planned.as_ref(), name).await?),
        None => fields.id("joint")?,
    };
    let (job, step) = planned.unzip();
    let clamps = fields.all("clamp").map(|id| Ok(ClampId::new(id.to_string())?));
    let zone = fields.id("zone")?.ok_or_else(|| {
        Problem::new(Kind::Invalid, "the zone is missing", "say where it lies; a new zone is added on the page Climate")
            .about("zone")
    })?;
    let begun = shop.glue_up(GlueUpRequest {
        id: None,
        joint,
        job,
        step,
        material: fields.id("material")?,
        lot: fields.id("lot")?,
        used: None,
        mix: None,
        zone,
        clamps: clamps.collect::<Result<_, Problem>>()?,
        started_at: Some(instant(fields.started_ms(shop)?)),
        minutes_ago: None,
        gap_um: None,
        porosity: None,
        surface_temp_c: None,
    })?;
    let (id, at_ms) = (begun.id.to_string(), begun.started_at.timestamp_millis());
    let kept = fields.answer("/glue-up", &id);
    let said = shop.say_fact(Fact::CureBegun(begun.into()), at_ms, "bench", kept).await?;
    Ok(id_of(&said, &id))
}

/// A joint that has no name yet. Its id follows from the form's key, so that a form sent twice names one joint.
async fn new_joint(
    shop: &Shop,
    fields: &Fields,
    planned: Option<&(JobId, StepId)>,
    name: &str,
) -> Result<JointId, Problem> {
    let instrument = {
        let bench = shop.bench();
        planned.and_then(|(job, _)| bench.jobs().get(job)).map(|job| job.opened.instrument.clone())
    };
    let instrument = instrument.ok_or_else(|| {
        Problem::new(Kind::Invalid, "a new joint needs a planned step", "choose a joint, or begin from a job")
            .about("new_joint")
    })?;
    let key = fields.get("key").unwrap_or_default().replace(|c: char| !c.is_ascii_alphanumeric(), "");
    let id = JointId::new(format!("j-{}", &key.to_ascii_lowercase()[..key.len().min(40)]))?;
    if !shop.bench().joints().contains_key(&id) {
        let added = JointAdded {
            id: id.clone(),
            instrument,
            name: name.into(),
            gap_um: 100.0,
            porosity: facts::Porosity::default(),
        };
        shop.say_fact(Fact::JointAdded(added), shop.now().ms(), "bench", None).await?;
    }
    Ok(id)
}
