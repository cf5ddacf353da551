//! How strong the wood beside a joint is: no glue joint is taken to be stronger.

use facts::{LoadPath, SpeciesGroup};
use physics::statics::{self, Stress};

use super::Pulls;

/// Bounds of one group of woods, clear wood at 12 % moisture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WoodBound {
    /// The species whose figures these are.
    pub species: &'static str,
    /// Shear parallel to grain, MPa.
    pub shear_mpa: f64,
    /// Tension perpendicular to grain, MPa.
    pub peel_mpa: f64,
    /// Where the figures come from.
    pub source: &'static str,
}

const SEEN: &str = "Wood Handbook, FPL-GTR-282 (2021), table 5-3a, from a public copy";
const SEEN_SHEAR: &str = "Wood Handbook, FPL-GTR-282 (2021), table 5-3a, from a public copy; tension perpendicular \
     is not printed there: a quarter of the shear, the least of the rows that print both, stands in";
const REMEMBERED: &str = "Wood Handbook, table 5-3, from memory";
const IMPORTED: &str = "Wood Handbook, table 5-5, from memory; tension perpendicular is not printed there: a quarter of the \
     shear, the least of the rows that print both, stands in";
/// Tension perpendicular to grain as a part of the shear, where only the shear is printed: old-growth redwood has 0.25,
/// the other printed rows 0.29 to 0.49.
const LEAST_PEEL: f64 = 0.25;

/// The bounds of a group of woods.
pub fn wood_bound(group: SpeciesGroup) -> WoodBound {
    let printed = |species, shear_mpa, peel_mpa, source| WoodBound { species, shear_mpa, peel_mpa, source };
    let shear_only = |species, shear_mpa, source| printed(species, shear_mpa, LEAST_PEEL * shear_mpa, source);
    match group {
        SpeciesGroup::Spruce => printed("Spruce Engelmann", 8.3, 2.4, SEEN),
        SpeciesGroup::Cedar => printed("Cedar western red", 6.8, 1.5, REMEMBERED),
        SpeciesGroup::Maple => shear_only("Maple sugar", 16.1, SEEN_SHEAR),
        SpeciesGroup::Mahogany => shear_only("Mahogany true (Swietenia)", 8.5, IMPORTED),
        SpeciesGroup::Rosewood => shear_only("Rosewood Indian", 14.4, IMPORTED),
        SpeciesGroup::Walnut => printed("Walnut black", 9.4, 4.8, REMEMBERED),
        SpeciesGroup::Cherry => printed("Cherry black", 11.7, 3.9, SEEN),
        SpeciesGroup::Birch => printed("Birch yellow", 13.0, 6.3, REMEMBERED),
        SpeciesGroup::Ash => printed("Ash white", 13.2, 6.5, SEEN),
    }
}

/// Stress in a joint under the pull of the strings; none where no pull goes through it.
///
/// # Errors
/// The measure that cannot be, one of 0 among them: a joint without an area carries nothing.
pub fn stress(load: &LoadPath, pulls: &Pulls) -> Result<Option<Stress>, physics::OutOfRange> {
    let all_n = pulls.total_n();
    let stress = match *load {
        LoadPath::BridgeFoot { across_mm, along_mm, height_mm } => {
            statics::bridge_foot(all_n, across_mm, along_mm, height_mm)
        }
        LoadPath::NeckJoint { width_mm, depth_mm, arm_mm } => statics::neck_joint(all_n, width_mm, depth_mm, arm_mm),
        LoadPath::Headstock { width_mm, thickness_mm, arm_mm, slope_deg } => {
            statics::headstock(all_n, width_mm, thickness_mm, arm_mm, slope_deg)
        }
        LoadPath::Fingerboard { width_mm, neck_depth_mm, board_mm, anchor_mm, arm_mm } => {
            statics::fingerboard(all_n, width_mm, neck_depth_mm, board_mm, anchor_mm, arm_mm)
        }
        LoadPath::BraceEnd { width_mm, length_mm, reach_mm, height_mm, share } => {
            statics::brace_end(all_n, width_mm, length_mm, reach_mm, height_mm, share)
        }
        LoadPath::TopCrack { length_mm, thickness_mm, angle_deg, share, behind } => {
            statics::top_crack(all_n, length_mm, thickness_mm, angle_deg, share, behind)
        }
        LoadPath::BackSeam { length_mm, thickness_mm, body_depth_mm, height_mm } => {
            statics::back_seam(all_n, length_mm, thickness_mm, body_depth_mm, height_mm)
        }
        LoadPath::NutSlot { depth_mm, length_mm, break_deg } => {
            statics::nut_slot(pulls.hardest_n(), depth_mm, length_mm, break_deg)
        }
        LoadPath::SaddleSlot { length_mm, depth_mm, exposed_mm, break_deg } => {
            statics::saddle_slot(all_n, length_mm, depth_mm, exposed_mm, break_deg)
        }
        LoadPath::Unloaded {} => return Ok(None),
    };
    stress.map(Some)
}
