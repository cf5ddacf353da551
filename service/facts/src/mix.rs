//! A mix: what went into a pot, and the target age at which it gels.

use serde::{Deserialize, Serialize};

use crate::{Finding, LotId, MaterialId, MixId, TargetAge, VersionId, ZoneId};

/// Something was mixed. Carries all that its working life needs, so that replay runs no script.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MixMade {
    /// Its id.
    pub id: MixId,
    /// What was mixed.
    pub material: MaterialId,
    /// The text of the rule in force then.
    pub rule_version: VersionId,
    /// The rule's mode for a pot, empty when the rule has none.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub mode: String,
    /// Where the pot stands.
    pub zone: ZoneId,
    /// What went in.
    pub parts: Vec<MixPart>,
    /// The bottles it came from.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lots: Vec<LotId>,
    /// When it gels: the end of its working life.
    pub life: TargetAge,
    /// What was found at mixing.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub findings: Vec<Finding>,
}

/// One component of a mix.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MixPart {
    /// What it is: "resin", "hardener", "catalyst", "thinner".
    pub name: String,
    /// Volume, ml.
    pub ml: f64,
    /// Mass, g.
    pub g: f64,
}
