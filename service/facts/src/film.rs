//! How a coat was laid, and what it was laid on: what the next coat of the stack needs to know of this one.

use serde::{Deserialize, Serialize};

/// How finish gets onto the wood.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// By brush.
    Brush,
    /// By a pad, as in French polishing.
    Pad,
    /// By a spray gun.
    Spray,
    /// By a cloth, the rest wiped off.
    Wipe,
    /// Flooded or poured on.
    Flood,
}

/// How a coat was laid, and what it was laid on.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct CoatLaid {
    /// How it got there.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method: Option<Method>,
    /// Whether the coat beneath was abraded first; none where nobody said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub abraded: Option<bool>,
    /// Parts of thinner to one of finish, by volume, 0 to 5.
    #[serde(default)]
    pub thinner_parts: f64,
    /// Parts of retarder to one of finish, by volume, 0 to 1.
    #[serde(default)]
    pub retarder_parts: f64,
    /// Exposure of a film cured by light, mJ/cm²; none where nobody said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exposure_mj_cm2: Option<f64>,
    /// The film itself; none where its rule says nothing of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub film: Option<CoatBeneath>,
    /// The coats beneath it when it was laid, from the wood up, each with the solvent it still held.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub beneath: Vec<CoatBeneath>,
}

/// One coat of a stack, dry, with the solvent in it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct CoatBeneath {
    /// Dry thickness, µm.
    pub dry_um: f64,
    /// Solvent it holds, as a thickness, µm.
    pub solvent_um: f64,
    /// Diffusion coefficient of the solvent in it, µm² per reference hour.
    pub diffusion_um2_h: f64,
}
