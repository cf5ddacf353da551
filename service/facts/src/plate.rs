//! Where an instrument is, and its plates: what is needed to follow the moisture of its wood.

use serde::{Deserialize, Serialize};

use crate::{InstrumentId, Invalid, PlateId, ZoneId, within};

/// An instrument is in a zone from now on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InstrumentMoved {
    /// The instrument.
    pub instrument: InstrumentId,
    /// Where it is now.
    pub zone: ZoneId,
}

/// Woods that move alike, by the trade's word for them. Never a maker's name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SpeciesGroup {
    /// Sitka, Engelmann, red and other spruces.
    Spruce,
    /// Western redcedar.
    Cedar,
    /// Hard maple.
    Maple,
    /// True mahogany, and others sold as it.
    Mahogany,
    /// Rosewoods.
    Rosewood,
    /// Black walnut.
    Walnut,
    /// Black cherry.
    Cherry,
    /// Yellow birch.
    Birch,
    /// White ash.
    Ash,
}

/// How the width of a plate lies to the growth rings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cut {
    /// Rings stand upright in the thickness: the width moves radially.
    Quarter,
    /// Rings lie flat: the width moves tangentially, about twice as far.
    Flat,
}

/// Which faces the air reaches. A finished face counts as shut, as does one that lies on a bench.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FacesOpen {
    /// One: a finished top, whose inside is bare.
    One,
    /// Both: a brace, a plate in the white.
    Both,
}

/// A plate: a top, a back, a brace, a bridge.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PlateAdded {
    /// Its id.
    pub id: PlateId,
    /// The instrument it belongs to.
    pub instrument: InstrumentId,
    /// What it is: "top", "back".
    pub name: String,
    /// What it is made of.
    pub species: SpeciesGroup,
    /// How its width lies to the rings.
    pub cut: Cut,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Width across the grain, mm.
    pub width_mm: f64,
    /// Which faces the air reaches.
    pub faces_open: FacesOpen,
    /// Moisture content when it was said, % of the oven-dry mass, if anybody knows it. Without it the plate is taken to
    /// have been in balance with the air it was first put in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub moisture_pct: Option<f64>,
}

impl PlateAdded {
    /// Whether its numbers can be those of a plate of an instrument. Common practice, no source: from a violin rib to a
    /// neck blank, from a brace to a double bass's back, from a dry loft to just below fibre saturation.
    ///
    /// # Errors
    /// Names the number and its range.
    pub fn check(&self) -> Result<(), Invalid> {
        let caliper = "measure it with a caliper, in millimetres";
        within("thickness_mm", self.thickness_mm, 0.3, 60.0, "mm", caliper)?;
        within("width_mm", self.width_mm, 3.0, 1200.0, "mm", "measure across the grain, in millimetres")?;
        let moisture = "in percent of the dry mass; a plate in a heated room has 5 to 12";
        self.moisture_pct.map_or(Ok(0.0), |pct| within("moisture_pct", pct, 1.0, 25.0, "%", moisture)).map(drop)
    }
}
