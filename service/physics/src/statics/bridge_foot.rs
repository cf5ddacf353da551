//! The foot of a bridge that carries the strings' pull.

use super::{Stress, arm, measure, pull};
use crate::range::Result;

/// Stress under a glued bridge: the pull slides it forward, and its height above the top tips it, so that the back
/// edge peels.
///
/// # Equation
///
/// τ = T/(b w), σ = 6 T h/(b w²).
///
/// ```text
///        string  ----------o---> T
///                       ___|___      h above the top
///       back edge peels |______|
///      =================^======^=======  top
///                       |<- w ->|       b across the strings
/// ```
///
/// # Arguments
///
/// - `tension_n`: pull T of all strings, 0 to 10 000 N.
/// - `across_mm`: length b of the foot across the strings, 0.5 to 2000 mm.
/// - `along_mm`: width w of the foot along the strings, 0.5 to 2000 mm.
/// - `height_mm`: height h of the strings at the saddle above the top, 0 to 500 mm.
///
/// # Result
///
/// [`Stress`], MPa.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Statics by hand.
///
/// # Departures
///
/// Stress is taken as linear from edge to edge; a top that bends spreads it towards the back edge, and a plate
/// under the top takes some. Peel at the back edge governs, not shear.
///
/// # Examples
///
/// ```
/// // 700 N, 150 × 28 mm, strings 12 mm up: T/A = 700/4200 = 0.1667 and 6 · 8400/(150 · 784) = 0.4286 MPa.
/// let stress = physics::statics::bridge_foot(700.0, 150.0, 28.0, 12.0)?;
/// assert!((stress.shear_mpa - 0.166_67).abs() < 1e-5 && (stress.peel_mpa - 0.428_57).abs() < 1e-5);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn bridge_foot(tension_n: f64, across_mm: f64, along_mm: f64, height_mm: f64) -> Result<Stress> {
    let (b_mm, w_mm) = (measure("across_mm", across_mm)?, measure("along_mm", along_mm)?);
    let (pull_n, h_mm) = (pull(tension_n)?, arm("height_mm", height_mm)?);
    Ok(Stress { shear_mpa: pull_n / (b_mm * w_mm), peel_mpa: 6.0 * pull_n * h_mm / (b_mm * w_mm * w_mm) })
}
