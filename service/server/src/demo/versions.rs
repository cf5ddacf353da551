//! A rule of the demo that had another version for some days: the bench tried a longer clamp time and went back. What began
//! meanwhile goes by it still, until somebody moves it.

use std::sync::Arc;

use facts::{Fact, MaterialId, RulePutInForce, VersionId};
use rules::Rule;

use super::id;
use crate::{
    problem::{Kind, Problem},
    state::State,
};

const MATERIAL: &str = "fish-glue";
/// What was tried: the constant as it is shipped, and longer.
const TRIED: (&str, &str) = ("const CLAMP_OFF_H = ", "const CLAMP_OFF_H = 1.25 * ");
const WHY: &str = "our clamps stay on longer until we trust this jar; the table is the sheet's";

/// Puts the longer one in force.
pub(super) fn tried(state: &Arc<State>) -> Result<Fact, Problem> {
    let (_, text) = shipped(state)?;
    let (text, file) = (text.replacen(TRIED.0, TRIED.1, 1), format!("materials/{MATERIAL}.rhai"));
    let version = state.rulebook.check_over(&file, &text)?.version.clone();
    state.rulebook.excuse(&version, WHY);
    Ok(Fact::RulePutInForce(put(version, text, Some(WHY.into()))))
}

/// Puts the shipped one in force again.
pub(super) fn back(state: &Arc<State>) -> Result<Fact, Problem> {
    let (version, text) = shipped(state)?;
    Ok(Fact::RulePutInForce(put(version, text, None)))
}

/// The text as it stands on disk.
fn shipped(state: &Arc<State>) -> Result<(VersionId, String), Problem> {
    let material: MaterialId = id(MATERIAL);
    let missing = || Problem::new(Kind::Internal, format!("the demo has no rule of {MATERIAL}"), "give it --scripts");
    let text = crate::scripts::on_disk(state, &material)?.ok_or_else(missing)?;
    Ok((Rule::version_of(&text), text))
}

fn put(version: VersionId, text: String, override_reason: Option<String>) -> RulePutInForce {
    RulePutInForce {
        material: id(MATERIAL),
        version,
        file: format!("materials/{MATERIAL}.rhai"),
        text,
        override_reason,
    }
}
