//! The glued end of a brace.

use super::{Stress, arm, measure, part, pull};
use crate::range::Result;

/// Stress under the end of a brace: the tipping of the bridge goes into the braces, and their ends want to lift
/// off.
///
/// # Equation
///
/// R = s T h/r, σ = 2 R/(b l): a triangle with its peak at the tip.
///
/// ```text
///           bridge tips (T h)
///              __|__
///       ======/=====\=============  top
///        ----------------            brace
///        lifts ^       |<--- r --->|
///        |<-l->|
/// ```
///
/// # Arguments
///
/// - `tension_n`: pull T of all strings, 0 to 10 000 N.
/// - `width_mm`: width b of the brace, 0.5 to 2000 mm.
/// - `length_mm`: length l of the end that is glued anew, 0.5 to 2000 mm.
/// - `reach_mm`: r, from the bridge to that end, 0.5 to 2000 mm.
/// - `height_mm`: height h of the strings at the saddle above the top, 0 to 500 mm.
/// - `share`: part s of the tipping that this brace end takes, 0 to 1; a quarter where four ends share it.
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
/// How much each brace takes depends on the top: the share is a guess of the person who gives it. The shear along
/// the brace is left out, being far less than the peel.
///
/// # Examples
///
/// ```
/// // 700 N · 12 mm · 0.25/200 mm = 10.5 N on 8 × 40 mm: 2 · 10.5/320 = 0.0656 MPa.
/// let stress = physics::statics::brace_end(700.0, 8.0, 40.0, 200.0, 12.0, 0.25)?;
/// assert!((stress.peel_mpa - 0.065_625).abs() < 1e-9);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn brace_end(
    tension_n: f64,
    width_mm: f64,
    length_mm: f64,
    reach_mm: f64,
    height_mm: f64,
    share: f64,
) -> Result<Stress> {
    let (b_mm, l_mm) = (measure("width_mm", width_mm)?, measure("length_mm", length_mm)?);
    let moment_nmm = part("share", share)? * pull(tension_n)? * arm("height_mm", height_mm)?;
    let lift_n = moment_nmm / measure("reach_mm", reach_mm)?;
    Ok(Stress { shear_mpa: 0.0, peel_mpa: 2.0 * lift_n / (b_mm * l_mm) })
}
