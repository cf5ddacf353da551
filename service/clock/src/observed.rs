//! Observations at the bench: what may be said of a cure that was looked at, and what was.

use std::collections::BTreeMap;

use facts::{Invalid, JobId, ObservationId, ObservationMade, Step};

use crate::{
    Bench, Refusal,
    admit::{conflict, new, unknown},
};

/// What somebody saw, and when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Observation {
    /// What was seen of which cure.
    pub made: ObservationMade,
    /// When, ms since 1970 UTC.
    pub at_ms: i64,
    /// Why it counts no more, if it was withdrawn.
    pub withdrawn: Option<String>,
}

impl Bench {
    /// Observations by id, also those that were withdrawn.
    pub fn observations(&self) -> &BTreeMap<ObservationId, Observation> {
        &self.observations
    }

    pub(crate) fn admit_observation(&self, made: &ObservationMade, at_ms: i64, now_ms: i64) -> Result<(), Refusal> {
        self.not_ancient("at", at_ms, now_ms)?;
        new("observation", &made.id, self.observations.contains_key(&made.id))?;
        let cure = self.known_cure(&made.cure)?;
        if cure.withdrawn.is_some() {
            return Err(conflict(
                format!("\"{}\" was withdrawn", made.cure),
                "observe another glue-up or coat; this one says nothing about its material any more",
            ));
        }
        if at_ms < cure.begun.started_at.timestamp_millis() {
            return Err(Invalid {
                what: "at".into(),
                given: "a time before the cure began".into(),
                expected: format!("a time after {}", cure.begun.started_at.to_rfc3339()),
                mend: "check the time, or the start of the glue-up or coat".into(),
            }
            .into());
        }
        let stages: Vec<&str> = cure.begun.milestones.iter().map(|target| target.stage.as_str()).collect();
        if stages.contains(&made.stage.as_str()) {
            return Ok(());
        }
        Err(Invalid {
            what: "stage".into(),
            given: format!("\"{}\"", made.stage.chars().take(48).collect::<String>()),
            expected: format!("a stage of this cure: {}", stages.join(", ")),
            mend: "name the stage you looked for, and with \"reached\" whether it was there".into(),
        }
        .into())
    }

    /// An observation that counts.
    pub(crate) fn standing_observation(&self, id: &ObservationId) -> Result<&Observation, Refusal> {
        let known = self.observations.get(id).ok_or_else(|| unknown("observation", id.as_str(), "observations"))?;
        match known.withdrawn {
            None => Ok(known),
            Some(_) => Err(conflict(format!("observation \"{id}\" was withdrawn already"), "nothing needs recording")),
        }
    }

    pub(crate) fn admit_step(&self, job: &JobId, step: &Step) -> Result<(), Refusal> {
        self.open_job(job.as_str(), None)?;
        let steps = &self.jobs[job].opened.steps;
        new("step", &step.id, steps.iter().any(|known| known.id == step.id))?;
        if let Some(follows) = step.follows.iter().find(|id| !steps.iter().any(|known| known.id == **id)) {
            return Err(unknown("step", follows.as_str(), &format!("jobs/{job}")));
        }
        if let Some(joint) = step.joint.as_ref().filter(|joint| !self.joints.contains_key(*joint)) {
            return Err(unknown("joint", joint.as_str(), "joints"));
        }
        step.material.iter().try_for_each(|material| self.known_material(material.as_str()))?;
        self.admit_work(step)
    }

    pub(crate) fn observe(&mut self, made: &ObservationMade, at_ms: i64) {
        self.observations.insert(made.id.clone(), Observation { made: made.clone(), at_ms, withdrawn: None });
    }

    pub(crate) fn withdraw_observation(&mut self, id: &ObservationId, reason: &str) {
        if let Some(observation) = self.observations.get_mut(id) {
            observation.withdrawn.get_or_insert_with(|| reason.into());
        }
    }
}
