//! Where facts are kept: a file of this machine, or a PostgreSQL database that several instances share.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use store::{Database, Error, Postgres, Sqlite};

use super::{SettingsError, wrong};

/// Where facts are kept.
#[derive(Clone, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Store {
    /// The database file; its folder is made if it is not there. Not on a network file system.
    pub path: PathBuf,
    /// Address of a PostgreSQL database (15 or newer) that keeps the facts in place of the file, so that several instances
    /// can serve the shop: `postgres://benchclock@db.example/benchclock`. The role must be neither superuser nor BYPASSRLS.
    /// Beyond this machine the line is sealed by TLS unless the address ends in `?sslmode=disable`.
    #[schema(format = Password)]
    pub url: String,
    /// File that holds the password for it; empty for none.
    pub password_file: PathBuf,
    /// Folder of the nightly copies.
    pub backups: PathBuf,
    /// Nightly copies kept.
    #[schema(minimum = 1)]
    pub keep_backups: usize,
    /// Days readings are kept as they came; what an open glue-up needs is kept longer. Then they become means of a
    /// quarter of an hour with the least and the most. The forecast learns from 14 days.
    #[schema(minimum = 14, maximum = 3660)]
    pub keep_readings_days: u32,
    /// Days those means are kept; not less than keep_readings_days.
    #[schema(minimum = 14)]
    pub keep_means_days: u32,
    /// Largest photo taken, MiB; 16 holds what a phone makes. Of a photo only the pixels are kept, at most 2048 on a side,
    /// with the facts: each copy holds all of them.
    #[schema(minimum = 1, maximum = 64)]
    pub photo_limit_mib: usize,
    /// Writes that may wait for the disk: some seconds' worth of a slow one. What comes beyond them is answered 503 with
    /// Retry-After, and nothing of it is kept.
    #[schema(minimum = 1, maximum = 65536)]
    pub waiting: usize,
}

/// Without the address, which may have a password in it.
impl std::fmt::Debug for Store {
    fn fmt(&self, to: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let url = if self.url.is_empty() { "" } else { "(not shown)" };
        to.debug_struct("Store")
            .field("path", &self.path)
            .field("url", &url)
            .field("password_file", &self.password_file)
            .field("backups", &(&self.backups, self.keep_backups))
            .field("days", &(self.keep_readings_days, self.keep_means_days))
            .field("photo_limit_mib", &self.photo_limit_mib)
            .field("waiting", &self.waiting)
            .finish()
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
            photo_limit_mib: 16,
            waiting: 8192,
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
        if self.keep_means_days < self.keep_readings_days {
            let (key, what) = ("store.keep_means_days", "is less than keep_readings_days");
            return Err(wrong(key, what, "3660 keeps ten years"));
        }
        Ok(())
    }

    /// The folder of the database file, where the service keeps what else is its own.
    pub(crate) fn folder(&self) -> &Path {
        let beside = self.path.parent().filter(|folder| !folder.as_os_str().is_empty());
        beside.unwrap_or(Path::new("."))
    }

    /// The network file system the database file lies on, where facts are kept in one.
    pub(crate) fn network_mount(&self) -> Option<String> {
        if self.url.is_empty() { store::network_mount(&self.path) } else { None }
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
