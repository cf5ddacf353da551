//! The only place that reads the wall clock. Everything else is told what time it is.

use std::sync::{
    Arc,
    atomic::{AtomicI64, Ordering},
};

use chrono::{DateTime, Utc};

/// Where the time comes from: the machine, or an instant somebody set.
#[derive(Debug, Clone, Default)]
pub struct Now {
    /// Milliseconds since 1970 UTC; zero means the machine's clock.
    set_ms: Arc<AtomicI64>,
}

impl Now {
    /// The machine's clock.
    pub fn system() -> Self {
        Self::default()
    }

    /// A clock that stands at an instant until it is set again: for tests, and for telling a past to the demo shop.
    pub fn standing_at(at_ms: i64) -> Self {
        let now = Self::default();
        now.set(at_ms);
        now
    }

    /// Sets the clock to an instant.
    pub fn set(&self, at_ms: i64) {
        self.set_ms.store(at_ms, Ordering::SeqCst);
    }

    /// Back to the machine's clock.
    pub fn release(&self) {
        self.set_ms.store(0, Ordering::SeqCst);
    }

    /// Milliseconds since 1970 UTC.
    #[expect(clippy::disallowed_methods, reason = "this is the one seam through which time enters")]
    pub fn ms(&self) -> i64 {
        match self.set_ms.load(Ordering::SeqCst) {
            0 => std::time::SystemTime::now()
                .duration_since(std::time::UNIX_EPOCH)
                .map_or(0, |past| past.as_millis() as i64),
            at_ms => at_ms,
        }
    }
}

/// Notices when the clock is set back between two looks at it.
#[derive(Debug)]
pub(crate) struct SetBack(AtomicI64);

/// Less than this is the clock being trimmed.
const TRIM_MS: i64 = 2_000;

impl Default for SetBack {
    fn default() -> Self {
        Self(AtomicI64::new(i64::MIN))
    }
}

impl SetBack {
    /// What the clock said at the last look, ms, if it says less now.
    pub(crate) fn look(&self, now_ms: i64) -> Option<i64> {
        let last_ms = self.0.swap(now_ms, Ordering::SeqCst);
        (now_ms < last_ms.saturating_sub(TRIM_MS)).then_some(last_ms)
    }
}

/// How long something took. Monotonic: it says nothing of when.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Stopwatch(std::time::Instant);

impl Stopwatch {
    /// Starts now.
    #[expect(clippy::disallowed_methods, reason = "it measures the service itself, nothing that is told to anybody")]
    pub(crate) fn started() -> Self {
        Self(std::time::Instant::now())
    }

    /// How long ago it was started.
    pub(crate) fn passed(self) -> std::time::Duration {
        self.0.elapsed()
    }
}

/// When something that must go on for ever was last seen to go on.
#[derive(Debug, Default)]
pub(crate) struct LastSeen(std::sync::Mutex<Option<Stopwatch>>);

impl LastSeen {
    /// It is seen now.
    pub(crate) fn note(&self) {
        *self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner) = Some(Stopwatch::started());
    }

    /// How long ago that was; none while it has not begun.
    pub(crate) fn since(&self) -> Option<std::time::Duration> {
        self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner).map(Stopwatch::passed)
    }
}

/// Milliseconds since 1970 UTC as an instant.
pub(crate) fn instant(at_ms: i64) -> DateTime<Utc> {
    DateTime::from_timestamp_millis(at_ms).unwrap_or(DateTime::UNIX_EPOCH)
}
