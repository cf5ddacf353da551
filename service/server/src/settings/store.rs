//! Where facts are kept: a file of this machine, or a PostgreSQL database that several instances share.

use std::path::PathBuf;

use serde::Deserialize;
use store::{Database, Error, Postgres, Sqlite};

use super::{SettingsError, wrong};

/// Where facts are kept.
#[derive(Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Store {
    /// The database file. The keys of the shop lie beside it, also where the facts are in a server's database.
    pub path: PathBuf,
    /// Address of a PostgreSQL database; empty keeps facts in the file.
    pub url: String,
    /// File with the password of that database, in place of one in its address.
    pub password_file: PathBuf,
    /// Folder of the nightly copies.
    pub backups: PathBuf,
    /// Nightly copies kept.
    pub keep_backups: usize,
    /// Days readings are kept as they came; then they become quarter-hour means.
    pub keep_readings_days: u32,
    /// Days those means are kept.
    pub keep_means_days: u32,
    /// Folder of the photos of jobs.
    pub photos: PathBuf,
    /// Largest photo taken, MiB.
    pub photo_limit_mib: usize,
}

/// Without the address, which may have a password in it.
impl std::fmt::Debug for Store {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        to.debug_struct("Store").field("path", &self.path).finish_non_exhaustive()
    }
}

impl Default for Store {
    fn default() -> Self {
        Self {
            path: "data/benchclock.db".into(),
            url: String::new(),
            password_file: PathBuf::new(),
            backups: "data/backups".into(),
            keep_backups: 14,
            keep_readings_days: 400,
            keep_means_days: 3660,
            photos: "data/photos".into(),
            photo_limit_mib: 16,
        }
    }
}

impl Store {
    pub(super) fn check(&self) -> Result<(), SettingsError> {
        if !self.url.is_empty() && !is_postgres(&self.url) {
            return Err(wrong(
                "store.url",
                "it is no address of a PostgreSQL database",
                "write postgres://user@host/database",
            ));
        }
        self.password()?;
        if !(1..=64).contains(&self.photo_limit_mib) {
            return Err(wrong("store.photo_limit_mib", "must be 1 to 64", "16 holds what a phone makes"));
        }
        if !(14..=3660).contains(&self.keep_readings_days) {
            return Err(wrong("store.keep_readings_days", "must be 14 to 3660", "the forecast learns from 7 days"));
        }
        if self.keep_means_days < self.keep_readings_days {
            let (key, what) = ("store.keep_means_days", "is less than keep_readings_days");
            return Err(wrong(key, what, "3660 keeps ten years"));
        }
        match self.keep_backups {
            0 => Err(wrong("store.keep_backups", "must be at least 1", "14 keeps a fortnight")),
            _ => Ok(()),
        }
    }

    fn password(&self) -> Result<Option<String>, SettingsError> {
        if self.password_file.as_os_str().is_empty() {
            return Ok(None);
        }
        let secret = std::fs::read_to_string(&self.password_file)
            .map_err(|e| wrong("store.password_file", e.to_string(), "make the file readable"))?;
        Ok(Some(secret.trim().into()))
    }

    /// Opens the database the settings name.
    ///
    /// # Errors
    /// When it cannot be opened.
    pub(crate) fn open(&self, shop: &str) -> Result<Box<dyn Database>, Error> {
        self.open_at(if self.url.is_empty() { None } else { Some(&self.url) }, shop)
    }

    /// Opens the database at an address, with the password of the settings; the file of the settings without one.
    ///
    /// # Errors
    /// When it cannot be opened.
    pub(crate) fn open_at(&self, url: Option<&str>, shop: &str) -> Result<Box<dyn Database>, Error> {
        let Some(url) = url else { return Ok(Box::new(Sqlite::open(&self.path, shop)?)) };
        let password = self.password().map_err(|e| Error::NoPlace { why: e.to_string() })?;
        Ok(Box::new(Postgres::open(url, password.as_deref(), shop)?))
    }
}

/// Whether an address is one of a PostgreSQL database.
pub(crate) fn is_postgres(url: &str) -> bool {
    url.starts_with("postgres://") || url.starts_with("postgresql://")
}
