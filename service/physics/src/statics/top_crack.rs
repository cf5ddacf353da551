//! A crack in the top, along or across the pull.

use super::{Stress, angle, measure, part, pull};
use crate::range::Result;

/// Stress in a crack of the top: part of the strings' pull passes through it. Behind the bridge the top is drawn,
/// and a crack that lies across the pull is opened; before the bridge it is pressed, and the same crack is closed
/// by the tension. A crack along the pull is only sheared.
///
/// # Equation
///
/// N = ± s T sin θ, V = s T cos θ, on the crack's own faces l t: σ = N/(l t), τ = V/(l t); + behind the bridge.
///
/// ```text
///       tail                 neck
///        <-- drawn -- [bridge] <- pressed --
///              |                  |
///          θ = 90°: opened    θ = 90°: closed
///          ------- θ = 0: sheared on either side
/// ```
///
/// # Arguments
///
/// - `tension_n`: pull T of all strings, 0 to 10 000 N.
/// - `length_mm`: length l of the crack, 0.5 to 2000 mm.
/// - `thickness_mm`: thickness t of the top, 0.5 to 2000 mm.
/// - `angle_deg`: angle θ of the crack to the strings, 0 along to 90 across.
/// - `share`: part s of the pull that passes through it, 0 to 1.
/// - `behind`: whether it lies behind the bridge, towards the tail. Where the strings are held at the tail
///   nothing is drawn: say false.
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
/// A flat sheet; doming, the bridge's tipping and cleats across the crack are left out.
///
/// # Examples
///
/// ```
/// // Half of 700 N through 200 × 2.8 mm: along, 350/560 = 0.625 MPa of shear; across behind the bridge the same opens it.
/// let along = physics::statics::top_crack(700.0, 200.0, 2.8, 0.0, 0.5, true)?;
/// assert!((along.shear_mpa - 0.625).abs() < 1e-12 && along.peel_mpa.abs() < 1e-12);
/// let closed = physics::statics::top_crack(700.0, 200.0, 2.8, 90.0, 0.5, false)?;
/// assert!((closed.peel_mpa + 0.625).abs() < 1e-12);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn top_crack(
    tension_n: f64,
    length_mm: f64,
    thickness_mm: f64,
    angle_deg: f64,
    share: f64,
    behind: bool,
) -> Result<Stress> {
    let area_mm2 = measure("length_mm", length_mm)? * measure("thickness_mm", thickness_mm)?;
    let mean_mpa = part("share", share)? * pull(tension_n)? / area_mm2;
    let (sin, cos) = angle("angle_deg", angle_deg)?;
    Ok(Stress { shear_mpa: mean_mpa * cos, peel_mpa: if behind { mean_mpa * sin } else { -mean_mpa * sin } })
}
