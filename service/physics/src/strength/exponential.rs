//! Exponential strength gain.

use super::reachable;
use crate::range::{LONGEST_H, Result, hours, within};

/// A time constant, hours of equivalent age.
fn time_constant(tau_h: f64) -> Result<f64> {
    within("tau_h", tau_h, 1e-6, LONGEST_H, "h")
}

/// A shape exponent. Common practice, no source: beyond these ends the curve is a step or a level line.
fn shape_exponent(shape: f64) -> Result<f64> {
    within("shape", shape, 0.1, 10.0, "")
}

/// Fraction of the final strength by the exponential law: an S on a logarithmic time scale.
///
/// # Equation
///
/// S/S_u = exp[−(τ/t)^a], and 0 at age 0.
///
/// # Arguments
///
/// - `age_h`: equivalent age t, 0 to 10 000 000 h.
/// - `tau_h`: time constant τ, 0.000001 to 10 000 000 h: the age at 1/e, about 37 %.
/// - `shape`: exponent a, 0.1 to 10; the larger, the more suddenly the strength comes.
///
/// # Result
///
/// Fraction of the final strength, a pure number, 0 to 1.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Freiesleben Hansen and Pedersen, strength gain of concrete; the equation from memory.
///
/// # Departures
///
/// A fraction is given instead of a strength.
///
/// # Examples
///
/// With 1.2 days and 0.8, 36.9074 of 40 MPa at 28 days (computed from the law).
///
/// ```
/// let fraction = physics::strength::exponential(28.0 * 24.0, 1.2 * 24.0, 0.8)?;
/// assert!((40.0 * fraction - 36.9074).abs() < 0.0001);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn exponential(age_h: f64, tau_h: f64, shape: f64) -> Result<f64> {
    let age_h = hours("age_h", age_h)?;
    let tau_h = time_constant(tau_h)?;
    let shape = shape_exponent(shape)?;
    // At age 0 the quotient is infinite and the exponential of its negative exactly 0.
    Ok((-(tau_h / age_h).powf(shape)).exp())
}

/// Equivalent age at which the exponential law reaches a fraction of the final strength.
///
/// # Equation
///
/// t = τ (−ln q)^(−1/a).
///
/// # Arguments
///
/// - `fraction`: fraction q, 0 to 0.999.
/// - `tau_h`: time constant τ, 0.000001 to 10 000 000 h.
/// - `shape`: exponent a, 0.1 to 10.
///
/// # Result
///
/// Equivalent age in hours; 0 for a fraction of 0.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// As for [`exponential`], solved for the age.
///
/// # Departures
///
/// As for [`exponential`].
///
/// # Examples
///
/// With 1.2 days and 0.8: half the strength at 1.8974 days (computed from the law).
///
/// ```
/// let age_h = physics::strength::exponential_age_h(0.5, 1.2 * 24.0, 0.8)?;
/// assert!((age_h / 24.0 - 1.89736).abs() < 0.00001);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn exponential_age_h(fraction: f64, tau_h: f64, shape: f64) -> Result<f64> {
    let fraction = reachable(fraction)?;
    let tau_h = time_constant(tau_h)?;
    let shape = shape_exponent(shape)?;
    Ok(tau_h * (-fraction.ln()).powf(-1.0 / shape))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    #[test]
    fn strength_starts_at_nothing_and_never_falls() -> Result<()> {
        assert_eq!(exponential(0.0, 12.0, 0.8)?, 0.0);
        let mut before = 0.0;
        for hour in 1..300 {
            let fraction = exponential(f64::from(hour), 12.0, 0.8)?;
            assert!(fraction > before && fraction < 1.0, "{fraction} at {hour} h");
            before = fraction;
        }
        Ok(())
    }

    #[test]
    fn age_is_the_inverse_of_strength() -> Result<()> {
        assert_eq!(exponential_age_h(0.0, 12.0, 0.8)?, 0.0);
        for fraction in [0.01, 0.5, 0.95, 0.999] {
            let back = exponential(exponential_age_h(fraction, 12.0, 0.8)?, 12.0, 0.8)?;
            assert!((back - fraction).abs() < 1e-12, "{fraction} came back as {back}");
        }
        Ok(())
    }

    #[test]
    fn extreme_arguments_still_give_a_finite_age() -> Result<()> {
        assert!(exponential_age_h(0.999, LONGEST_H, 0.1)?.is_finite());
        assert!(exponential_age_h(f64::MIN_POSITIVE, 1e-6, 0.1)?.is_finite());
        assert_eq!(exponential(1e-6, LONGEST_H, 10.0)?, 0.0);
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for bad in [-1.0, 1e9, f64::NAN] {
            assert_refuses("age_h", exponential(bad, 12.0, 0.8));
            assert_refuses("tau_h", exponential(5.0, bad, 0.8));
            assert_refuses("shape", exponential(5.0, 12.0, bad));
            assert_refuses("fraction", exponential_age_h(bad, 12.0, 0.8));
            assert_refuses("tau_h", exponential_age_h(0.5, bad, 0.8));
            assert_refuses("shape", exponential_age_h(0.5, 12.0, bad));
        }
        assert_refuses("fraction", exponential_age_h(1.0, 12.0, 0.8));
        assert_refuses("tau_h", exponential(5.0, 0.0, 0.8));
    }
}
