//! Where each piece of work stands on the wall, kept beside the journal: a restart must not unsettle a day that people have
//! read. It is no fact. Lost, or unreadable, the bench is planned without it.

use std::{collections::BTreeMap, io::ErrorKind, path::Path};

/// The first minute of each piece, minutes since 1970 UTC, by its key.
pub(crate) type Places = BTreeMap<String, i64>;

/// What was kept last; nothing where nothing was, or where it cannot be read, which the log then says.
pub(super) fn read(path: &Path) -> Places {
    let read = std::fs::read(path).and_then(|text| Ok(serde_json::from_slice(&text)?));
    read.unwrap_or_else(|why| {
        if why.kind() != ErrorKind::NotFound {
            tracing::warn!(file = %path.display(), %why, "the plan before the restart could not be read: it is made anew");
        }
        Places::new()
    })
}

/// Keeps them, whole or not at all; the plan stands without.
pub(super) fn keep(path: &Path, places: &Places) {
    let part = path.with_extension("part");
    let text = serde_json::to_vec(places).unwrap_or_default();
    if let Err(why) = std::fs::write(&part, text).and_then(|()| std::fs::rename(&part, path)) {
        tracing::warn!(file = %path.display(), %why, "the plan is not kept over a restart");
    }
}
