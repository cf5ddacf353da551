//! The bench plan.

mod board;
mod bounds;
mod calendar;
mod chance;
mod check;
mod net;
mod plan;
mod problem;
mod profile;
mod recreate;
mod reorder;
mod solve;

pub use calendar::{Calendar, Week};
pub use check::{Broken, check};
pub use plan::{Cost, NoPlan, Plan, Slot};
pub use problem::{Begun, Edge, FARTHEST_MIN, Flaw, Hold, Job, Lag, Need, Problem, Resource, Step, Wall};
pub use solve::{Effort, solve};
