//! What `facts` stores of strings and what they load, and the API passes on, as the API describes it.

#![expect(dead_code, reason = "they are described, never made")]

use serde::Deserialize;
use utoipa::ToSchema;

use facts::{JointId, Note};

use super::SpeciesGroup;

/// Families of instruments, by what their strings load.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Family {
    /// Guitar with six steel strings and a glued bridge.
    SteelStringGuitar,
    /// Guitar with nylon strings.
    ClassicalGuitar,
    /// Guitar with six courses of two steel strings.
    TwelveStringGuitar,
    /// Mandolin: four courses of two, held at the tail.
    Mandolin,
    /// Ukulele.
    Ukulele,
    /// Five-string banjo.
    Banjo,
    /// Violin.
    Violin,
    /// Viola.
    Viola,
    /// Cello.
    Cello,
    /// Double bass.
    DoubleBass,
    /// Bass guitar.
    BassGuitar,
}

/// One string.
#[derive(Deserialize, ToSchema)]
pub(crate) struct StringFitted {
    /// What it is tuned to.
    pub(crate) note: Note,
    /// Outside diameter, mm.
    pub(crate) gauge_mm: f64,
    /// Whether it has a winding: then its gauge says little of its weight.
    pub(crate) wound: bool,
    /// Mass per length, kg/m; worked out once, so that the pull it was judged by never changes.
    pub(crate) unit_kg_m: f64,
    /// Its sounding length, mm: the scale length but for a short fifth string and the like.
    pub(crate) length_mm: f64,
}

/// How far stringing up has come.
#[derive(Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Stage {
    /// Half the tension: six semitones below pitch, since tension goes with the square of the frequency.
    HalfTension,
    /// At pitch.
    FullPitch,
    /// Looked at again a day after.
    Rechecked,
}

/// The path of the strings' pull through a joint, with its measures in mm and degrees. The statics of each, with a
/// drawing, are in `physics::statics`; a length of 0 is refused there.
#[derive(Deserialize, ToSchema)]
#[serde(tag = "path", rename_all = "snake_case")]
pub(crate) enum LoadPath {
    /// The foot of a glued bridge.
    BridgeFoot { across_mm: f64, along_mm: f64, height_mm: f64 },
    /// The joint of neck and body.
    NeckJoint { width_mm: f64, depth_mm: f64, arm_mm: f64 },
    /// A break or scarf at the headstock.
    Headstock { width_mm: f64, thickness_mm: f64, arm_mm: f64, slope_deg: f64 },
    /// Fingerboard on neck.
    Fingerboard { width_mm: f64, neck_depth_mm: f64, board_mm: f64, anchor_mm: f64, arm_mm: f64 },
    /// The end of a brace.
    BraceEnd { width_mm: f64, length_mm: f64, reach_mm: f64, height_mm: f64, share: f64 },
    /// A crack in the top.
    TopCrack { length_mm: f64, thickness_mm: f64, angle_deg: f64, share: f64, behind: bool },
    /// The seam of a back.
    BackSeam { length_mm: f64, thickness_mm: f64, body_depth_mm: f64, height_mm: f64 },
    /// The filled slot of one string in the nut: the hardest pulling one is taken.
    NutSlot { depth_mm: f64, length_mm: f64, break_deg: f64 },
    /// The filled slot of the saddle.
    SaddleSlot { length_mm: f64, depth_mm: f64, exposed_mm: f64, break_deg: f64 },
    /// No pull goes through it: a binding, a pickup. It holds strings back by its clamps only.
    Unloaded {},
}

/// How a joint is loaded by the strings. A later fact about the same joint takes its place.
#[derive(Deserialize, ToSchema)]
pub(crate) struct JointLoaded {
    /// The joint.
    pub(crate) joint: JointId,
    /// The path of the pull and its measures.
    pub(crate) load: LoadPath,
    /// The weaker of its two woods: no glue joint is stronger.
    pub(crate) wood: SpeciesGroup,
    /// Too little glue in it: squeeze-out was missing somewhere.
    #[serde(default)]
    pub(crate) starved: bool,
    /// It opened before and was glued on old glue.
    #[serde(default)]
    pub(crate) reopened: bool,
    /// Somebody tested it and vouches for it: how old its glue is is not asked any more.
    #[serde(default)]
    pub(crate) sound: bool,
}
