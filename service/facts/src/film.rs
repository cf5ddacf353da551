//! How a coat was laid, and what it was laid on: what the next coat of the stack needs to know of this one.

use serde::{Deserialize, Serialize};

use crate::{CureId, Finding, Invalid, within};

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

/// How a planned coat is meant to be laid; what is not said is left to whoever lays it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CoatPlan {
    /// Wet film, µm, 5 to 2000.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub film_um: Option<u16>,
    /// Thinner, % of the finish by volume, 0 to 500: half a part to one is 50.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub thinner_pct: Option<u16>,
    /// How it gets onto the wood.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub method: Option<Method>,
}

impl CoatPlan {
    /// Whether what it says can be laid.
    ///
    /// # Errors
    /// What is out of range, and the range.
    pub fn check(&self) -> Result<(), Invalid> {
        let film_um = self.film_um.map(f64::from);
        film_um.map_or(Ok(0.0), |um| within("lay.film_um", um, 5.0, 2000.0, "µm", "a wet coat is 50 to 150 µm"))?;
        let thinner_pct = self.thinner_pct.map(f64::from);
        thinner_pct.map_or(Ok(0.0), |pct| within("lay.thinner_pct", pct, 0.0, 500.0, "%", "a tenth is 10"))?;
        Ok(())
    }
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
    /// Exposure that hardens all of its film, mJ/cm²: it is wet and nothing of it counts until it has had so much. None where
    /// light does not cure it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wants_mj_cm2: Option<f64>,
    /// The film itself; none where its rule says nothing of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub film: Option<CoatBeneath>,
    /// The coats beneath it when it was laid, from the wood up, each with the solvent it still held.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub beneath: Vec<CoatBeneath>,
}

/// More light on a coat that light cures.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CoatExposed {
    /// The coat.
    pub cure: CureId,
    /// Exposure it got this time, mJ/cm².
    pub exposure_mj_cm2: f64,
    /// What there is to say of the coat now: what was found at application, with what was said of its light put right.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub findings: Vec<Finding>,
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
    /// Reference hours in which what it holds falls to 1/e where it lies, because it sets there; none where it can only leave.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sets_h: Option<f64>,
}
