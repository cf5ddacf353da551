//! What earlier versions of the service kept in files beside the database: taken in at start, once. Photos lay in the folder
//! `photos`, which is left under another name; the keys are moved.

use std::{
    fs::{read, read_dir, read_to_string, remove_file, rename},
    io,
    path::Path,
};

use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use store::Database;

use crate::{keys, photos, run::StartError};

/// What the folder of photos is called when they are in the database: whoever has seen them there may remove it.
const DONE: &str = "photos-taken-in";

/// Takes in what lies in the folder of the database file.
///
/// # Errors
/// When a file cannot be read, or what is in it not be kept. What was taken in until then stays.
pub(crate) fn take_in(beside: &Path, database: &mut dyn Database) -> Result<(), StartError> {
    for name in [keys::PUSH, keys::CALENDAR] {
        let path = beside.join(name);
        let failed = |source| StartError::Io { what: format!("taking in the key {}", path.display()), source };
        let Some(text) = there(read_to_string(&path)).map_err(failed)? else { continue };
        let key = URL_SAFE_NO_PAD.decode(text.trim()).map_err(|e| failed(io::Error::other(e)))?;
        if !database.keep_file(name, &key)? {
            tracing::warn!(name, "the shop has a key already: the one in the file is not used");
        }
        remove_file(&path).map_err(failed)?;
    }
    let folder = beside.join("photos");
    let failed = |source| StartError::Io { what: format!("taking in the photos of {}", folder.display()), source };
    let Some(files) = there(read_dir(&folder)).map_err(failed)? else { return Ok(()) };
    let mut taken = 0;
    for file in files {
        let path = file.map_err(failed)?.path();
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        if path.extension().is_some_and(|ending| ending == "jpg")
            && let Ok(photo) = facts::PhotoId::new(stem)
        {
            taken += u64::from(database.keep_file(&photos::name(&photo), &read(&path).map_err(failed)?)?);
        }
    }
    rename(&folder, beside.join(DONE)).map_err(failed)?;
    tracing::info!(taken, "photos are in the database now; {DONE} beside it is not read any more");
    Ok(())
}

/// None for what is not there.
fn there<T>(found: io::Result<T>) -> io::Result<Option<T>> {
    match found {
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(None),
        found => found.map(Some),
    }
}
