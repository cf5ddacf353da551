//! What the strings load: the path their pull takes through a joint, and what weakens it.

use serde::{Deserialize, Serialize};

use crate::{JointId, SpeciesGroup};

/// The path of the strings' pull through a joint, with its measures in mm and degrees. The statics of each, with a
/// drawing, are in `physics::statics`; a length of 0 is refused there.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "path", rename_all = "snake_case")]
#[expect(missing_docs, reason = "each measure is drawn and named where its formula stands, in physics::statics")]
pub enum LoadPath {
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
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JointLoaded {
    /// The joint.
    pub joint: JointId,
    /// The path of the pull and its measures.
    pub load: LoadPath,
    /// The weaker of its two woods: no glue joint is stronger.
    pub wood: SpeciesGroup,
    /// Too little glue in it: squeeze-out was missing somewhere.
    #[serde(default)]
    pub starved: bool,
    /// It opened before and was glued on old glue.
    #[serde(default)]
    pub reopened: bool,
    /// Somebody tested it and vouches for it: how old its glue is is not asked any more.
    #[serde(default)]
    pub sound: bool,
}
