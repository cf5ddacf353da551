//! The plane sheet against dimensionless time.

use crate::range::{Result, within};
use std::f64::consts::{FRAC_2_SQRT_PI, FRAC_PI_2, PI};

/// Fourier number below which the two faces do not yet feel each other: what the short-time form
/// leaves out is below 1e−15 there, and the series would need ever more terms.
const FACES_APART: f64 = 0.03;

/// Fourier number below which the centre is still as it was, to within 1e−20.
const CENTRE_ASLEEP: f64 = 0.005;

/// Fourier number by which 1 is reached to the last bit.
const LONG_OVER: f64 = 1.0e3;

fn fourier_number(fourier: f64) -> Result<f64> {
    within("fourier", fourier, 0.0, 1e12, "")
}

/// Fraction of its whole uptake (or loss) that a plate has taken after a step in the air around it.
///
/// # Equation
///
/// M/M_∞ = 1 − (8/π²) Σ_{n≥0} exp[−(2n+1)² π² Fo/4]/(2n+1)²; for Fo < 0.03, 2 √(Fo/π).
///
/// # Arguments
///
/// - `fourier`: Fourier number Fo = D t/l², 0 to 1e12, from
///   [`fourier_number`](super::fourier_number): l is *half* the thickness with both faces open.
///
/// # Result
///
/// Fraction of the final uptake, a pure number from 0 to 1 (kg/kg), to 1e−14.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming `fourier` below 0 or above 1e12.
///
/// # Source
///
/// Crank, The Mathematics of Diffusion, 2nd ed. 1975, plane sheet with constant surface
/// concentration, pp. 47–48.
///
/// # Departures
///
/// None. The surface is taken to follow the air at once; the resistance of a finish or of still air
/// makes real times longer.
///
/// # Examples
///
/// The documentation of the polymer-kinetics library PolyKin, citing Crank: 0.562233541762 at
/// Fo = 0.25.
///
/// ```
/// assert!((physics::plate::sorbed_fraction(0.25)? - 0.562233541762).abs() < 1e-12);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn sorbed_fraction(fourier: f64) -> Result<f64> {
    Ok(uptake(fourier_number(fourier)?))
}

/// The uptake for a Fourier number known to be in range.
pub(super) fn uptake(fourier: f64) -> f64 {
    if fourier < FACES_APART {
        return FRAC_2_SQRT_PI * fourier.sqrt();
    }
    let still_missing: f64 = odd_terms(fourier).map(|(odd, decay)| decay / (odd * odd)).sum();
    1.0 - 8.0 / (PI * PI) * still_missing
}

/// Fraction of its whole change that the middle of a plate has made after a step in the air around
/// it; with one face sealed, the sealed face.
///
/// # Equation
///
/// θ = 1 − (4/π) Σ_{n≥0} (−1)ⁿ exp[−(2n+1)² π² Fo/4]/(2n+1); 0 for Fo < 0.005.
///
/// # Arguments
///
/// - `fourier`: Fourier number Fo = D t/l², 0 to 1e12, from
///   [`fourier_number`](super::fourier_number).
///
/// # Result
///
/// Fraction of the final change at the centre, a pure number from 0 to 1 (%/%), to 1e−14.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming `fourier` below 0 or above 1e12.
///
/// # Source
///
/// Crank, The Mathematics of Diffusion, 2nd ed. 1975, plane sheet with constant surface
/// concentration, pp. 47–48.
///
/// # Departures
///
/// None.
///
/// # Examples
///
/// The documentation of PolyKin, citing Crank: 0.3145542331 at Fo = 0.25.
///
/// ```
/// assert!((physics::plate::centre_fraction(0.25)? - 0.3145542331).abs() < 1e-10);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn centre_fraction(fourier: f64) -> Result<f64> {
    let fourier = fourier_number(fourier)?;
    if fourier < CENTRE_ASLEEP {
        return Ok(0.0);
    }
    let mut sign = 1.0;
    let mut still_missing = 0.0;
    for (odd, decay) in odd_terms(fourier) {
        still_missing += sign * decay / odd;
        sign = -sign;
    }
    Ok(1.0 - 4.0 / PI * still_missing)
}

/// The odd numbers 2n+1, each with exp[−(2n+1)² π² Fo/4], for as long as that counts.
fn odd_terms(fourier: f64) -> impl Iterator<Item = (f64, f64)> {
    let fourier = fourier.min(LONG_OVER);
    (0_u32..)
        .map(move |n| {
            let odd = f64::from(2 * n + 1);
            (odd, (-(odd * FRAC_PI_2).powi(2) * fourier).exp())
        })
        .take_while(|(_, decay)| *decay > 1e-18)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    #[test]
    fn the_two_forms_of_the_uptake_meet() {
        let (short, long) = (uptake(FACES_APART.next_down()), uptake(FACES_APART));
        assert!((short - long).abs() < 1e-14, "{short} and {long}");
    }

    #[test]
    fn both_fractions_start_at_nothing_never_fall_and_end_at_one() -> Result<()> {
        assert_eq!((sorbed_fraction(0.0)?, centre_fraction(0.0)?), (0.0, 0.0));
        assert_eq!((sorbed_fraction(1e12)?, centre_fraction(1e12)?), (1.0, 1.0));
        let (mut sorbed, mut centre) = (0.0, 0.0);
        for step in 1..3000 {
            let fourier = f64::from(step) / 1000.0;
            let (more_sorbed, more_centre) = (sorbed_fraction(fourier)?, centre_fraction(fourier)?);
            assert!(more_sorbed > sorbed && more_sorbed < 1.0, "uptake at {fourier}");
            assert!(more_centre >= centre - 1e-15 && more_centre < more_sorbed, "centre {fourier}");
            (sorbed, centre) = (more_sorbed, more_centre);
        }
        Ok(())
    }

    #[test]
    fn fourier_numbers_out_of_range_are_refused() {
        for fourier in [-0.1, 1e13, f64::NAN] {
            assert_refuses("fourier", sorbed_fraction(fourier));
            assert_refuses("fourier", centre_fraction(fourier));
        }
    }
}
