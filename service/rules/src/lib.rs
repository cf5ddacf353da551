//! The script host: turns the text of a rule into laws, milestones and findings, safely.
//!
//! Responsible for: the sandbox and its limits, the contract a script keeps, versions by hash, expected values, fitting
//! to what was seen at the bench.
//! Never knows: files, the journal, HTTP, what time it is. A script gets values and gives values.
//! Start reading at `contract.rs` (what a script says), then `rule.rs`.

mod apart;
mod arrays;
mod bearing;
mod contract;
mod deadline;
mod expected;
mod fault;
mod film;
pub mod fit;
mod fitted;
mod functions;
mod hooks;
mod host;
mod many;
mod reference;
mod rule;
mod rulebook;
mod shape;
mod sheet;
mod table;
mod tokens;

pub use contract::{MaterialKind, MaterialSheet, ReferenceAir};
pub use expected::ExpectedRow;
pub use fault::Fault;
pub use film::{By, ExposureSheet, FilmSheet, MixSheet, PartSheet, RetarderSheet};
pub use functions::{FunctionDoc, functions};
pub use hooks::{AirSeen, AlertSeen, AskedStep, CuringSeen, HookTally, Hooks, InstrumentSeen, SET_ASIDE_AFTER};
pub use host::{Host, LIMITS, Limits};
pub use reference::contract_markdown;
pub use rule::{Application, Rule};
pub use rulebook::Rulebook;
pub use sheet::{Class, DataSheet, SecondTime, Written};
pub use tokens::{Span, Word, spans};
