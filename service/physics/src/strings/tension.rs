//! Tension of a string at pitch.

use std::f64::consts::PI;

use crate::range::{Result, within};

/// Newtons of a pound-force, exact: 0.453 592 37 kg times 9.806 65 m/s².
pub const NEWTONS_PER_POUND: f64 = 4.448_221_615_260_5;

/// Tension at which a string sounds a frequency (Mersenne's law, with Taylor's constant).
///
/// # Equation
///
/// T = 4 L² f² μ.
///
/// ```text
///   nut |<--------------- L --------------->| saddle
///       o~~~~~~~~~~~~~~~~~~~~~~~~~~~~~~~~~~~o  --> T
/// ```
///
/// # Arguments
///
/// - `scale_mm`: sounding length L of the open string, 100 to 2000 mm.
/// - `frequency_hz`: f, 10 to 12 000 Hz.
/// - `unit_kg_m`: mass per length μ, 1e-6 to 0.2 kg/m.
///
/// # Result
///
/// Newtons.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range; a scale length of 0 is one.
///
/// # Source
///
/// Mersenne, Harmonie universelle (1636); the constant by B. Taylor (1713), from memory. A laboratory answer of a
/// university agrees: 0.33 m, 0.125 g, 640 Hz, "68 N".
///
/// # Departures
///
/// The ideal string: no stiffness, no compensation at the saddle. Allow 1 % against printed charts.
///
/// # Examples
///
/// ```
/// // The laboratory's string: 0.125 g over 0.33 m. Exactly 67.584 N.
/// let n = physics::strings::tension_n(330.0, 640.0, 1.25e-4 / 0.33)?;
/// assert!((n - 67.584).abs() < 1e-9);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn tension_n(scale_mm: f64, frequency_hz: f64, unit_kg_m: f64) -> Result<f64> {
    let l_m = within("scale_mm", scale_mm, 100.0, 2000.0, "mm")? / 1000.0;
    let f_hz = within("frequency_hz", frequency_hz, 10.0, 12_000.0, "Hz")?;
    Ok(4.0 * (l_m * f_hz).powi(2) * within("unit_kg_m", unit_kg_m, 1e-6, 0.2, "kg/m")?)
}

/// How a change of tuning changes the tension of the same string: a semitone is a factor of 2^(1/6).
///
/// # Equation
///
/// T₂/T₁ = (f₂/f₁)² = 2^(n/6).
///
/// # Arguments
///
/// - `semitones`: n, −60 to 60; negative down.
///
/// # Result
///
/// A factor.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming `semitones`.
///
/// # Source
///
/// Mersenne's law and equal temperament.
///
/// # Examples
///
/// ```
/// // An octave down is a quarter of the pull.
/// assert_eq!(physics::strings::tension_ratio(-12.0)?, 0.25);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn tension_ratio(semitones: f64) -> Result<f64> {
    Ok((within("semitones", semitones, -60.0, 60.0, "")? / 6.0).exp2())
}

/// Tensile stress in a plain string: σ = T/(π d²/4).
///
/// # Arguments
///
/// - `tension_n`: 0 to 5000 N.
/// - `gauge_mm`: diameter of what carries the pull, 0.05 to 10 mm.
///
/// # Result
///
/// MPa. Music wire of 0.3 mm breaks near 2500 MPa (ASTM A228, from memory); much over 2000 at pitch is worth a doubt.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Definition of stress.
///
/// # Examples
///
/// ```
/// assert!((physics::strings::stress_mpa(104.531, 0.3048)? - 1432.6).abs() < 0.05);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn stress_mpa(tension_n: f64, gauge_mm: f64) -> Result<f64> {
    let d_mm = within("gauge_mm", gauge_mm, 0.05, 10.0, "mm")?;
    Ok(within("tension_n", tension_n, 0.0, 5000.0, "N")? / (PI * d_mm * d_mm / 4.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    #[test]
    fn arguments_out_of_range_are_named() {
        for scale_mm in [0.0, 25.5, f64::NAN] {
            assert_refuses("scale_mm", tension_n(scale_mm, 330.0, 5e-4));
        }
        assert_refuses("frequency_hz", tension_n(648.0, 0.0, 5e-4));
        assert_refuses("unit_kg_m", tension_n(648.0, 330.0, 0.5));
        assert_refuses("semitones", tension_ratio(f64::NAN));
        assert_refuses("tension_n", stress_mpa(-1.0, 0.3));
        assert_refuses("gauge_mm", stress_mpa(70.0, 0.0));
    }
}
