//! A database file is for nobody else's eyes: keys, and the secrets of browsers, stand in it.

use std::{
    fs::{OpenOptions, Permissions, metadata, set_permissions},
    os::unix::fs::{OpenOptionsExt, PermissionsExt},
    path::{Path, PathBuf},
};

/// Readable and writable by its owner.
const OWN: u32 = 0o600;
/// What anybody may who is neither the owner nor of the group. The group is left as an administrator set it.
const OTHERS: u32 = 0o007;

/// Sees to it that the file at `path` is shut to others: an empty one is made where there is none. SQLite fills it, and
/// gives what it lays beside it the same rights. What cannot be shut belongs to somebody else, who decides.
pub(crate) fn shut(path: &Path) {
    drop(OpenOptions::new().write(true).create_new(true).mode(OWN).open(path));
    for ending in ["", "-wal", "-shm"] {
        let file = PathBuf::from(format!("{}{ending}", path.display()));
        let Ok(there) = metadata(&file) else { continue };
        let mode = there.permissions().mode();
        // A folder that was named by mistake stays as it is.
        if there.is_file() && mode & OTHERS != 0 {
            drop(set_permissions(&file, Permissions::from_mode(mode & !OTHERS)));
        }
    }
}
