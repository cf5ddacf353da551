//! What earlier versions of the service kept in files beside the database: taken in at start, once. Photos lay in the folder
//! `photos` and are left in another; the keys are moved.

use std::{
    fs::{create_dir_all, read, read_dir, read_to_string, remove_dir, remove_file, rename},
    io,
    path::Path,
};

use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use store::Database;

use crate::{keys, photos, run::StartError};

/// Where photos lie when they are in the database: whoever has seen them there may remove it.
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
        if !database.keep_file(name, &key)? && database.file(name)?.as_ref() != Some(&key) {
            tracing::warn!(name, "the shop has another key: the one in the file beside the database is not used");
            continue;
        }
        remove_file(&path).map_err(failed)?;
    }
    let (folder, done) = (beside.join("photos"), beside.join(DONE));
    let failed = |source| StartError::Io { what: format!("taking in the photos of {}", folder.display()), source };
    let Some(files) = there(read_dir(&folder)).map_err(failed)? else { return Ok(()) };
    create_dir_all(&done).map_err(failed)?;
    for file in files {
        let file = file.map_err(failed)?;
        let (path, named) = (file.path(), file.file_name());
        let Some(stem) = named.to_str().and_then(|named| named.strip_suffix(".jpg")) else { continue };
        let Ok(photo) = facts::PhotoId::new(stem) else { continue };
        database.keep_file(&photos::name(&photo), &read(&path).map_err(failed)?)?;
        rename(&path, done.join(&named)).map_err(failed)?;
    }
    tracing::info!("the photos of {} are in the database now; {DONE} beside it is not read any more", folder.display());
    // What else may lie there is none of ours.
    drop(remove_dir(&folder));
    Ok(())
}

/// None for what is not there.
fn there<T>(found: io::Result<T>) -> io::Result<Option<T>> {
    match found {
        Err(e) if e.kind() == io::ErrorKind::NotFound => Ok(None),
        found => found.map(Some),
    }
}
