//! The shapes answers have. They are built by hand from what is inside, so that neither binds the other.

use clock::{Bench, Climate, Cure, StepState};
use facts::{Finding, Meets};
use serde::Serialize;

use crate::{
    alerts::words::{self, ESTIMATE},
    routes::RecoatWire,
    state::State,
};

/// A list, with where to go on if there is more.
#[derive(Serialize)]
pub(crate) struct List<T> {
    pub(crate) items: Vec<T>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) next: Option<String>,
}

impl<T> List<T> {
    /// The whole list.
    pub(crate) fn whole(items: impl IntoIterator<Item = T>) -> Self {
        Self { items: items.into_iter().collect(), next: None }
    }
}

/// Something by id, with the name the shop gave it.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct Named {
    pub(crate) id: String,
    pub(crate) name: String,
}

/// A milestone.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct MilestoneWire {
    stage: String,
    #[schema(value_type = crate::twins::Meets)]
    meets: Meets,
    /// Reference hours of the three ages.
    target_ages_h: [f64; 3],
    #[serde(skip_serializing_if = "Option::is_none")]
    floor_h: Option<f64>,
    earliest_at: Option<String>,
    likely_at: Option<String>,
    safe_at: Option<String>,
    reached: bool,
    #[serde(skip_serializing_if = "Option::is_none")]
    told_by: Option<String>,
    next: String,
}

/// How well the air was known.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct ClimateWire {
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    since: Option<String>,
}

/// A glue-up or coat.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct CureWire {
    id: String,
    #[schema(value_type = crate::twins::CureKind)]
    kind: facts::CureKind,
    state: &'static str,
    instrument: Named,
    #[serde(skip_serializing_if = "Option::is_none")]
    joint: Option<Named>,
    #[serde(skip_serializing_if = "Option::is_none")]
    surface: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    job: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    step: Option<String>,
    material: Named,
    rule_version: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    lot: Option<String>,
    /// What was taken from the lot, as it was said when this was registered.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<crate::twins::Amount>)]
    used: Option<facts::Amount>,
    zone: String,
    started_at: String,
    age_h: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    mix: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    coat: Option<CoatWire>,
    clamps: Vec<String>,
    clamps_on: Vec<String>,
    milestones: Vec<MilestoneWire>,
    climate: ClimateWire,
    #[schema(value_type = Vec<crate::twins::Finding>)]
    findings: Vec<Finding>,
    cautions: Vec<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    next_step: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    withdrawn: Option<String>,
    estimate: &'static str,
}

/// A coat: how it was laid, and whether the next may go on.
#[derive(Serialize, utoipa::ToSchema)]
struct CoatWire {
    #[serde(flatten)]
    #[schema(value_type = crate::twins::CoatLaid)]
    laid: facts::CoatLaid,
    #[serde(skip_serializing_if = "Option::is_none")]
    covered_at: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    recoat: Option<RecoatWire>,
}

/// Where a cure stands, in a word.
pub(crate) fn state_of(cure: &Cure) -> &'static str {
    match (&cure.withdrawn, cure.covered_ms(), cure.is_open()) {
        (Some(_), ..) => "withdrawn",
        (None, Some(_), _) => "covered",
        (None, None, true) => "curing",
        (None, None, false) => "closed",
    }
}

impl State {
    /// The milestones of a cure.
    pub(crate) fn milestones_wire(&self, bench: &Bench, cure: &Cure, now_ms: i64) -> Vec<MilestoneWire> {
        let wire = |(m, milestone): (usize, clock::Milestone<'_>)| MilestoneWire {
            stage: milestone.target.stage.clone(),
            meets: milestone.target.meets,
            target_ages_h: [milestone.target.earliest_h, milestone.target.likely_h, milestone.target.safe_h],
            floor_h: (milestone.target.floor_h > 0.0).then_some(milestone.target.floor_h),
            earliest_at: milestone.earliest_ms.map(|ms| self.rfc3339(ms)),
            likely_at: milestone.likely_ms.map(|ms| self.rfc3339(ms)),
            safe_at: milestone.safe_ms.map(|ms| self.rfc3339(ms)),
            reached: milestone.reached,
            told_by: cure.told(m).map(|(alert, _)| alert.to_string()),
            next: milestone.target.next.clone(),
        };
        bench.milestones(cure, now_ms).into_iter().enumerate().map(wire).collect()
    }

    /// Everything about a cure.
    pub(crate) fn cure_wire(&self, bench: &Bench, cure: &Cure, now_ms: i64) -> CureWire {
        let begun = &cure.begun;
        let rule = self.rulebook.rule(&begun.rule_version).ok();
        let line = bench.cure_line(cure, now_ms);
        CureWire {
            id: begun.id.to_string(),
            kind: begun.cure_kind,
            state: state_of(cure),
            instrument: Named {
                id: begun.instrument.to_string(),
                name: bench.instruments().get(&begun.instrument).map_or_else(String::new, |i| i.name.clone()),
            },
            joint: begun.joint.as_ref().map(|joint| Named {
                id: joint.to_string(),
                name: bench.joints().get(joint).map_or_else(String::new, |j| j.name.clone()),
            }),
            surface: begun.surface.clone(),
            job: begun.job.as_ref().map(ToString::to_string),
            step: begun.step.as_ref().map(ToString::to_string),
            material: Named {
                id: begun.material.to_string(),
                name: rule.as_ref().map_or_else(String::new, |rule| rule.sheet.name.clone()),
            },
            rule_version: begun.rule_version.to_string(),
            lot: begun.lot.as_ref().map(ToString::to_string),
            used: begun.used,
            zone: line.zone.to_string(),
            started_at: self.rfc3339(begun.started_at.timestamp_millis()),
            age_h: bench.age_h(cure, now_ms).map(|age_h| (age_h * 1e4).round() / 1e4),
            mix: begun.mix.as_ref().map(ToString::to_string),
            coat: begun.coat.as_ref().map(|laid| CoatWire {
                laid: laid.clone(),
                covered_at: cure.covered_ms().map(|ms| self.rfc3339(ms)),
                recoat: cure.covered_ms().is_none().then(|| self.recoat_wire(bench, cure, now_ms)),
            }),
            clamps: begun.clamps.iter().map(ToString::to_string).collect(),
            clamps_on: cure.clamps_on.iter().map(ToString::to_string).collect(),
            milestones: self.milestones_wire(bench, cure, now_ms),
            climate: self.climate_wire(line.climate),
            findings: self.findings(bench, cure, now_ms),
            cautions: rule.map_or_else(Vec::new, |rule| rule.sheet.cautions.clone()),
            next_step: bench.step_after(cure).map(|step| step.title.clone()),
            withdrawn: cure.withdrawn.clone(),
            estimate: ESTIMATE,
        }
    }

    pub(crate) fn climate_wire(&self, climate: Climate) -> ClimateWire {
        match climate {
            Climate::Recorded => ClimateWire { state: "recorded", since: None },
            Climate::NoSensor => ClimateWire { state: "assumed", since: None },
            Climate::Apart(since_ms) => ClimateWire { state: "assumed", since: Some(self.rfc3339(since_ms)) },
            Climate::Gap(since_ms) => ClimateWire { state: "assumed", since: Some(self.rfc3339(since_ms)) },
        }
    }

    /// What the rule found at application, and what the air did since.
    pub(crate) fn findings(&self, bench: &Bench, cure: &Cure, now_ms: i64) -> Vec<Finding> {
        let mut findings = cure.begun.findings.clone();
        findings.extend(bench.broken_limits(cure, now_ms).into_iter().map(|(limit, since_ms, air)| Finding {
            level: facts::Level::Defect,
            what: words::broken(self, limit, since_ms, air),
            mend: "do not rely on it before you have tested it; in doubt take it apart and do it again".into(),
        }));
        findings.extend(cure.broken.iter().map(|why| Finding {
            level: facts::Level::Defect,
            what: format!("its rule version cannot be run: {why}"),
            mend: "its times cannot be told; go by the product's data sheet".into(),
        }));
        findings
    }

    /// A job with its steps.
    pub(crate) fn job_wire(&self, bench: &Bench, job: &clock::Job) -> JobWire {
        let step = |(step, state, cure): (&facts::Step, StepState, Option<&facts::CureId>)| StepWire {
            step: step.clone(),
            state: match state {
                StepState::Done => "done",
                StepState::Curing => "curing",
                StepState::Ready => "ready",
                StepState::Waiting => "waiting",
            },
            cure: cure.map(ToString::to_string),
        };
        JobWire {
            id: job.opened.id.to_string(),
            title: job.opened.title.clone(),
            instrument: job.opened.instrument.to_string(),
            due_at: job.opened.due_at.map(|due| self.rfc3339(due.timestamp_millis())),
            weight: job.opened.weight,
            state: if job.closed { "closed" } else { "open" },
            steps: bench.steps(job).into_iter().map(step).collect(),
            notes: job
                .notes
                .iter()
                .map(|note| NoteWire { at: self.rfc3339(note.at_ms), text: note.text.clone() })
                .collect(),
            photos: job
                .photos
                .iter()
                .map(|photo| PhotoWire {
                    at: self.rfc3339(photo.at_ms),
                    shows: photo.added.shows.clone(),
                    href: format!("/photos/{}.jpg", photo.added.photo),
                })
                .collect(),
        }
    }

    /// An alert.
    pub(crate) fn alert_wire(&self, alert: &clock::Alert) -> AlertWire {
        let (state, until) = match alert.state {
            clock::AlertState::Open => ("open", None),
            clock::AlertState::Acknowledged => ("acknowledged", None),
            clock::AlertState::Snoozed(until_ms) => ("snoozed", Some(self.rfc3339(until_ms))),
            clock::AlertState::Retracted => ("retracted", None),
        };
        let raised = &alert.raised;
        AlertWire {
            id: raised.id.to_string(),
            kind: raised.alert_kind,
            state,
            until,
            cure: raised.cure.as_ref().map(ToString::to_string),
            stage: raised.stage.clone(),
            due_at: self.rfc3339(raised.due_at.timestamp_millis()),
            late: raised.late,
            title: raised.title.clone(),
            body: raised.body.clone(),
            seq: alert.seq,
        }
    }
}

/// A job.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct JobWire {
    id: String,
    title: String,
    instrument: String,
    due_at: Option<String>,
    weight: u32,
    state: &'static str,
    steps: Vec<StepWire>,
    /// Oldest first.
    notes: Vec<NoteWire>,
    photos: Vec<PhotoWire>,
}

/// Something written down about a job.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct NoteWire {
    at: String,
    text: String,
}

/// A photo of a job.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct PhotoWire {
    at: String,
    shows: String,
    /// Where the picture is, on this service.
    href: String,
}

/// A step of a job.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct StepWire {
    #[serde(flatten)]
    #[schema(value_type = crate::twins::Step)]
    step: facts::Step,
    state: &'static str,
    cure: Option<String>,
}

/// An alert.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct AlertWire {
    id: String,
    #[schema(value_type = crate::twins::AlertKind)]
    kind: facts::AlertKind,
    state: &'static str,
    #[serde(skip_serializing_if = "Option::is_none")]
    until: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    cure: Option<String>,
    stage: String,
    due_at: String,
    late: bool,
    title: String,
    body: String,
    seq: i64,
}
