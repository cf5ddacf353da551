//! How each hook stands: how often it was asked, how long it took, how often it failed, whether it is still asked.

use std::time::Duration;

use facts::VersionId;

use crate::Fault;

/// Failures in a row after which a hook is set aside.
pub const SET_ASIDE_AFTER: u32 = 3;

/// How one hook of one file stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HookTally {
    /// Its file.
    pub file: String,
    /// The text of the file it belongs to.
    pub version: VersionId,
    /// Its name.
    pub hook: &'static str,
    /// How often it was asked.
    pub calls: u64,
    /// How often it failed.
    pub failures: u64,
    /// How often it failed since it last answered.
    pub in_a_row: u32,
    /// Whether it is not asked any more.
    pub set_aside: bool,
    /// Time all its calls took.
    pub total: Duration,
    /// Time the longest took.
    pub longest: Duration,
    /// What was wrong when it last failed.
    pub last_fault: Option<Fault>,
}

impl HookTally {
    pub(super) fn new(file: &str, version: &VersionId, hook: &'static str) -> Self {
        Self {
            file: file.into(),
            version: version.clone(),
            hook,
            calls: 0,
            failures: 0,
            in_a_row: 0,
            set_aside: false,
            total: Duration::ZERO,
            longest: Duration::ZERO,
            last_fault: None,
        }
    }

    pub(super) fn count(&mut self, took: Duration, fault: Option<&Fault>) {
        self.calls += 1;
        self.total += took;
        self.longest = self.longest.max(took);
        let Some(fault) = fault else {
            self.in_a_row = 0;
            return;
        };
        self.failures += 1;
        self.in_a_row += 1;
        self.set_aside |= self.in_a_row >= SET_ASIDE_AFTER;
        self.last_fault = Some(fault.clone());
    }
}
