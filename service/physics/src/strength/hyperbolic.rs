//! Hyperbolic strength gain.

use super::reachable;
use crate::range::{Result, hours, within};

/// A strength rate, per hour of equivalent age.
fn rate(k_per_h: f64) -> Result<f64> {
    within("k_per_h", k_per_h, 1e-9, 1e6, "1/h")
}

/// Fraction of the final strength by the hyperbolic law: nothing until the start, then quickly,
/// then ever more slowly.
///
/// # Equation
///
/// S/S_u = k (t − t₀) / [1 + k (t − t₀)], and 0 up to t₀.
///
/// # Arguments
///
/// - `age_h`: equivalent age t, 0 to 10 000 000 h.
/// - `k_per_h`: rate k, 1e−9 to 1 000 000 per hour; half the strength comes 1/k after the start.
/// - `start_age_h`: age t₀ at which strength begins, 0 to 10 000 000 h.
///
/// # Result
///
/// Fraction of the final strength, a pure number, 0 and up, always below 1 but for rounding.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// ASTM C1074, annex; Carino 1984, "The Maturity Method: Theory and Application", Cement, Concrete
/// and Aggregates 6(2) 61–73. The equation from memory.
///
/// # Departures
///
/// A fraction is given instead of a strength. Zero before the start is part of the law (strength
/// has not begun), not a clamp.
///
/// # Examples
///
/// With 0.4 per day from day 0.3, 36.6887 of 40 MPa at 28 days (computed from the law).
///
/// ```
/// let fraction = physics::strength::hyperbolic(28.0 * 24.0, 0.4 / 24.0, 0.3 * 24.0)?;
/// assert!((40.0 * fraction - 36.6887).abs() < 0.0001);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn hyperbolic(age_h: f64, k_per_h: f64, start_age_h: f64) -> Result<f64> {
    let age_h = hours("age_h", age_h)?;
    let k_per_h = rate(k_per_h)?;
    let since_start = k_per_h * (age_h - hours("start_age_h", start_age_h)?).max(0.0);
    Ok(since_start / (1.0 + since_start))
}

/// Equivalent age at which the hyperbolic law reaches a fraction of the final strength.
///
/// # Equation
///
/// t = t₀ + q / [k (1 − q)].
///
/// # Arguments
///
/// - `fraction`: fraction q, 0 to 0.999. The law nears its end very slowly: do not build on it
///   above 0.95.
/// - `k_per_h`: rate k, 1e−9 to 1 000 000 per hour.
/// - `start_age_h`: age t₀ at which strength begins, 0 to 10 000 000 h.
///
/// # Result
///
/// Equivalent age in hours; the start age for a fraction of 0.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// As for [`hyperbolic`], solved for the age.
///
/// # Departures
///
/// As for [`hyperbolic`].
///
/// # Examples
///
/// With 0.4 per day from day 0.3: half the strength at 2.8 days (computed from the law).
///
/// ```
/// let age_h = physics::strength::hyperbolic_age_h(0.5, 0.4 / 24.0, 0.3 * 24.0)?;
/// assert!((age_h / 24.0 - 2.8).abs() < 1e-9);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn hyperbolic_age_h(fraction: f64, k_per_h: f64, start_age_h: f64) -> Result<f64> {
    let fraction = reachable(fraction)?;
    let k_per_h = rate(k_per_h)?;
    Ok(hours("start_age_h", start_age_h)? + fraction / (k_per_h * (1.0 - fraction)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    #[test]
    fn strength_is_nothing_until_its_start_and_never_falls() -> Result<()> {
        assert_eq!(hyperbolic(0.0, 0.1, 2.0)?, 0.0);
        assert_eq!(hyperbolic(2.0, 0.1, 2.0)?, 0.0);
        let mut before = 0.0;
        for hour in 3..300 {
            let fraction = hyperbolic(f64::from(hour), 0.1, 2.0)?;
            assert!(fraction > before && fraction < 1.0, "{fraction} at {hour} h");
            before = fraction;
        }
        Ok(())
    }

    #[test]
    fn age_is_the_inverse_of_strength() -> Result<()> {
        for fraction in [0.0, 0.01, 0.5, 0.95, 0.999] {
            let back = hyperbolic(hyperbolic_age_h(fraction, 0.1, 2.0)?, 0.1, 2.0)?;
            assert!((back - fraction).abs() < 1e-12, "{fraction} came back as {back}");
        }
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for bad in [-1.0, 1e9, f64::NAN] {
            assert_refuses("age_h", hyperbolic(bad, 0.1, 2.0));
            assert_refuses("k_per_h", hyperbolic(5.0, bad, 2.0));
            assert_refuses("start_age_h", hyperbolic(5.0, 0.1, bad));
            assert_refuses("fraction", hyperbolic_age_h(bad, 0.1, 2.0));
            assert_refuses("k_per_h", hyperbolic_age_h(0.5, bad, 2.0));
            assert_refuses("start_age_h", hyperbolic_age_h(0.5, 0.1, bad));
        }
        assert_refuses("fraction", hyperbolic_age_h(1.0, 0.1, 2.0));
        assert_refuses("k_per_h", hyperbolic(5.0, 0.0, 2.0));
    }
}
