//! How the bench is planned: how many hands, on which certainty of a cure, what of the plan stays put, and which places
//! hold only so much.

use serde::{Deserialize, Serialize};

use super::{Hours, SettingsError, wrong};

/// How the bench is planned.
#[derive(Debug, Clone, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Plan {
    /// Pairs of hands at the bench.
    #[schema(minimum = 1, maximum = 50)]
    pub people: u32,
    /// Which time of a cure the next step waits for. Windows close at their earliest always.
    #[schema(inline)]
    pub certainty: Certainty,
    /// Hours from now in which the plan stays as it was told, unless it became impossible. 4 keeps half a day.
    #[schema(minimum = 0, maximum = 48)]
    pub freeze_hours: u32,
    /// Places that hold only so much: booth, warm box.
    #[schema(inline)]
    pub places: Vec<Place>,
}

/// Which time of a cure the next step waits for. Windows close at their earliest whatever is chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, serde::Serialize, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Certainty {
    /// When the quickest of many would be there.
    Earliest,
    /// When most are.
    Likely,
    /// When it does no harm to rely on it.
    Safe,
}

/// A place that holds only so much.
#[derive(Debug, Clone, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Place {
    /// Its zone, each once.
    pub zone: String,
    /// How many pieces it holds at once.
    #[serde(default = "one")]
    #[schema(minimum = 1, maximum = 1000)]
    pub holds: u32,
    /// When work can be done in it, if not in all the shop's hours.
    #[serde(default)]
    #[schema(inline)]
    pub hours: Option<Hours>,
}

fn one() -> u32 {
    1
}

impl Default for Plan {
    fn default() -> Self {
        Self { people: 1, certainty: Certainty::Safe, freeze_hours: 4, places: vec![] }
    }
}

impl Plan {
    pub(super) fn check(&self) -> Result<(), SettingsError> {
        let mut zones = std::collections::BTreeSet::new();
        for (i, place) in self.places.iter().enumerate() {
            let key = |name: &str| format!("plan.places[{i}].{name}");
            if facts::ZoneId::new(place.zone.clone()).is_err() || !zones.insert(&place.zone) {
                let what = format!("\"{}\" is no id of a zone, or stands twice", place.zone);
                return Err(wrong(&key("zone"), what, "name each zone once, as GET /api/v1/zones does"));
            }
            if let Some(hours) = &place.hours {
                hours.check(&key("hours"))?;
            }
        }
        Ok(())
    }
}
