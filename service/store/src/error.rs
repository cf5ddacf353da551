//! What can go wrong with a disk, sorted by what the caller can do about it.

/// Why the store could not do it. Nothing was written.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// There is no room left.
    #[error("the disk that holds {path} is full; free some space, the service goes on by itself")]
    Full {
        /// The database file.
        path: String,
    },
    /// The file or folder cannot be written.
    #[error("{path} cannot be written; check the owner and the mount, the service goes on by itself")]
    ReadOnly {
        /// The database file.
        path: String,
    },
    /// The disk does not do what it is asked.
    #[error("the disk that holds {path} fails ({what}); look at the system's log, the service goes on by itself")]
    Failing {
        /// The database file.
        path: String,
        /// What SQLite said.
        what: String,
    },
    /// What is in the file is no sound database.
    #[error("{path} is damaged ({what}); stop the service, move the file away and put the last backup in its place")]
    Damaged {
        /// The database file.
        path: String,
        /// What SQLite said.
        what: String,
    },
    /// Another process holds the database.
    #[error("{path} is locked by another process; end it, the service goes on by itself")]
    Locked {
        /// The database file.
        path: String,
    },
    /// More is waiting to be written than may wait.
    #[error("{waiting} writes are waiting already; try again in a second")]
    Busy {
        /// How many wait.
        waiting: usize,
    },
    /// The writer has stopped.
    #[error("the service is stopping; try again when it is back")]
    Stopped,
    /// The linked SQLite is one with a known fault.
    #[error("SQLite {found} has a known fault in its write-ahead log; {needed} or newer is needed")]
    TooOld {
        /// Version linked.
        found: String,
        /// Least version that will do.
        needed: &'static str,
    },
    /// The file was written by a newer benchclock.
    #[error("{path} has schema {found}, this program knows up to {known}; start the newer benchclock")]
    TooNew {
        /// The database file.
        path: String,
        /// Schema of the file.
        found: i64,
        /// Newest schema known.
        known: i64,
    },
    /// A stored body cannot be read.
    #[error("fact {seq} in the journal cannot be read: {why}; restore the last backup")]
    Unreadable {
        /// Its place in the journal.
        seq: i64,
        /// What the reader said.
        why: String,
    },
    /// A journal is to be filled that has something in it.
    #[error("{path} is not empty; name a file that is not there yet in store.path, or another shop in shop.id")]
    NotEmpty {
        /// The database file.
        path: String,
    },
    /// What is to be taken in is not whole.
    #[error("{why}; nothing was taken in")]
    NotWhole {
        /// Where and why.
        why: String,
    },
    /// A copy is to be restored that is none.
    #[error("{path} cannot be restored: {why}; choose another copy")]
    NoCopy {
        /// The copy.
        path: String,
        /// Why.
        why: String,
    },
    /// Something is where a file is to be made.
    #[error("{path} is there already and is not written over; move it away first, with its -wal and -shm")]
    InTheWay {
        /// What is there.
        path: String,
    },
    /// A server keeps the shop, and it is not reached.
    #[error("the database at {path} is not reached: {why}; start it or mend store.url, the service goes on by itself")]
    Away {
        /// Server and database.
        path: String,
        /// What was met.
        why: String,
    },
    /// An address of a database that is none.
    #[error("{why}; write postgres://user@host/database")]
    NoPlace {
        /// What is wrong with it.
        why: String,
    },
    /// The server lets this role look over the walls between shops.
    #[error(
        "at {path} the role {role} sees every shop's rows; give the service a role that is neither superuser nor BYPASSRLS"
    )]
    OverTheWall {
        /// Server and database.
        path: String,
        /// The role.
        role: String,
    },
    /// What was carried over is not what was there.
    #[error("{what} differ between the two: {from} and {to}; the copy is not to be used")]
    Differs {
        /// Of which kind of piece.
        what: &'static str,
        /// How many and their digest, where they came from.
        from: String,
        /// The same where they went to.
        to: String,
    },
    /// Anything else the database said.
    #[error("the database failed: {0}")]
    Other(Box<dyn std::error::Error + Send + Sync>),
}

impl Error {
    pub(crate) fn of(error: rusqlite::Error, path: &str) -> Self {
        use rusqlite::ErrorCode::{
            CannotOpen, DatabaseBusy, DatabaseCorrupt, DatabaseLocked, DiskFull, NotADatabase, ReadOnly,
            SystemIoFailure,
        };
        let path = path.to_string();
        match error.sqlite_error_code() {
            Some(DiskFull) => Self::Full { path },
            Some(ReadOnly | CannotOpen) => Self::ReadOnly { path },
            Some(DatabaseBusy | DatabaseLocked) => Self::Locked { path },
            Some(SystemIoFailure) => Self::Failing { path, what: error.to_string() },
            Some(DatabaseCorrupt | NotADatabase) => Self::Damaged { path, what: error.to_string() },
            _ => Self::Other(error.into()),
        }
    }
}
