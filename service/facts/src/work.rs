//! What a step asks of the shop: hands, clamps, a place, and how long it may be put off. The bench plan goes by it.

use serde::{Deserialize, Serialize};

use crate::{Invalid, StepKind, ZoneId, within};

/// The work of one step, as far as anybody said; what is left out is usual for its kind.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Work {
    /// Minutes somebody works on it, 0 to 10,080.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hands_on_min: Option<u32>,
    /// How many people it takes, 1 to 20; one if not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub people: Option<u32>,
    /// How many clamps hold it until they can come off, 0 to 500; none are counted if not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clamps: Option<u32>,
    /// Of which kind, as the inventory has it; any kind if not said.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub clamp_kind: String,
    /// Where it is done and cures: booth, warm box. Where the instrument is, if not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<ZoneId>,
    /// Longest it may be begun after what it follows, minutes, 1 to 525,600: a face planed no more than a day before it is
    /// glued, a joint closed within the open time. No limit if not said.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub max_wait_before_min: Option<u32>,
    /// Whether it may be left at closing time and gone on with later.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub may_split: bool,
}

impl Work {
    /// Minutes somebody works on a step of this kind, as said or as usual. The usual ones are common practice, no source.
    #[must_use]
    pub fn minutes(&self, kind: StepKind) -> u32 {
        self.hands_on_min.unwrap_or(match kind {
            StepKind::HandsOn => 60,
            StepKind::GlueUp => 30,
            StepKind::Coat => 20,
            StepKind::Check => 10,
            StepKind::Wait => 0,
        })
    }

    /// Whether nobody said anything.
    #[must_use]
    pub fn is_usual(&self) -> bool {
        *self == Self::default()
    }

    /// Whether every number is one a shop can mean.
    ///
    /// # Errors
    /// Names the field and its range.
    pub fn check(&self) -> Result<(), Invalid> {
        let fields = [
            ("work.hands_on_min", self.hands_on_min, 0.0, 10_080.0, "min", "half an hour is 30"),
            ("work.people", self.people, 1.0, 20.0, "people", "leave it out for one"),
            ("work.clamps", self.clamps, 0.0, 500.0, "clamps", "leave it out if none are counted"),
            ("work.max_wait_before_min", self.max_wait_before_min, 1.0, 525_600.0, "min", "a day is 1440"),
        ];
        for (what, value, least, most, unit, mend) in fields {
            if let Some(value) = value {
                within(what, f64::from(value), least, most, unit, mend)?;
            }
        }
        Ok(())
    }
}
