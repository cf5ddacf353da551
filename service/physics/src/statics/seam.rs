//! The seam of a back.

use super::{Stress, arm, measure, pull};
use crate::range::Result;

/// Stress in the seam of a back: the strings above the top bend the body, and the back is drawn lengthwise; one
/// half hands half of that to the other through the seam.
///
/// # Equation
///
/// F = T h/H, τ = (F/2)/(l t).
///
/// ```text
///       strings -----------> T
///               h
///       ====================  top, pressed
///               H
///       ====================  back, drawn with F; seam l × t
/// ```
///
/// # Arguments
///
/// - `tension_n`: pull T of all strings, 0 to 10 000 N.
/// - `length_mm`: length l of the seam that is glued anew, 0.5 to 2000 mm.
/// - `thickness_mm`: thickness t of the back, 0.5 to 2000 mm.
/// - `body_depth_mm`: depth H of the body, 0.5 to 2000 mm.
/// - `height_mm`: height h of the strings above the top, 0 to 500 mm.
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
/// The press of an arched back and the drying of its wood load the seam more than the strings do: neither is in it.
///
/// # Examples
///
/// ```
/// // 700 N · 14/100 = 98 N; half of it over 450 × 2.8 mm: 49/1260 = 0.0389 MPa.
/// let stress = physics::statics::back_seam(700.0, 450.0, 2.8, 100.0, 14.0)?;
/// assert!((stress.shear_mpa - 0.038_889).abs() < 1e-6);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn back_seam(
    tension_n: f64,
    length_mm: f64,
    thickness_mm: f64,
    body_depth_mm: f64,
    height_mm: f64,
) -> Result<Stress> {
    let area_mm2 = measure("length_mm", length_mm)? * measure("thickness_mm", thickness_mm)?;
    let drawn_n = pull(tension_n)? * arm("height_mm", height_mm)? / measure("body_depth_mm", body_depth_mm)?;
    Ok(Stress { shear_mpa: drawn_n / 2.0 / area_mm2, peel_mpa: 0.0 })
}
