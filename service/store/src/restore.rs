//! A backup put back: checked first, never over something that is there.

use std::path::{Path, PathBuf};

use rusqlite::{Connection, OpenFlags};

use crate::{Error, private, schema::MIGRATIONS};

/// Puts a backup where a journal is to be; how many facts and readings it holds.
///
/// # Errors
/// When the backup is not sound or no journal, when a newer program wrote it, or when something is at `to` already.
pub fn restore(from: &Path, to: &Path) -> Result<(u64, u64), Error> {
    let beside = |ending: &str| PathBuf::from(format!("{}{ending}", to.display()));
    // The log of another database beside it would be taken for this one's.
    for path in [to.to_path_buf(), beside("-wal"), beside("-shm")] {
        if path.exists() {
            return Err(Error::InTheWay { path: path.display().to_string() });
        }
    }
    let part = beside(".part");
    if part.exists() {
        std::fs::remove_file(&part).map_err(|_| Error::ReadOnly { path: part.display().to_string() })?;
    }
    copy(from, &part)?;
    let counted = check(&part).map_err(|why| Error::NoCopy { path: from.display().to_string(), why });
    if counted.is_err() {
        drop(std::fs::remove_file(&part));
    }
    let counted = counted?;
    place(&part, to).map_err(|_| Error::ReadOnly { path: to.display().to_string() })?;
    Ok(counted)
}

/// Reads the backup through SQLite, so that one whose log was copied along with it is whole.
fn copy(from: &Path, part: &Path) -> Result<(), Error> {
    let why = |why: String| Error::NoCopy { path: from.display().to_string(), why };
    if !from.is_file() {
        return Err(why("there is no such file".into()));
    }
    let source = Connection::open_with_flags(from, OpenFlags::SQLITE_OPEN_READ_ONLY).map_err(|e| why(e.to_string()))?;
    let sound: String = source
        .query_row("PRAGMA integrity_check", [], |row| row.get(0))
        .map_err(|_| why("it is no SQLite database".into()))?;
    if sound != "ok" {
        return Err(why(sound));
    }
    private::shut(part);
    source.execute("VACUUM INTO ?1", [part.display().to_string()]).map(drop).map_err(|e| why(e.to_string()))
}

/// Whether the copy is a journal this program can read, and how much is in it.
fn check(part: &Path) -> Result<(u64, u64), String> {
    let copy = Connection::open(part).map_err(|e| e.to_string())?;
    let version: i64 = copy.pragma_query_value(None, "user_version", |row| row.get(0)).map_err(|e| e.to_string())?;
    let known = MIGRATIONS.len() as i64;
    if version > known {
        return Err(format!("it has schema {version}, this program knows up to {known}"));
    }
    let count = |table: &str| {
        copy.query_row(&format!("SELECT count(*) FROM {table}"), [], |row| row.get::<_, i64>(0))
            .map(|n| n as u64)
            .map_err(|_| format!("it has no {table}, so it is no journal"))
    };
    Ok((count("journal")?, count("reading")?))
}

/// Gives the copy its name when it is on disk, and makes the name itself lasting.
fn place(part: &Path, to: &Path) -> std::io::Result<()> {
    std::fs::File::open(part)?.sync_all()?;
    std::fs::rename(part, to)?;
    let folder = to.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    std::fs::File::open(folder)?.sync_all()
}
