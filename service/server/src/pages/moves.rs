//! Times that move when a cure goes by another version of its rule, as a page says them.

use clock::Bench;

use crate::{
    alerts::words::{place, spoken},
    state::State,
    workshop::{Moved, MovedCure},
};

/// One stage and how its time moves.
pub(super) struct MoveRow {
    pub(super) stage: String,
    pub(super) was: String,
    pub(super) would_be: String,
    pub(super) by: String,
    pub(super) told: bool,
}

/// One glue-up or coat and what moves of it.
pub(super) struct MovingCure {
    pub(super) id: String,
    pub(super) place: String,
    pub(super) version: String,
    pub(super) rows: Vec<MoveRow>,
}

impl State {
    pub(super) fn move_rows(&self, moved: &[Moved], now_ms: i64) -> Vec<MoveRow> {
        let text =
            |at_ms: Option<i64>| at_ms.map_or_else(|| "not in this air".into(), |ms| self.clock_text(ms, now_ms));
        let row = |moved: &Moved| MoveRow {
            stage: spoken(&moved.stage),
            was: text(moved.at_ms[0]),
            would_be: text(moved.at_ms[1]),
            by: moved.by_min.map_or_else(String::new, |min| shift_text(min / 60.0)),
            told: moved.told,
        };
        moved.iter().map(row).collect()
    }

    pub(super) fn moving_cure(&self, bench: &Bench, moved: &MovedCure, now_ms: i64) -> MovingCure {
        MovingCure {
            id: moved.cure.clone(),
            place: bench.cure(&moved.cure).map_or_else(String::new, |cure| place(bench, cure)),
            version: moved.rule_version.clone(),
            rows: self.move_rows(&moved.stages, now_ms),
        }
    }
}

/// A length of time: "45 min", "3.2 h", "5.0 days".
pub(super) fn hours_text(hours: f64) -> String {
    match hours.abs() {
        ..1.0 => format!("{:.0} min", hours * 60.0),
        ..72.0 => format!("{hours:.1} h"),
        _ => format!("{:.1} days", hours / 24.0),
    }
}

/// How much later or earlier.
pub(super) fn shift_text(hours: f64) -> String {
    match hours {
        0.0.. => format!("{} later", hours_text(hours)),
        _ => format!("{} earlier", hours_text(-hours)),
    }
}
