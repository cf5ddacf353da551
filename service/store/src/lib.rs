//! Facts on disk: what was acknowledged is here and stays.
//!
//! Responsible for: the append-only journal, readings, the outbox of deliveries, answers kept for repeated requests, photos and keys,
//! migrations, backup and restoring, the whole of it piece by piece, and the one writer that commits whatever gathered while
//! its last commit was under way.
//! Never knows: how a cure is computed, HTTP, what time it is.
//! Start reading at `writer.rs` and `database.rs`; the SQL of SQLite is in `sqlite.rs` and its neighbours `schema.rs`,
//! `held.rs`, `means.rs`, `outbox.rs`, `receivers.rs`, `tokens.rs`, `files.rs` and `whole.rs`, that of PostgreSQL in `postgres.rs` and
//! below it.

mod carry;
mod database;
mod error;
mod files;
mod held;
mod means;
mod mount;
mod outbox;
mod postgres;
mod private;
mod receivers;
mod restore;
mod saying;
mod schema;
mod sqlite;
mod tokens;
mod whole;
mod writer;

pub use carry::{Tally, carry};
pub use database::{Database, Since};
pub use error::Error;
pub use means::Mean;
pub use mount::network_mount;
pub use outbox::WhichDeliveries;
pub use postgres::Postgres;
pub use receivers::{Off, Subscription};
pub use restore::restore;
pub use saying::{Answer, Delivery, DeliveryState, Held, HeldKey, HeldState, NewDelivery, NewHeld, Run, Said, Saying};
pub use sqlite::Sqlite;
pub use tokens::Token;
pub use whole::{Each, EachPiece, Piece, Row};
pub use writer::{Keeper, Outcome, Writer};
