//! The fact an observation is: how far a cure was when somebody looked. The air it had is in the readings of its zone and
//! is never stored twice.

use serde::{Deserialize, Serialize};

use crate::{CureId, ObservationId};

/// How somebody found out how far a cure is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Observing {
    /// A test piece glued beside it was broken.
    TestPieceBroken,
    /// A thumbnail was pressed into the film.
    Thumbnail,
    /// A finger touched the film.
    Touch,
    /// The squeeze-out was felt or cut.
    SqueezeOut,
    /// Tape was pressed on and pulled off.
    TapePull,
    /// Paper was tried on the film: it clogs or it does not.
    SandingTrial,
    /// Another way, which the note says.
    #[default]
    Other,
}

/// Somebody looked whether a cure had reached a stage; when is the fact's own time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ObservationMade {
    /// Its id.
    pub id: ObservationId,
    /// The glue-up or coat that was looked at.
    pub cure: CureId,
    /// The stage that was asked about, one of the cure's milestones.
    pub stage: String,
    /// Whether it was there: `false` is "still soft", `true` is "there now, perhaps for some time".
    pub reached: bool,
    /// How it was found out.
    #[serde(default)]
    pub by: Observing,
    /// What else there is to say.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub note: String,
}
