//! The scripts folder where several instances serve one shop. Each has a folder of its own, and what came in force at another
//! is written into it: the newest in force wins, and a file that somebody edited is a version like any other.
//!
//! So a file must be told from one that was merely left behind. While the service runs it remembers what each file was when
//! folder and journal last agreed: one that is still that has not been edited. At start it remembers nothing; then a text
//! that was in force before is taken for one left behind, and a text the journal has never seen for an edit.

use std::{
    collections::BTreeMap,
    sync::{Arc, PoisonError},
};

use facts::{MaterialId, VersionId};
use rules::Rule;
use tokio_util::sync::CancellationToken;

use super::{on_disk, path_of, unwritable, write_whole};
use crate::state::State;

/// What each rule's file was when folder and journal last agreed, or when it was found left behind.
#[derive(Default)]
pub(crate) struct Agreed(BTreeMap<MaterialId, VersionId>);

impl Agreed {
    /// File and journal say the same.
    pub(super) fn on(&mut self, material: MaterialId, version: VersionId) {
        self.0.insert(material, version);
    }

    /// Whether a file is what it was then: nobody has edited it.
    pub(super) fn still(&self, material: &MaterialId, version: &VersionId) -> bool {
        self.0.get(material) == Some(version)
    }
}

/// Writes what came in force elsewhere into files that were left behind. A folder that cannot be written stays as it is, and
/// what is in force is in force without it.
pub(super) fn catch_up(state: &State, agreed: &mut Agreed) {
    if !state.others.may_be() {
        return;
    }
    let in_force = state.bench().in_force().clone();
    for (material, version) in in_force {
        if agreed.still(&material, &version) {
            continue;
        }
        // A file that cannot be read is somebody's, and a fault that whoever reads the folder tells.
        let Ok(stands) = on_disk(state, &material) else { continue };
        let stands = stands.map(|text| Rule::version_of(&text));
        let file = format!("materials/{material}.rhai");
        let left_behind = match &stands {
            None => true,
            Some(stands) if *stands == version => {
                agreed.on(material, version);
                continue;
            }
            Some(stands) if agreed.0.contains_key(&material) => agreed.still(&material, stands),
            Some(stands) => state.rulebook.stood_in(stands, &file),
        };
        let Some(text) = state.rulebook.text(&version).filter(|_| left_behind) else { continue };
        match write_whole(&path_of(state, &material), &text) {
            Ok(()) => {
                tracing::info!(file, %version, "came in force at another instance and is written down here");
                state.faults.write().unwrap_or_else(PoisonError::into_inner).remove(&file);
                agreed.on(material, version);
            }
            Err(e) => {
                tracing::warn!(problem = %unwritable(&e), file, "is in force, and the file here stays as it was");
                if let Some(stands) = stands {
                    agreed.on(material, stands);
                }
            }
        }
    }
}

/// Catches up whenever a rule came in force, until told to stop.
pub(crate) async fn run(state: Arc<State>, stop: CancellationToken) {
    loop {
        tokio::select! {
            () = stop.cancelled() => return,
            () = state.shared.rules.notified() => {}
        }
        catch_up(&state, &mut *state.scripts.lock().await);
    }
}
