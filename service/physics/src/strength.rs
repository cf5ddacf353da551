//! Strength against age: how much of its final strength a joint or film has after so many hours at
//! the reference climate.
//!
//! A result is a fraction of the final strength, so that the newtons stay with the material. Ages
//! are equivalent ages (see [`rate`](crate::rate)), not hours on the wall.

mod exponential;
mod hyperbolic;
mod table;

pub use exponential::{exponential, exponential_age_h};
pub use hyperbolic::{hyperbolic, hyperbolic_age_h};
pub use table::monotone_table;

/// A fraction that a curve which never ends can be asked to reach.
fn reachable(fraction: f64) -> crate::Result<f64> {
    crate::range::within("fraction", fraction, 0.0, 0.999, "")
}
