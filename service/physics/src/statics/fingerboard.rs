//! The glue line between fingerboard and neck.

use super::{Stress, arm, measure, pull};
use crate::range::{Result, within};

/// Stress under the end of a fingerboard: the board takes its part of the neck's bending as a thrust, which enters
/// through the glue near its ends.
///
/// # Equation
///
/// M = T e, I = b D³/12, F = (M z/I) b t with z = (D − t)/2, τ = F/(b l).
///
/// ```text
///       strings ---------------> T
///               e
///       [ fingerboard, t      ] <- F      D: neck and board together
///       ----- glue, l at the end -----
///       [ neck                ] -> F
/// ```
///
/// # Arguments
///
/// - `tension_n`: pull T of all strings, 0 to 10 000 N.
/// - `width_mm`: width b of board and neck, 0.5 to 2000 mm.
/// - `neck_depth_mm`: depth D of neck and board together, 0.5 to 2000 mm.
/// - `board_mm`: thickness t of the board, 0.5 mm up to less than D.
/// - `anchor_mm`: length l of glue over which the thrust enters, 0.5 to 2000 mm.
/// - `arm_mm`: e, from the strings to the middle of the depth, 0 to 500 mm.
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
/// The section is taken as a rectangle of one wood, and the thrust as even over the anchor. It is a mean: there is
/// no peel in it.
///
/// # Examples
///
/// ```
/// // 700 N at 18 mm: M = 12 600; I = 50 · 22³/12 = 44 367; F = 12 600 · 8/44 367 · 300 = 681.6 N over 50 × 50 mm.
/// let stress = physics::statics::fingerboard(700.0, 50.0, 22.0, 6.0, 50.0, 18.0)?;
/// assert!((stress.shear_mpa - 0.272_64).abs() < 1e-5 && stress.peel_mpa == 0.0);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn fingerboard(
    tension_n: f64,
    width_mm: f64,
    neck_depth_mm: f64,
    board_mm: f64,
    anchor_mm: f64,
    arm_mm: f64,
) -> Result<Stress> {
    let (b_mm, d_mm) = (measure("width_mm", width_mm)?, measure("neck_depth_mm", neck_depth_mm)?);
    let t_mm = within("board_mm", board_mm, 0.5, d_mm, "mm")?;
    let anchor_mm = measure("anchor_mm", anchor_mm)?;
    let moment_nmm = pull(tension_n)? * arm("arm_mm", arm_mm)?;
    let inertia_mm4 = b_mm * d_mm.powi(3) / 12.0;
    let thrust_n = moment_nmm * (d_mm - t_mm) / 2.0 / inertia_mm4 * b_mm * t_mm;
    Ok(Stress { shear_mpa: thrust_n / (b_mm * anchor_mm), peel_mpa: 0.0 })
}
