//! A draft of a rule: its own text with `fitted()` at the end. The sheet's numbers are not touched, so that taking the
//! function out again goes back to them, and the next fit begins from them.

use super::report::{Fitted, StageFit};

/// What is written into the draft.
pub(super) struct Lines<'a> {
    pub(super) on: &'a str,
    pub(super) observations: usize,
    pub(super) pieces: usize,
    pub(super) stages: &'a [StageFit],
    pub(super) per_10_k: Option<Fitted>,
}

impl Lines<'_> {
    /// The text with these lines in place of those of an earlier fit.
    pub(super) fn written_into(&self, text: &str) -> Result<String, String> {
        Ok(format!("{}\n\n{}", without_fitted(text)?.trim_end(), self.function()))
    }

    fn function(&self) -> String {
        let mut lines = format!(
            "// Fitted at the bench on {} to {} observation(s) of {} piece(s); 90 % intervals in brackets. Without this \
             function\n// the sheet above is in force.\nfn fitted() {{\n    #{{\n        stages: #{{\n",
            self.on, self.observations, self.pieces
        );
        for stage in self.stages.iter().filter(|stage| stage.told) {
            lines.push_str(&format!(
                "            {}: #{{ times: {:.3}, spread: [{:.2}, {:.2}] }}, // {} h, was {} h [{} to {}], {} piece(s)\n",
                stage.stage,
                stage.times.likely,
                stage.spread.0,
                stage.spread.1,
                hours(stage.fitted_h.likely),
                hours(stage.in_force_h),
                hours(stage.fitted_h.low),
                hours(stage.fitted_h.high),
                stage.pieces
            ));
        }
        lines.push_str("        },\n");
        if let Some(warmth) = self.per_10_k {
            lines.push_str(&format!(
                "        per_10_k: {:.3}, // times faster per 10 K than rate() says [{:.2} to {:.2}]\n",
                warmth.likely, warmth.low, warmth.high
            ));
        }
        lines.push_str("    }\n}\n");
        lines
    }
}

/// Three significant digits.
fn hours(hours: f64) -> String {
    match hours {
        h if h >= 100.0 => format!("{h:.0}"),
        h if h >= 10.0 => format!("{h:.1}"),
        h => format!("{h:.2}"),
    }
}

/// The text without an earlier `fn fitted()` and the comment above it.
fn without_fitted(text: &str) -> Result<String, String> {
    let lines: Vec<&str> = text.lines().collect();
    let Some(begins) = lines.iter().position(|line| line.starts_with("fn fitted()")) else {
        let elsewhere = lines.iter().any(|line| line.trim_start().starts_with("fn fitted"));
        return match elsewhere {
            true => Err("fn fitted() does not begin its line, so that a fit cannot be written in its place".into()),
            false => Ok(text.into()),
        };
    };
    let Some(length) = lines[begins..].iter().position(|line| *line == "}") else {
        return Err("the end of fn fitted() is not found: put its closing } on a line of its own".into());
    };
    let comment = lines[..begins].iter().rev().take_while(|line| line.starts_with("//")).count();
    let mut kept = lines[..begins - comment].join("\n");
    kept.push('\n');
    kept.push_str(&lines[begins + length + 1..].join("\n"));
    Ok(kept)
}
