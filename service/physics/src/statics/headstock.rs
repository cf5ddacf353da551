//! A break or scarf below the headstock.

use super::{Stress, angle, arm, measure, pull};
use crate::range::Result;

/// Stress in a sloping joint behind the nut: the strings, off the middle of the section, bend the head forward and
/// open its back.
///
/// # Equation
///
/// σ = 6 T e/(b t²) in the back fibre; on a plane at α to the grain σn = σ sin²α and τ = σ sin α cos α.
///
/// ```text
///       strings  ------------o---> T (to the body)
///                   e       nut
///       head  ______________/________ neck    t: thickness there
///            back  \___/ joint at α to the grain
/// ```
///
/// # Arguments
///
/// - `tension_n`: pull T of all strings, 0 to 10 000 N.
/// - `width_mm`: width b there, 0.5 to 2000 mm.
/// - `thickness_mm`: thickness t there, 0.5 to 2000 mm.
/// - `arm_mm`: e, from the strings to the middle of the thickness, 0 to 500 mm.
/// - `slope_deg`: angle α of the joint to the grain, 0 to 90°; a scarf is cut near 14°.
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
/// The press of the strings along the neck, which closes the joint, is left out; so is what a veneer or a splint
/// across the break carries.
///
/// # Examples
///
/// ```
/// // 700 N at 12 mm over 45 × 15 mm: σ = 50 400/10 125 = 4.978 MPa; at 14°: · 0.058526 and · 0.234736.
/// let stress = physics::statics::headstock(700.0, 45.0, 15.0, 12.0, 14.0)?;
/// assert!((stress.peel_mpa - 0.291_33).abs() < 1e-4 && (stress.shear_mpa - 1.168_46).abs() < 1e-4);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn headstock(tension_n: f64, width_mm: f64, thickness_mm: f64, arm_mm: f64, slope_deg: f64) -> Result<Stress> {
    let (b_mm, t_mm) = (measure("width_mm", width_mm)?, measure("thickness_mm", thickness_mm)?);
    let fibre_mpa = 6.0 * pull(tension_n)? * arm("arm_mm", arm_mm)? / (b_mm * t_mm * t_mm);
    let (sin, cos) = angle("slope_deg", slope_deg)?;
    Ok(Stress { shear_mpa: fibre_mpa * sin * cos, peel_mpa: fibre_mpa * sin * sin })
}
