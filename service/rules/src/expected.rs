//! A script's own expected values: run before it comes in force, and by the tests.

use facts::JointState;
use serde::Serialize;

use clock::Air;

use crate::{Fault, Rule, contract::ExpectedSheet};

/// One row of `expected()` and what the rule gives for it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExpectedRow {
    /// Its place in the table, from 1.
    pub row: usize,
    /// The stage it is about.
    pub stage: String,
    /// Temperature of its constant air, °C.
    pub temp_c: f64,
    /// Relative humidity of its constant air, %.
    pub rh_pct: f64,
    /// Hours it expects; none where the stage must never be reached.
    pub hours: Option<f64>,
    /// How far from that the rule may be, h.
    pub within: f64,
    /// Hours the rule gives; none where it never gets there.
    pub gives_h: Option<f64>,
    /// Whether the rule gives what is expected.
    pub met: bool,
    /// Where the figure comes from.
    pub source: String,
}

impl ExpectedRow {
    /// What is wrong with a row that is not met.
    pub(crate) fn said(&self) -> String {
        let hours = |hours: Option<f64>| hours.map_or_else(|| "never".into(), |h| format!("{h:.3} h"));
        let wanted = self.hours.map_or_else(|| "never".into(), |h| format!("{h} ± {} h", self.within));
        format!(
            "expected row {} ({} at {} °C, {} % RH): {wanted} ({}), but the rule gives {}",
            self.row,
            self.stage,
            self.temp_c,
            self.rh_pct,
            self.source,
            hours(self.gives_h)
        )
    }
}

/// Runs every row of `expected()`; at constant air a stage is reached after target age / rate, not before its floor.
pub(crate) fn run(rule: &Rule) -> Result<Vec<ExpectedRow>, Fault> {
    let sheets: Vec<ExpectedSheet> = rule.ask("expected", vec![])?;
    if sheets.is_empty() {
        return Err(rule.fault("fn expected gives no rows; a rule must say what it expects of itself".into()));
    }
    sheets.into_iter().enumerate().map(|(i, sheet)| row(rule, i + 1, sheet)).collect()
}

fn row(rule: &Rule, row: usize, sheet: ExpectedSheet) -> Result<ExpectedRow, Fault> {
    let ExpectedSheet { temp_c, rh_pct, gap_um, film_um, porosity, stage, hours, within, never, source } = sheet;
    let (mode, target_h, floor_h) = rule.milestone(&JointState { gap_um, film_um, porosity }, &stage)?;
    let rate = rule.rate(Air { temp_c, rh_pct }, &mode)?;
    let gives_h = (rate > 0.0).then(|| (target_h / rate).max(floor_h));
    let hours = (!never).then_some(hours);
    let met = match (hours, gives_h) {
        (Some(hours), Some(gives_h)) => (gives_h - hours).abs() <= within,
        (None, None) => true,
        _ => false,
    };
    Ok(ExpectedRow { row, stage, temp_c, rh_pct, hours, within, gives_h, met, source })
}
