//! Filled slots of nut and saddle.

use super::{Stress, angle, arm, measure, pull};
use crate::range::Result;

/// Stress in the fill of a nut slot: the string bends over it and presses it out between its two walls.
///
/// # Equation
///
/// N = 2 T₁ sin(θ/2), τ = N/(2 d l).
///
/// ```text
///         T1            string bends by θ
///       ----o___
///      |fill|    walls d deep and l long carry N by shear
///      |____|
/// ```
///
/// # Arguments
///
/// - `tension_n`: pull T₁ of the one string, 0 to 10 000 N.
/// - `depth_mm`: depth d of the fill, 0.5 to 2000 mm.
/// - `length_mm`: length l of the slot along the string, 0.5 to 2000 mm.
/// - `break_deg`: how far the string bends over the nut θ, 0 to 90°.
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
/// The floor of the slot, which carries the fill, is left out: the cautious reading of a fill that was let in
/// loosely.
///
/// # Examples
///
/// ```
/// // 104.5 N over 14°: N = 209 · 0.121869 = 25.47 N on two walls of 3 × 6 mm: 25.47/36 = 0.7075 MPa.
/// let stress = physics::statics::nut_slot(104.5, 3.0, 6.0, 14.0)?;
/// assert!((stress.shear_mpa - 0.707_52).abs() < 1e-4);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn nut_slot(tension_n: f64, depth_mm: f64, length_mm: f64, break_deg: f64) -> Result<Stress> {
    let walls_mm2 = 2.0 * measure("depth_mm", depth_mm)? * measure("length_mm", length_mm)?;
    let (half_sin, _) = angle("break_deg", break_deg).and_then(|_| angle("break_deg", break_deg / 2.0))?;
    Ok(Stress { shear_mpa: 2.0 * pull(tension_n)? * half_sin / walls_mm2, peel_mpa: 0.0 })
}

/// Stress in the fill of a saddle slot: the strings bend over the saddle and tip it towards the neck.
///
/// # Equation
///
/// V = T (1 − cos θ), M = V x, σ = 6 M/(b d²), τ = V/(b d).
///
/// ```text
///            o----- T        string bends by θ behind the saddle
///          / |  x stands out
///     _____  |  ______
///          | |d|             b: length of the slot
/// ```
///
/// # Arguments
///
/// - `tension_n`: pull T of all strings, 0 to 10 000 N.
/// - `length_mm`: length b of the slot across the strings, 0.5 to 2000 mm.
/// - `depth_mm`: depth d of the slot, 0.5 to 2000 mm.
/// - `exposed_mm`: how far x the saddle stands out, 0 to 500 mm.
/// - `break_deg`: how far the strings bend over it θ, 0 to 90°.
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
/// The strings' downward press, which holds the saddle in, is left out.
///
/// # Examples
///
/// ```
/// // 700 N over 20°: V = 700 · 0.060307 = 42.215 N at 8 mm in a slot 75 × 10 mm: 6 · 337.7/7500 = 0.2702 MPa.
/// let stress = physics::statics::saddle_slot(700.0, 75.0, 10.0, 8.0, 20.0)?;
/// assert!((stress.peel_mpa - 0.270_18).abs() < 1e-4 && (stress.shear_mpa - 0.056_287).abs() < 1e-5);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn saddle_slot(tension_n: f64, length_mm: f64, depth_mm: f64, exposed_mm: f64, break_deg: f64) -> Result<Stress> {
    let (b_mm, d_mm) = (measure("length_mm", length_mm)?, measure("depth_mm", depth_mm)?);
    let (_, cos) = angle("break_deg", break_deg)?;
    let tip_n = pull(tension_n)? * (1.0 - cos);
    let moment_nmm = tip_n * arm("exposed_mm", exposed_mm)?;
    Ok(Stress { shear_mpa: tip_n / (b_mm * d_mm), peel_mpa: 6.0 * moment_nmm / (b_mm * d_mm * d_mm) })
}
