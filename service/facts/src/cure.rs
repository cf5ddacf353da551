//! The fact a glue-up or a coat is: what was joined with what, and the target ages its rule gave it then.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::{
    Amount, ClampId, CoatLaid, CureId, InstrumentId, JobId, JointId, LotId, LotUsed, MaterialId, MixId, StepId,
    VersionId, ZoneId,
};

/// Whether a joint was closed or a surface coated.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CureKind {
    /// Adhesive between two faces.
    GlueUp,
    /// A film of finish.
    Coat,
}

/// How readily the faces take up water or solvent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Porosity {
    /// Plastic, metal, bone, finished wood: nothing is absorbed.
    Sealed,
    /// Ebony, rosewood and other close, oily woods.
    Dense,
    /// Most woods.
    #[default]
    Normal,
    /// Spruce end grain, punky or very open wood.
    Open,
}

/// What is particular to a joint or coat and scales its target ages; never the rate, which answers to air alone.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct JointState {
    /// Gap between the faces, µm, 0 to 5000. A good joint is about 100.
    pub gap_um: f64,
    /// Wet film of a coat, µm, 0 to 2000; 0 for a glue-up.
    pub film_um: f64,
    /// Uptake by the faces.
    pub porosity: Porosity,
}

/// Whether a milestone begins or ends something; it decides which end of the spread an alert uses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Meets {
    /// Something may be done from here: told at `safe`.
    #[default]
    Opens,
    /// Something must be done before here: told at `earliest`.
    Closes,
}

/// A milestone as its rule set it: ages in reference hours, fixed for ever.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct TargetAge {
    /// The trade's or the standard's word: `clamp_off`, `dust_free`, `recoat_opens` ...
    pub stage: String,
    /// Age at which the quickest of many would be there.
    pub earliest_h: f64,
    /// Age at which most are there.
    pub likely_h: f64,
    /// Age at which it does no harm to rely on it.
    pub safe_h: f64,
    /// Wall-clock hours from the start that no warm room shortens.
    #[serde(default)]
    pub floor_h: f64,
    /// Begins or ends something.
    #[serde(default)]
    pub meets: Meets,
    /// Reference hours before `earliest_h` at which the end of a window is told, so that the next coat can be got ready.
    #[serde(default, skip_serializing_if = "none")]
    pub ahead_h: f64,
    /// What to do when it is reached.
    #[serde(default)]
    pub next: String,
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde asks with a reference")]
fn none(hours: &f64) -> bool {
    *hours == 0.0
}

/// What a load-bearing cure needs before strings pull on it, as its rule said it when it began: kept, so that no script
/// is asked later.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Bearing {
    /// Age in reference hours and share of full strength at it, rising, straight in between and flat beyond.
    pub strength: Vec<(f64, f64)>,
    /// The least age before any string, whatever the load.
    pub least: TargetAge,
    /// Hours on the wall that a glue which creeps under load is left besides.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub creep_hold_h: Option<f64>,
}

/// Which quantity of the air a [`Limit`] watches, and on which side of it harm lies.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Bound {
    /// Harm below this temperature, °C.
    BelowTempC(f64),
    /// Harm above this temperature, °C.
    AboveTempC(f64),
    /// Harm below this relative humidity, %.
    BelowRhPct(f64),
    /// Harm above this relative humidity, %.
    AboveRhPct(f64),
    /// Harm where the air is less than this above its dew point, K.
    BelowSpreadK(f64),
}

/// An air that spoils this cure while it is young. Watched on the clock, without a script.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Limit {
    /// What the trade calls it: "film-forming temperature", "blush".
    pub name: String,
    /// Where harm begins.
    pub bound: Bound,
    /// Age in reference hours up to which it matters.
    pub until_h: f64,
    /// What happens and what to do about it.
    pub says: String,
}

/// How much a finding weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Level {
    /// Good to know.
    Note,
    /// Will cost quality or time.
    Caution,
    /// Do not rely on this joint or film.
    Defect,
}

/// Something a rule or a limit has to say about one glue-up or coat.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// How much it weighs.
    pub level: Level,
    /// What was found.
    pub what: String,
    /// How to mend it.
    pub mend: String,
}

/// A glue-up was closed or a coat laid. Carries all that its milestones need, so that replay runs no script.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CureBegun {
    /// Its id.
    pub id: CureId,
    /// Joint or coat.
    pub cure_kind: CureKind,
    /// The instrument it is on.
    pub instrument: InstrumentId,
    /// The job it moves on, if it was planned.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub job: Option<JobId>,
    /// The step of that job.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub step: Option<StepId>,
    /// The joint, for a glue-up.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub joint: Option<JointId>,
    /// The surface, for a coat, in the luthier's words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub surface: Option<String>,
    /// What it cures by.
    pub material: MaterialId,
    /// The text of the rule in force then; binds the clock for ever.
    pub rule_version: VersionId,
    /// The rule's mode for this joint, empty when the rule has none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub mode: String,
    /// The bottle it came from.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<LotId>,
    /// How much was taken from that bottle, if it was said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub used: Option<Amount>,
    /// Where it began to cure.
    pub zone: ZoneId,
    /// Clamps that hold it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub clamps: Vec<ClampId>,
    /// When pressure was on, or the coat was laid.
    pub started_at: DateTime<Utc>,
    /// What scaled the ages.
    pub joint_state: JointState,
    /// Its milestones, in the rule's order.
    pub milestones: Vec<TargetAge>,
    /// What it needs before strings; none for a coat, and for a glue-up of before that was asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bearing: Option<Bearing>,
    /// Airs that spoil it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limits: Vec<Limit>,
    /// What the rule found at application.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub findings: Vec<Finding>,
    /// How a coat was laid and on what; none for a glue-up, and for coats from before this was asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub coat: Option<CoatLaid>,
    /// The pot it was mixed in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub mix: Option<MixId>,
}

impl CureBegun {
    /// What was taken from its bottle, if both were said.
    pub fn lot_used(&self) -> Option<LotUsed> {
        let (lot, amount) = (self.lot.clone()?, self.used?);
        Some(LotUsed { lot, cure: Some(self.id.clone()), amount })
    }
}

/// What another version of its rule says of a cure: all that its milestones need, so that replay runs no script. What was
/// found at application stays as it was found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct CureRuleChanged {
    /// The cure.
    pub cure: CureId,
    /// The version it goes by.
    pub rule_version: VersionId,
    /// That version's mode for this joint.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub mode: String,
    /// Its milestones, in that version's order.
    pub milestones: Vec<TargetAge>,
    /// Airs that spoil it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub limits: Vec<Limit>,
    /// What it bears and when, if that version says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub bearing: Option<Bearing>,
}
