//! What a rule says of the film of a finish and of the mixing of what is mixed.

use serde::{Deserialize, Serialize};

/// What a finish's film is like: what the coats of a stack need to know of each other.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FilmSheet {
    /// Wet film of one usual coat, µm, 1 to 2000: taken where nobody measured.
    pub usual_wet_um: f64,
    /// Share of the wet film that stays, spread over the face, % by volume, 1 to 100.
    pub solids_pct: f64,
    /// Solvent (or, in an oil, what has not reacted) the film holds when its surface has set, % of its dry volume, 0 to 200.
    pub trapped_pct: f64,
    /// How fast that finds its way through the film, µm² per reference hour.
    pub diffusion_um2_h: f64,
    /// Reference hours in which what it holds falls to 1/e where it lies, 0.1 to 100 000, if it sets there by itself, as an
    /// oil does that takes up oxygen; without it, it can only leave.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sets_h: Option<f64>,
    /// Whether it is sprayed at all.
    #[serde(default = "yes")]
    pub sprayed: bool,
    /// What retarder does to it, if it may be retarded.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retarder: Option<RetarderSheet>,
    /// How it answers to exposure, if light cures it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub exposure: Option<ExposureSheet>,
    /// What marks it for as long as it lives: names of touches, like `stand_foam`.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub marked_by: Vec<String>,
}

/// What retarder does.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RetarderSheet {
    /// Times as long as without it, for a tenth of it by volume.
    pub slows: f64,
    /// Dampest air it still helps in, % RH.
    pub up_to_rh_pct: f64,
}

/// How a film answers to exposure.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ExposureSheet {
    /// Exposure at which it just gels, mJ/cm².
    pub critical_mj_cm2: f64,
    /// Depth at which the light has fallen to 1/e, µm.
    pub penetration_um: f64,
}

/// How something is mixed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MixSheet {
    /// Whether parts are volumes or weights.
    pub by: By,
    /// Its components; the first is the one the others are added to.
    pub parts: Vec<PartSheet>,
    /// How far a component may be off, % of its part.
    pub tolerance_pct: f64,
    /// Most thinner, % by volume of the mix.
    #[serde(default)]
    pub thinner_up_to_pct: f64,
    /// Quickest and slowest working life, as shares of `working_life_min`.
    #[serde(default = "usual_spread")]
    pub life_spread: (f64, f64),
    /// The mode of `rate(air, mode)` a pot goes by.
    #[serde(default)]
    pub mode: String,
}

/// Volumes or weights.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum By {
    /// Parts by volume.
    Volume,
    /// Parts by weight.
    Weight,
}

/// One component of a mix.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PartSheet {
    /// What it is: "resin", "hardener", "catalyst".
    pub name: String,
    /// Its part.
    pub parts: f64,
    /// Its density, g/ml.
    pub density_g_ml: f64,
}

fn yes() -> bool {
    true
}

fn usual_spread() -> (f64, f64) {
    (0.7, 1.3)
}

impl FilmSheet {
    pub(crate) fn check(&self) -> Result<(), String> {
        let within = |what: &str, value: f64, low: f64, high: f64| match (low..=high).contains(&value) {
            true => Ok(()),
            false => Err(format!("film.{what} is {value}; it must be {low} to {high}")),
        };
        within("usual_wet_um", self.usual_wet_um, 1.0, 2000.0)?;
        within("solids_pct", self.solids_pct, 1.0, 100.0)?;
        within("trapped_pct", self.trapped_pct, 0.0, 200.0)?;
        within("diffusion_um2_h", self.diffusion_um2_h, 1e-3, 1e5)?;
        self.sets_h.map_or(Ok(()), |sets_h| within("sets_h", sets_h, 0.1, 1e5))?;
        if let Some(retarder) = self.retarder {
            within("retarder.slows", retarder.slows, 1.0, 10.0)?;
            within("retarder.up_to_rh_pct", retarder.up_to_rh_pct, 1.0, 100.0)?;
        }
        if let Some(exposure) = self.exposure {
            within("exposure.critical_mj_cm2", exposure.critical_mj_cm2, 0.1, 1e4)?;
            within("exposure.penetration_um", exposure.penetration_um, 1.0, 1e4)?;
        }
        let known = |name: &String| clock::Touch::ALL.iter().any(|touch| touch.name() == name);
        match self.marked_by.iter().find(|name| !known(name)) {
            Some(name) => {
                Err(format!("film.marked_by names \"{name}\"; it takes hands, cloth, case, strap, stand_foam ..."))
            }
            None => Ok(()),
        }
    }
}

impl MixSheet {
    pub(crate) fn check(&self, working_life_min: Option<f64>) -> Result<(), String> {
        let good = |part: &PartSheet| part.parts > 0.0 && part.density_g_ml > 0.1 && part.density_g_ml < 5.0;
        if self.parts.is_empty() || !self.parts.iter().all(good) {
            return Err("mix.parts needs each component with parts above 0 and a density in g/ml".into());
        }
        if !(0.1..=100.0).contains(&self.tolerance_pct) || !(0.0..=200.0).contains(&self.thinner_up_to_pct) {
            return Err("mix.tolerance_pct must be 0.1 to 100, thinner_up_to_pct 0 to 200".into());
        }
        let (low, high) = self.life_spread;
        if !(0.05..=1.0).contains(&low) || !(1.0..=20.0).contains(&high) {
            return Err("mix.life_spread must be [0.05 to 1, 1 to 20]".into());
        }
        match working_life_min {
            Some(minutes) if minutes > 0.0 => Ok(()),
            _ => Err("a rule with a mix needs working_life_min in material()".into()),
        }
    }
}
