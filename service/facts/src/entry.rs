//! The envelope a fact is stored in.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::Fact;

/// A fact on its way into the journal.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// When it happened, which may be before it was recorded.
    pub happened_at: DateTime<Utc>,
    /// When it reached the service.
    pub recorded_at: DateTime<Utc>,
    /// Who said so: a person, a sensor, or `clock` for the service itself.
    pub by: String,
    /// What was said.
    pub fact: Fact,
}

/// A fact in the journal. Its sequence orders all facts of the shop and never repeats.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Recorded {
    /// Place in the journal, from 1.
    pub seq: i64,
    /// When it happened.
    pub happened_at: DateTime<Utc>,
    /// When it reached the service.
    pub recorded_at: DateTime<Utc>,
    /// Who said so.
    pub by: String,
    /// What was said.
    pub fact: Fact,
}
