//! The bench plan: what to do now and next across every open job.
//!
//! Hands-on steps between waits (a cure), windows (recoat, open assembly), holds (clamps from glue-up to clamp-off) and
//! hours are a resource-constrained project schedule with minimum and maximum time lags and calendars. [`solve()`] makes a
//! plan and betters it for as long as it is let; [`check()`] says, independently of that, whether a plan keeps everything;
//! [`explain()`] says of each step why it stands where it does and how long it could wait.
//!
//! The room is pure: whole minutes in and out, chance from a seed, no clock. A plan is a proposal from expected times,
//! never a promise; when a material may be touched is for the cure clock and its cautions to say.
//!
//! ```
//! use planner::{check, solve, Calendar, Edge, Effort, Hold, Job, Lag, Need, Problem, Resource, Step};
//!
//! let hours = |from: i64, to: i64| Calendar::new((0..5).map(|day| (day * 1440 + from, day * 1440 + to)).collect());
//! let step = |length_min| Step {
//!     length_min,
//!     needs: vec![Need { resource: 0, count: 1, tail_min: 0 }],
//!     ..Step::default()
//! };
//! let problem = Problem {
//!     resources: vec![
//!         Resource { capacity: 1, hours: Some(hours(540, 1080)) }, // a pair of hands, 9 to 18 h
//!         Resource { capacity: 4, hours: None },                   // clamps
//!     ],
//!     jobs: vec![Job { release_min: 0, due_min: Some(2880), weight: 1 }],
//!     steps: vec![step(45), step(10)],
//!     lags: vec![Lag { from: 0, edge: Edge::End, to: 1, least_min: Some(600), most_min: None }],
//!     holds: vec![Hold { resource: 1, count: 3, from: 0, to: 1 }],
//!     length_cost: 1,
//!     ..Problem::default()
//! };
//! let plan = solve(&problem, Effort::schedules(1, 100)).expect("there is room");
//! assert_eq!(plan.slots[0].start_min, 540);
//! assert_eq!(plan.slots[1].start_min, 1440 + 540); // over night in clamps
//! assert!(check(&problem, &plan.slots).is_empty());
//! ```

mod board;
mod bounds;
mod breed;
mod calendar;
mod chance;
mod change;
mod check;
mod explain;
mod guess;
mod net;
mod order;
mod parts;
mod plan;
mod problem;
mod profile;
mod pull;
mod reorder;
mod room;
mod rules;
mod solve;
mod tally;
mod trial;
mod work;

pub use calendar::{Calendar, Week};
pub use check::{Broken, check};
pub use explain::{Told, Why, explain};
pub use plan::{Cost, NoPlan, Plan, Slot};
pub use problem::{Begun, Edge, FARTHEST_MIN, Flaw, Hold, Job, Lag, Need, Problem, Resource, Step, Wall};
pub use solve::{Effort, solve};
