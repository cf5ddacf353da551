//! What is refused of a job and its steps.

use facts::JobOpened;

use super::{conflict, new, unknown};
use crate::{Bench, Refusal};

impl Bench {
    pub(super) fn admit_job(&self, opened: &JobOpened) -> Result<(), Refusal> {
        self.known_instrument(opened.instrument.as_str())?;
        new("job", &opened.id, self.jobs.contains_key(&opened.id))?;
        facts::within("weight", f64::from(opened.weight), 1.0, 100.0, "", "leave it out for 1")?;
        self.admit_steps(&opened.steps)
    }

    /// Whether a job could be opened with these steps.
    ///
    /// # Errors
    /// The first step that contradicts another or names what is not there.
    pub fn admit_steps(&self, steps: &[facts::Step]) -> Result<(), Refusal> {
        for (i, step) in steps.iter().enumerate() {
            let before = &steps[..i];
            if before.iter().any(|other| other.id == step.id) {
                return Err(conflict(
                    format!("step \"{}\" stands twice in the job", step.id),
                    "give each step an id of its own",
                ));
            }
            if let Some(follows) = step.follows.iter().find(|id| !before.iter().any(|other| other.id == **id)) {
                return Err(conflict(
                    format!("step \"{}\" follows \"{follows}\", which does not stand before it", step.id),
                    "list the steps in an order in which they can be done",
                ));
            }
            if let Some(joint) = step.joint.as_ref().filter(|joint| !self.joints.contains_key(*joint)) {
                return Err(unknown("joint", joint.as_str(), "joints"));
            }
            if let Some(material) = &step.material {
                self.known_material(material.as_str())?;
            }
            self.admit_work(step)?;
        }
        Ok(())
    }

    /// What a step asks of the shop must be what a shop can have.
    pub(crate) fn admit_work(&self, step: &facts::Step) -> Result<(), Refusal> {
        step.work.check()?;
        step.lay.map_or(Ok(()), |lay| lay.check())?;
        step.work.zone.iter().try_for_each(|zone| self.known_zone(zone.as_str()))
    }
}
