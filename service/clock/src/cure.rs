//! A cure on the bench: the fact that began it and what has happened to it since.

use std::sync::Arc;

use facts::{AlertId, ClampId, CureBegun, Meets, TargetAge};

/// Stages that let the job go on: the first of these a rule names is the one its step waits for.
const RELEASES: [&str; 3] = ["clamp_off", "recoat_opens", "dry_through"];

/// Index of the milestone whose passing lets a job go on.
pub fn releasing(stages: &[TargetAge]) -> Option<usize> {
    RELEASES
        .iter()
        .find_map(|stage| stages.iter().position(|m| m.stage == *stage))
        .or_else(|| stages.iter().rposition(|m| m.meets == Meets::Opens))
}

/// A glue-up or coat, open or closed.
pub struct Cure {
    /// How it began; shared with whoever shows it.
    pub begun: Arc<CureBegun>,
    /// When it was registered: an alert for a milestone passed before that is not late.
    pub recorded_ms: i64,
    /// Clamps still on it.
    pub clamps_on: Vec<ClampId>,
    /// When the last clamp came off.
    pub clamps_off_ms: Option<i64>,
    /// Why it counts no more, if it was withdrawn.
    pub withdrawn: Option<String>,
    /// Set when its rule version cannot be run: it has no times, and says so.
    pub broken: Option<String>,
    /// Closed cures have no alarms and move no more.
    pub(crate) closed: bool,
    /// When the next coat went on it, ms.
    pub(crate) covered_ms: Option<i64>,
    /// Closed for that only: it opens again when that coat is withdrawn.
    pub(crate) closed_by_cover: bool,
    /// Clamps that counted as off when its job was closed: they are on it again when the job is opened again.
    pub(crate) off_with_job: Option<Vec<ClampId>>,
    /// Where it has been; the last is where it is. Ages are read through [`Cure::open_legs`].
    pub(crate) legs: Vec<Leg>,
    pub(crate) told: Vec<Told>,
    /// What was told of stages that only a former version of its rule had.
    pub(crate) former: Vec<(String, Told)>,
}

/// A stretch of a cure in one zone.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Leg {
    pub(crate) zone: usize,
    pub(crate) clock: usize,
    pub(crate) from_ms: i64,
}

/// Where one milestone stands.
#[derive(Debug, Clone, Default)]
pub(crate) struct Told {
    /// The alert that told it.
    pub(crate) alert: Option<AlertId>,
    /// When it came true, as told.
    pub(crate) due_ms: Option<i64>,
    /// How often it was told and taken back; keeps alert ids apart.
    pub(crate) retractions: u32,
    /// The age its alarm is set at, needed to find the alarm again.
    pub(crate) armed: Option<f64>,
    /// Its age is reached and it waits for the wall clock only.
    pub(crate) floor_ms: Option<i64>,
}

impl Cure {
    /// Whether it still has something to tell or clamps to give back.
    pub fn is_open(&self) -> bool {
        !self.closed
    }

    /// Whether light cures it and it has not had enough of it: it is wet, and no time of it holds.
    pub fn waits_for_light(&self) -> bool {
        let laid = self.begun.coat.as_ref();
        laid.is_some_and(|laid| laid.wants_mj_cm2.is_some_and(|wants| laid.exposure_mj_cm2.unwrap_or(0.0) < wants))
    }

    /// When another coat was laid on it, ms.
    pub fn covered_ms(&self) -> Option<i64> {
        self.covered_ms
    }

    /// Its legs while it is open. The clocks of a closed cure go on without it and may forget when it was on them.
    pub(crate) fn open_legs(&self) -> &[Leg] {
        if self.closed { &[] } else { &self.legs }
    }

    /// Index of the milestone whose passing lets the job go on.
    pub fn releasing(&self) -> Option<usize> {
        releasing(&self.begun.milestones)
    }

    /// Whether the step it belongs to is done: its clamps are off, or it had none and is far enough, or the next coat is on.
    pub fn step_done(&self) -> bool {
        self.clamps_off_ms.is_some()
            || self.covered_ms.is_some()
            || (self.clamps_on.is_empty() && self.releasing().is_some_and(|m| self.told[m].alert.is_some()))
    }

    /// Whether its last milestone has been told, or never will be because the next coat is on.
    pub fn all_told(&self) -> bool {
        self.covered_ms.is_some() || self.told.iter().all(|told| told.alert.is_some())
    }

    /// The alert that told milestone `m`, and when it came true.
    pub fn told(&self, m: usize) -> Option<(&AlertId, i64)> {
        let told = &self.told[m];
        Some((told.alert.as_ref()?, told.due_ms?))
    }
}
