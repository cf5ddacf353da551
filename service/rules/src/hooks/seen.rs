//! What a hook sees and what it may give back.

use facts::StepKind;
use serde::{Deserialize, Serialize};

/// One event a shop script may have a say in.
pub(crate) struct HookKind {
    pub(crate) name: &'static str,
    pub(crate) argument: &'static str,
    pub(crate) says: &'static str,
}

/// Every hook, in the order of the script reference.
pub(crate) const HOOKS: &[HookKind] = &[
    HookKind {
        name: "word_alert",
        argument: "alert",
        says: "Words an alert: gives `#{ title: \"...\", body: \"...\" }`, or `()` to leave it as it is. Cautions, and that \
               it is an estimate, are said behind it whatever is given.",
    },
    HookKind {
        name: "next_step",
        argument: "alert",
        says: "Adds a step to do next: gives its title, or `#{ title: \"...\", kind: \"hands_on\" }` (`hands_on`, `wait`, \
               `check`), or `()`. It is said in the alert and added to the job, if the glue-up or coat belongs to one.",
    },
    HookKind {
        name: "tell",
        argument: "alert",
        says: "Chooses who is told: gives a list of receivers by the names they have in the settings, or `()` for all of \
               them. The alert stands on the board in any case.",
    },
    HookKind {
        name: "hold_string_up",
        argument: "instrument",
        says: "Holds a string-up back: gives the reason, or `()`. A script can hold back; it cannot let go what the rules \
               hold.",
    },
];

/// An alert as a hook sees it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AlertSeen {
    /// What it is about: `milestone`, `mix`, `string_up`, `digest`, `climate`, `sensor_silent`,
    /// `calibration_due`.
    pub kind: String,
    /// One line.
    pub title: String,
    /// What to do.
    pub body: String,
    /// The stage, empty when it is no milestone's.
    pub stage: String,
    /// The glue-up or coat, or empty.
    pub cure: String,
    /// Its material, or empty.
    pub material: String,
    /// Its instrument, or empty.
    pub instrument: String,
    /// Its job, or empty.
    pub job: String,
    /// Where it is on, in words, or empty.
    pub place: String,
    /// Told long after it came true.
    pub late: bool,
    /// The shop's hour, 0 to 23.
    pub hour: i64,
    /// The shop's day: `mon`, `tue` ...
    pub weekday: String,
}

/// An instrument as a hook sees it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InstrumentSeen {
    /// Its id.
    pub id: String,
    /// What the shop calls it.
    pub name: String,
    /// Its family in the trade's words.
    pub family: String,
    /// The zone it is in, or empty where nobody has said.
    pub zone: String,
    /// The air it is in; none where its zone is not known.
    pub air: Option<AirSeen>,
    /// What cures on it.
    pub curing: Vec<CuringSeen>,
}

/// Air as a hook sees it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AirSeen {
    /// Temperature, °C.
    pub temp_c: f64,
    /// Relative humidity, %.
    pub rh_pct: f64,
}

/// A glue-up or coat as a hook sees it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct CuringSeen {
    /// Its id.
    pub cure: String,
    /// `glue_up` or `coat`.
    pub kind: String,
    /// Its material.
    pub material: String,
    /// Hours since it began.
    pub hours: f64,
    /// Its age, reference hours.
    pub age_h: f64,
    /// Stages whose safe time has passed.
    pub reached: Vec<String>,
}

/// What `word_alert` gives.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Wording {
    pub(super) title: Option<String>,
    pub(super) body: Option<String>,
}

/// What `next_step` gives.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
#[serde(untagged)]
pub(super) enum Adding {
    Title(String),
    Step {
        title: String,
        #[serde(default = "hands_on")]
        kind: StepKind,
    },
}

fn hands_on() -> StepKind {
    StepKind::HandsOn
}

/// A step a hook asks for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AskedStep {
    /// The file that asks.
    pub file: String,
    /// What kind of work.
    pub kind: StepKind,
    /// What to do.
    pub title: String,
}
