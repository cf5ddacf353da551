//! From hours and millimetres to dimensionless time, and back.

use super::sorption::uptake;
use crate::range::{LONGEST_H, Result, within};
use crate::search::first_reached;

/// Fourier number by which any fraction that may be asked for is past.
const ALL_BUT_OVER: f64 = 8.0;

/// Which faces of a plate are open to the air. An enum, because the factor of four in time between
/// the two is the usual mistake with this formula.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Faces {
    /// One face open, the other sealed by a finish, a bench or a glue line.
    One,
    /// Both faces open.
    Both,
}

impl Faces {
    /// Way from the open air to the deepest place, m.
    pub(super) fn depth_m(self, thickness_m: f64) -> f64 {
        match self {
            Faces::One => thickness_m,
            Faces::Both => thickness_m / 2.0,
        }
    }
}

/// A diffusion coefficient, from glassy polymer to gas.
pub(super) fn diffusivity(diffusivity_m2_s: f64) -> Result<f64> {
    within("diffusivity_m2_s", diffusivity_m2_s, 1e-18, 1e-3, "m²/s")
}

/// A thickness, from a thin film to a beam.
pub(super) fn thickness(thickness_m: f64) -> Result<f64> {
    within("thickness_m", thickness_m, 1e-6, 1.0, "m")
}

/// Fourier number: time in units of what diffusion needs to cross the plate.
///
/// # Equation
///
/// Fo = D t/l², with l half the thickness when both faces are open, the whole when one is sealed.
///
/// # Arguments
///
/// - `diffusivity_m2_s`: diffusion coefficient D, 1e−18 to 0.001 m²/s; wood across the grain has
///   about 1e−11 to 3e−10 at room temperature (from memory).
/// - `seconds`: time t, 0 to 3.6e10 s.
/// - `thickness_m`: whole thickness, 0.000001 to 1 m.
/// - `faces`: which faces are open.
///
/// # Result
///
/// Fourier number, a pure number, for [`sorbed_fraction`](super::sorbed_fraction) and
/// [`centre_fraction`](super::centre_fraction).
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Crank, The Mathematics of Diffusion, 2nd ed. 1975, pp. 47–48.
///
/// # Departures
///
/// The whole thickness is asked for and halved here, because a caliper measures the whole.
///
/// # Examples
///
/// The documentation of PolyKin, citing Crank: D = 1e−10 m²/s, 100 s and a half thickness of
/// 0.2 mm give Fo = 0.25.
///
/// ```
/// use physics::plate::{Faces, fourier_number};
/// assert!((fourier_number(1e-10, 100.0, 0.4e-3, Faces::Both)? - 0.25).abs() < 1e-12);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn fourier_number(diffusivity_m2_s: f64, seconds: f64, thickness_m: f64, faces: Faces) -> Result<f64> {
    let diffusivity_m2_s = diffusivity(diffusivity_m2_s)?;
    let seconds = within("seconds", seconds, 0.0, 3600.0 * LONGEST_H, "s")?;
    let depth_m = faces.depth_m(thickness(thickness_m)?);
    Ok(diffusivity_m2_s * seconds / (depth_m * depth_m))
}

/// Hours until a plate has taken a fraction of its whole uptake.
///
/// # Equation
///
/// t = Fo l²/D, with the Fo at which [`sorbed_fraction`](super::sorbed_fraction) equals `fraction`,
/// solved by halving.
///
/// # Arguments
///
/// - `fraction`: fraction of the final uptake, 0 to 0.999999; all of it is never reached.
/// - `diffusivity_m2_s`: diffusion coefficient D, 1e−18 to 0.001 m²/s.
/// - `thickness_m`: whole thickness, 0.000001 to 1 m.
/// - `faces`: which faces are open.
///
/// # Result
///
/// Time in hours; 0 for a fraction of 0.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// As for [`sorbed_fraction`](super::sorbed_fraction). Crank quotes D t/thickness² = 0.049 for half
/// the uptake with both faces open (from memory).
///
/// # Departures
///
/// None.
///
/// # Examples
///
/// A 3 mm plate with both faces open, D = 1e−10 m²/s: half after 1.23 h (computed from the series;
/// Crank's 0.049 gives 1.225).
///
/// ```
/// use physics::plate::{Faces, hours_to_fraction};
/// assert!((hours_to_fraction(0.5, 1e-10, 3e-3, Faces::Both)? - 1.23).abs() < 0.005);
/// assert!((hours_to_fraction(0.5, 1e-10, 3e-3, Faces::One)? - 4.92).abs() < 0.005);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn hours_to_fraction(fraction: f64, diffusivity_m2_s: f64, thickness_m: f64, faces: Faces) -> Result<f64> {
    let fraction = within("fraction", fraction, 0.0, 0.999_999, "")?;
    let diffusivity_m2_s = diffusivity(diffusivity_m2_s)?;
    let depth_m = faces.depth_m(thickness(thickness_m)?);
    if fraction == 0.0 {
        return Ok(0.0);
    }
    let fourier = first_reached(0.0, ALL_BUT_OVER, |fourier| uptake(fourier) >= fraction);
    Ok(fourier * depth_m * depth_m / diffusivity_m2_s / 3600.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plate::sorbed_fraction;
    use crate::range::assert_refuses;

    #[test]
    fn a_sealed_face_makes_everything_four_times_as_slow() -> Result<()> {
        let both_h = hours_to_fraction(0.9, 1e-10, 3e-3, Faces::Both)?;
        let one_h = hours_to_fraction(0.9, 1e-10, 3e-3, Faces::One)?;
        assert!((one_h / both_h - 4.0).abs() < 1e-12, "{both_h} and {one_h} h");
        Ok(())
    }

    #[test]
    fn hours_are_the_inverse_of_uptake() -> Result<()> {
        assert_eq!(hours_to_fraction(0.0, 1e-10, 3e-3, Faces::One)?, 0.0);
        for fraction in [1e-9, 0.01, 0.195, 0.2, 0.5, 0.9, 0.999_999] {
            let hours = hours_to_fraction(fraction, 1e-10, 3e-3, Faces::One)?;
            let fourier = fourier_number(1e-10, 3600.0 * hours, 3e-3, Faces::One)?;
            let back = sorbed_fraction(fourier)?;
            assert!((back - fraction).abs() < 1e-12, "{fraction} came back as {back}");
        }
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for bad in [-1.0, 1e12, f64::NAN] {
            assert_refuses("diffusivity_m2_s", fourier_number(bad, 1.0, 1e-3, Faces::One));
            assert_refuses("seconds", fourier_number(1e-10, bad, 1e-3, Faces::One));
            assert_refuses("thickness_m", fourier_number(1e-10, 1.0, bad, Faces::One));
            assert_refuses("fraction", hours_to_fraction(bad, 1e-10, 1e-3, Faces::One));
            assert_refuses("diffusivity_m2_s", hours_to_fraction(0.5, bad, 1e-3, Faces::One));
            assert_refuses("thickness_m", hours_to_fraction(0.5, 1e-10, bad, Faces::One));
        }
        assert_refuses("fraction", hours_to_fraction(1.0, 1e-10, 1e-3, Faces::One));
    }
}
