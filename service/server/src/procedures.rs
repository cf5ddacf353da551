//! Procedures: usual jobs as files a shop edits, each a starting point for a job's steps. Read when they are asked for,
//! so that a saved file counts at once.

use std::path::Path;

use facts::{MaterialId, StepId, StepKind};
use serde::Deserialize;

/// A usual job.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Procedure {
    /// The file's name without its ending.
    #[serde(skip)]
    pub(crate) id: String,
    /// What the job is called.
    pub(crate) title: String,
    /// When it is the right one.
    pub(crate) about: String,
    /// What may hurt somebody or spoil the work.
    pub(crate) cautions: Vec<String>,
    /// What to do, in order.
    pub(crate) steps: Vec<Planned>,
}

/// A step of a procedure.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Planned {
    pub(crate) id: StepId,
    pub(crate) kind: StepKind,
    pub(crate) title: String,
    /// Steps that must be finished first; the one above if none is named.
    #[serde(default)]
    pub(crate) follows: Vec<StepId>,
    /// What the joint it closes is called; made when the job is opened, if the instrument has none of that name.
    pub(crate) joint: Option<String>,
    /// The material it usually takes.
    pub(crate) material: Option<MaterialId>,
}

/// Every procedure of a folder in order of title, and what is wrong with files that are none.
pub(crate) fn read(folder: &Path) -> (Vec<Procedure>, Vec<String>) {
    let entries = match std::fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(e) => return (vec![], vec![format!("{} (shop.procedures): {e}", folder.display())]),
    };
    let (mut procedures, mut faults) = (Vec::new(), Vec::new());
    for path in entries.flatten().map(|entry| entry.path()).filter(|path| path.extension().is_some_and(|e| e == "toml"))
    {
        match one(&path) {
            Ok(procedure) => procedures.push(procedure),
            Err(fault) => faults.push(format!("{}: {fault}", path.display())),
        }
    }
    procedures.sort_by(|a, b| a.title.cmp(&b.title));
    faults.sort();
    (procedures, faults)
}

fn one(path: &Path) -> Result<Procedure, String> {
    let text = std::fs::read_to_string(path).map_err(|e| e.to_string())?;
    let mut procedure: Procedure = toml::from_str(&text).map_err(|e| e.to_string())?;
    procedure.id = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let mut before: Vec<&StepId> = Vec::new();
    for step in &procedure.steps {
        if before.contains(&&step.id) {
            return Err(format!("step \"{}\" stands twice", step.id));
        }
        if let Some(follows) = step.follows.iter().find(|id| !before.contains(id)) {
            return Err(format!("step \"{}\" follows \"{follows}\", which does not stand above it", step.id));
        }
        before.push(&step.id);
    }
    Ok(procedure)
}
