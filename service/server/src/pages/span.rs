//! A stretch of time as a picture shows it: where in its width a moment lies, and the bars between moments.

/// A stretch of a bar, in percent of the picture's width.
pub(super) struct Stretch {
    /// What it stands for, a word of the style sheet.
    pub(super) class: &'static str,
    pub(super) x_pct: f64,
    pub(super) width_pct: f64,
}

/// From when to when a picture shows, and between which shares of its width.
#[derive(Clone, Copy)]
pub(super) struct Span {
    pub(super) from_ms: i64,
    pub(super) to_ms: i64,
    pub(super) plot: (f64, f64),
}

impl Span {
    /// Where a moment lies; one outside lies at the edge.
    pub(super) fn pct(self, at_ms: i64) -> f64 {
        let share = (at_ms - self.from_ms) as f64 / (self.to_ms - self.from_ms) as f64;
        round(100.0 * (self.plot.0 + share.clamp(0.0, 1.0) * (self.plot.1 - self.plot.0)))
    }

    /// From a moment to another, never thinner than `least_pct`.
    pub(super) fn stretch(self, class: &'static str, from_ms: i64, to_ms: i64, least_pct: f64) -> Stretch {
        let x_pct = self.pct(from_ms);
        Stretch { class, x_pct, width_pct: round((self.pct(to_ms) - x_pct).max(least_pct)) }
    }
}

fn round(pct: f64) -> f64 {
    (pct * 100.0).round() / 100.0
}
