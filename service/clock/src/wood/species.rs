//! How far the woods of instruments move, by group.

use facts::{Cut, SpeciesGroup};

/// Movement across the grain of one group of woods, by the species that stands for it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Movement {
    /// The species whose figures these are, as `tests/reference/dimensional.csv` names it if it is there.
    pub species: &'static str,
    /// Change per 1 % of moisture, radially: the width of a quarter-sawn plate.
    pub radial: f64,
    /// Change per 1 % of moisture, tangentially: the width of a flat-sawn plate.
    pub tangential: f64,
    /// Moisture content at which it stops swelling, %.
    pub fibre_saturation_pct: f64,
    /// Where the figures come from.
    pub source: &'static str,
}

const SEEN: &str = "Wood Handbook, FPL-GTR-190 (2010), table 13-5";
const COPIED: &str = "Wood Handbook, FPL-GTR-190 (2010), table 13-5, from a public copy";
const IMPORTED: &str = "Wood Handbook, FPL-GTR-190 (2010), table 13-5, from a public copy (two agree); its own table 4-4 \
     would give 1.7 times less";
const REMEMBERED: &str =
    "Wood Handbook, FPL-GTR-190 (2010), table 4-4 (2.7 and 5.8 %), from memory, recast as table 13-5 is";

impl Movement {
    /// Change per 1 % of moisture across a plate cut so.
    pub fn across(&self, cut: Cut) -> f64 {
        match cut {
            Cut::Quarter => self.radial,
            Cut::Flat => self.tangential,
        }
    }
}

/// The movement of a group. Other species of it differ by a tenth or two: of the spruces Sitka moves most radially.
pub fn movement(group: SpeciesGroup) -> Movement {
    let (species, radial, tangential, fibre_saturation_pct, source) = match group {
        SpeciesGroup::Spruce => ("Spruce Sitka", 0.00148, 0.00263, 30.0, COPIED),
        SpeciesGroup::Cedar => ("Cedar western red", 0.00111, 0.00234, 22.0, COPIED),
        SpeciesGroup::Maple => ("Maple sugar", 0.00165, 0.00353, 30.0, SEEN),
        SpeciesGroup::Mahogany => ("Mahogany true (Swietenia)", 0.00172, 0.00238, 30.0, IMPORTED),
        SpeciesGroup::Rosewood => ("Rosewood Indian", 0.000916, 0.00201, 30.0, REMEMBERED),
        SpeciesGroup::Walnut => ("Walnut black", 0.0019, 0.00274, 30.0, SEEN),
        SpeciesGroup::Cherry => ("Cherry black", 0.00126, 0.00248, 30.0, SEEN),
        SpeciesGroup::Birch => ("Birch yellow", 0.00256, 0.00338, 30.0, SEEN),
        SpeciesGroup::Ash => ("Ash white", 0.00169, 0.00274, 30.0, SEEN),
    };
    Movement { species, radial, tangential, fibre_saturation_pct, source }
}
