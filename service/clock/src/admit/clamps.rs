//! Whether clamps may go on a glue-up, come off it, be put away and be brought back.

use facts::{ClampId, CureBegun, CureId};

use super::{conflict, join, unknown};
use crate::{Bench, Clamp, Refusal};

impl Bench {
    pub(super) fn admit_clamps(&self, begun: &CureBegun) -> Result<(), Refusal> {
        for (i, id) in begun.clamps.iter().enumerate() {
            let clamp = self.known_clamp(id)?;
            if begun.clamps[..i].contains(id) {
                return Err(conflict(format!("clamp \"{id}\" is named twice"), "name each clamp once"));
            }
            if clamp.away {
                return Err(conflict(
                    format!("clamp \"{id}\" is put away"),
                    "bring it back first, or use one that is free",
                ));
            }
            if let Some(on) = &clamp.on {
                let free: Vec<_> = self.clamps.values().filter(|c| c.is_free()).map(|c| c.added.id.clone()).collect();
                return Err(conflict(
                    format!("clamp \"{id}\" is in use on \"{on}\""),
                    match free.as_slice() {
                        [] => format!("no clamp is free; record POST /api/v1/glue-ups/{on}/clamps-off when it is off"),
                        free => format!("take it off there first, or use one that is free: {}", join(free)),
                    },
                ));
            }
        }
        Ok(())
    }

    pub(super) fn known_clamp(&self, id: &ClampId) -> Result<&Clamp, Refusal> {
        self.clamps.get(id).ok_or_else(|| unknown("clamp", id.as_str(), "clamps"))
    }

    pub(super) fn admit_put_away(&self, id: &ClampId) -> Result<(), Refusal> {
        let clamp = self.known_clamp(id)?;
        match &clamp.on {
            Some(on) => Err(conflict(
                format!("clamp \"{id}\" is in use on \"{on}\""),
                format!("record POST /api/v1/glue-ups/{on}/clamps-off when it is off, then put it away"),
            )),
            None if clamp.away => Err(conflict(format!("clamp \"{id}\" is put away"), "nothing needs recording")),
            None => Ok(()),
        }
    }

    pub(super) fn admit_clamps_off(&self, cure: &CureId, clamps: &[ClampId]) -> Result<(), Refusal> {
        let on = &self.known_cure(cure)?.clamps_on;
        match clamps.iter().find(|clamp| !on.contains(clamp)) {
            Some(clamp) => Err(conflict(
                format!("clamp \"{clamp}\" is not on \"{cure}\""),
                match on.as_slice() {
                    [] => "no clamps are on it any more; nothing needs recording".into(),
                    on => format!("on it are: {}", join(on)),
                },
            )),
            None if clamps.is_empty() => Err(conflict(
                format!("no clamps are on \"{cure}\""),
                "nothing needs recording; its milestones go on without them",
            )),
            None => Ok(()),
        }
    }
}
