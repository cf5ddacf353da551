//! The joint of neck and body.

use super::{Stress, arm, measure, pull};
use crate::range::Result;

/// Stress in the face between heel and body: the pull tips the neck forward and opens the joint at the heel's cap.
///
/// # Equation
///
/// M = T a, σ = 6 M/(b d²) at the cap, τ = 1.5 M/(d · b d) along the faces, as a couple over the depth has to be
/// brought in.
///
/// ```text
///       strings  -----------------> T
///      fingerboard =============|      a: from the strings to the
///             neck  ___________ |         middle of the joint's depth
///                              \|
///                          heel | body
///                      cap opens|<        d: depth, b: width
/// ```
///
/// # Arguments
///
/// - `tension_n`: pull T of all strings, 0 to 10 000 N.
/// - `width_mm`: width b of the glued face, 0.5 to 2000 mm.
/// - `depth_mm`: depth d of the glued face from fingerboard to cap, 0.5 to 2000 mm.
/// - `arm_mm`: a, from the strings to the middle of the depth, 0 to 500 mm.
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
/// A plain butt joint. A dovetail, tenon or bolt that locks carries more: what the glue of such a joint must carry
/// is not known, and the butt joint is the cautious reading. The thrust of the strings, which presses the faces
/// together, is left out.
///
/// # Examples
///
/// ```
/// // 712 N at 50 mm: M = 35 600 N mm over 55 × 90 mm: 6 M/(b d²) = 213 600/445 500 = 0.4795 MPa.
/// let stress = physics::statics::neck_joint(712.0, 55.0, 90.0, 50.0)?;
/// assert!((stress.peel_mpa - 0.479_46).abs() < 1e-5 && (stress.shear_mpa - 0.119_87).abs() < 1e-5);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn neck_joint(tension_n: f64, width_mm: f64, depth_mm: f64, arm_mm: f64) -> Result<Stress> {
    let (b_mm, d_mm) = (measure("width_mm", width_mm)?, measure("depth_mm", depth_mm)?);
    let moment_nmm = pull(tension_n)? * arm("arm_mm", arm_mm)?;
    let section_mm3 = b_mm * d_mm * d_mm;
    Ok(Stress { shear_mpa: 1.5 * moment_nmm / section_mm3, peel_mpa: 6.0 * moment_nmm / section_mm3 })
}
