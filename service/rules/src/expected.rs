//! A script's own expected values: run before it comes in force, and by the tests.

use facts::JointState;

use clock::Air;

use crate::{Fault, Rule, contract::ExpectedSheet};

/// Runs every row of `expected()`; at constant air a stage is reached after target age / rate, not before its floor.
pub(crate) fn run(rule: &Rule) -> Result<(), Fault> {
    let rows: Vec<ExpectedSheet> = rule.ask("expected", vec![])?;
    if rows.is_empty() {
        return Err(rule.fault("fn expected gives no rows; a rule must say what it expects of itself".into()));
    }
    for (i, row) in rows.iter().enumerate() {
        let joint = JointState { gap_um: row.gap_um, film_um: row.film_um, porosity: row.porosity };
        let (mode, target_h, floor_h) = rule.milestone(&joint, &row.stage)?;
        let rate = rule.rate(Air { temp_c: row.temp_c, rh_pct: row.rh_pct }, &mode)?;
        let hours = if rate > 0.0 { (target_h / rate).max(floor_h) } else { f64::INFINITY };
        let met = if row.never { hours.is_infinite() } else { (hours - row.hours).abs() <= row.within };
        if !met {
            let wanted = if row.never { "never".into() } else { format!("{} ± {} h", row.hours, row.within) };
            return Err(rule.fault(format!(
                "expected row {} ({} at {} °C, {} % RH): {wanted} ({}), but the rule gives {hours:.3} h",
                i + 1,
                row.stage,
                row.temp_c,
                row.rh_pct,
                row.source
            )));
        }
    }
    Ok(())
}
