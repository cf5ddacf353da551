//! What a script says: the shapes its functions give back, checked on the way in.

use facts::{Bound, Finding, JointState, Level, Limit, Meets, Porosity, TargetAge, TempC};
use rhai::{Dynamic, Map};
use serde::{Deserialize, Serialize, de::DeserializeOwned};

use clock::Air;

use crate::{FilmSheet, MixSheet};

/// What kind of material a rule is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum MaterialKind {
    /// Goes between two faces.
    Adhesive,
    /// Lies on a surface.
    Finish,
}

/// What `material()` says.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MaterialSheet {
    /// The generic class, in the trade's words.
    pub name: String,
    /// Adhesive or finish.
    pub kind: MaterialKind,
    /// The air in which its rate is 1.
    pub reference: ReferenceAir,
    /// The usual cautions, deferring to the safety data sheet.
    pub cautions: Vec<String>,
    /// Where its numbers come from, or "common practice, no source".
    pub sources: Vec<String>,
    /// Days an opened container keeps, if its class has such a limit.
    #[serde(default)]
    pub storage_days: Option<f64>,
    /// Minutes it can be used after mixing, if it is mixed.
    #[serde(default)]
    pub working_life_min: Option<f64>,
    /// Hours on the wall that it is left before a lasting load, if it creeps under one.
    #[serde(default)]
    pub creep_hold_h: Option<f64>,
    /// Airs that spoil it while it is young.
    #[serde(default)]
    pub limits: Vec<LimitSheet>,
    /// What the film of a finish is like.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub film: Option<FilmSheet>,
    /// How it is mixed, if it is mixed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mix: Option<MixSheet>,
}

impl MaterialSheet {
    /// Whether its numbers and words can be.
    pub(crate) fn check(&self) -> Result<(), String> {
        let within = |what: &str, value: Option<f64>, low: f64, high: f64| match value {
            Some(value) if !(low..=high).contains(&value) => {
                Err(format!("{what} is {value}; it must be {low} to {high}"))
            }
            _ => Ok(()),
        };
        within("reference.temp_c", Some(self.reference.temp_c), TempC::RANGE.0, TempC::RANGE.1)?;
        within("reference.rh_pct", Some(self.reference.rh_pct), 1.0, 100.0)?;
        within("storage_days", self.storage_days, 1.0, 36_600.0)?;
        within("working_life_min", self.working_life_min, 0.1, 7.0 * 1440.0)?;
        for limit in &self.limits {
            let of = |what: &str| format!("{what} of limit \"{}\"", limit.name);
            within(&of("until_h"), Some(limit.until_h), 0.0, LONGEST_H)?;
            within(&of("below_temp_c"), limit.below_temp_c, -50.0, 100.0)?;
            within(&of("above_temp_c"), limit.above_temp_c, -50.0, 100.0)?;
            within(&of("below_rh_pct"), limit.below_rh_pct, 0.0, 100.0)?;
            within(&of("above_rh_pct"), limit.above_rh_pct, 0.0, 100.0)?;
            within(&of("below_spread_k"), limit.below_spread_k, 0.0, 50.0)?;
        }
        let said = self.limits.iter().flat_map(|limit| [&limit.name, &limit.says]);
        let mut said = said.chain(&self.cautions).chain(&self.sources).chain([&self.name]);
        if said.any(|text| text.chars().any(|c| c.is_control() && c != '\n')) || self.name.trim().is_empty() {
            return Err("the name of a material is not empty, and no text of material() has control characters".into());
        }
        Ok(())
    }
}

/// The air in which a rule's rate is 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReferenceAir {
    /// Temperature, °C.
    pub temp_c: f64,
    /// Relative humidity, %.
    pub rh_pct: f64,
}

/// One air that spoils a cure; exactly one of the five bounds is given.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LimitSheet {
    /// What the trade calls it.
    pub name: String,
    /// Harm below this temperature, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub below_temp_c: Option<f64>,
    /// Harm above this temperature, °C.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub above_temp_c: Option<f64>,
    /// Harm below this relative humidity, %.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub below_rh_pct: Option<f64>,
    /// Harm above this relative humidity, %.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub above_rh_pct: Option<f64>,
    /// Harm where the air is less than this above its dew point, K.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub below_spread_k: Option<f64>,
    /// Reference hours up to which it matters.
    pub until_h: f64,
    /// What happens and what to do.
    pub says: String,
}

impl LimitSheet {
    pub(crate) fn limit(&self) -> Result<Limit, String> {
        let given = [
            self.below_temp_c.map(Bound::BelowTempC),
            self.above_temp_c.map(Bound::AboveTempC),
            self.below_rh_pct.map(Bound::BelowRhPct),
            self.above_rh_pct.map(Bound::AboveRhPct),
            self.below_spread_k.map(Bound::BelowSpreadK),
        ];
        let mut given = given.into_iter().flatten();
        match (given.next(), given.next()) {
            (Some(bound), None) => {
                Ok(Limit { name: self.name.clone(), bound, until_h: self.until_h, says: self.says.clone() })
            }
            _ => Err(format!(
                "limit \"{}\" needs exactly one of below_temp_c, above_temp_c, below_rh_pct, above_rh_pct, \
                 below_spread_k",
                self.name
            )),
        }
    }
}

/// What `milestones(joint)` says of one stage.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct MilestoneSheet {
    stage: String,
    hours: f64,
    #[serde(default = "no_spread")]
    spread: (f64, f64),
    #[serde(default)]
    floor_h: f64,
    #[serde(default)]
    closes: bool,
    #[serde(default)]
    next: String,
}

fn no_spread() -> (f64, f64) {
    (1.0, 1.0)
}

/// Longest target age: a finish is left a month before rubbing out; a year is a slip of the pen.
const LONGEST_H: f64 = 24.0 * 366.0;

impl MilestoneSheet {
    pub(crate) fn target(self) -> Result<TargetAge, String> {
        let Self { stage, hours, spread: (low, high), floor_h, closes, next } = self;
        if stage.is_empty() || stage.len() > 32 || !stage.bytes().all(|b| b.is_ascii_lowercase() || b == b'_') {
            return Err(format!("stage \"{stage}\" must be 1 to 32 of a-z and _, like \"clamp_off\""));
        }
        if !(0.0..=LONGEST_H).contains(&hours) || !(0.0..=LONGEST_H).contains(&floor_h) {
            return Err(format!("stage \"{stage}\": hours and floor_h must be 0 to {LONGEST_H}"));
        }
        if !(0.05..=1.0).contains(&low) || !(1.0..=20.0).contains(&high) {
            return Err(format!("stage \"{stage}\": spread must be [0.05 to 1, 1 to 20], like [0.7, 1.5]"));
        }
        Ok(TargetAge {
            stage,
            earliest_h: hours * low,
            likely_h: hours,
            safe_h: hours * high,
            floor_h,
            meets: if closes { Meets::Closes } else { Meets::Opens },
            ahead_h: 0.0,
            next,
        })
    }
}

/// What `checks(air, joint)` says.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct FindingSheet {
    level: Level,
    what: String,
    mend: String,
}

impl From<FindingSheet> for Finding {
    fn from(sheet: FindingSheet) -> Self {
        Self { level: sheet.level, what: sheet.what, mend: sheet.mend }
    }
}

/// One row of `expected()`: at this constant air and joint, a stage is likely reached after so many hours.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ExpectedSheet {
    pub(crate) temp_c: f64,
    pub(crate) rh_pct: f64,
    #[serde(default = "good_fit_um")]
    pub(crate) gap_um: f64,
    #[serde(default)]
    pub(crate) film_um: f64,
    #[serde(default)]
    pub(crate) porosity: Porosity,
    pub(crate) stage: String,
    #[serde(default)]
    pub(crate) hours: f64,
    #[serde(default)]
    pub(crate) within: f64,
    /// The stage is never reached in this air.
    #[serde(default)]
    pub(crate) never: bool,
    /// Where the figure comes from.
    pub(crate) source: String,
}

fn good_fit_um() -> f64 {
    100.0
}

/// Reads a script's answer into a shape. By way of JSON, because there a whole number is also a decimal one.
pub(crate) fn read<T: DeserializeOwned>(answer: &Dynamic) -> Result<T, String> {
    let json = serde_json::to_value(answer).map_err(|e| e.to_string())?;
    serde_json::from_value(json).map_err(|e| e.to_string())
}

/// An air as a script sees it.
pub(crate) fn air_map(air: Air) -> Dynamic {
    let mut map = Map::new();
    map.insert("temp_c".into(), air.temp_c.into());
    map.insert("rh_pct".into(), air.rh_pct.into());
    map.into()
}

/// A joint or coat as a script sees it.
pub(crate) fn joint_map(joint: &JointState) -> Dynamic {
    let porosity = match joint.porosity {
        Porosity::Sealed => "sealed",
        Porosity::Dense => "dense",
        Porosity::Normal => "normal",
        Porosity::Open => "open",
    };
    let mut map = Map::new();
    map.insert("gap_um".into(), joint.gap_um.into());
    map.insert("film_um".into(), joint.film_um.into());
    map.insert("porosity".into(), porosity.into());
    map.into()
}
