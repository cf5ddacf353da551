//! Degree of cure of a reaction that feeds itself.

use crate::range::{Result, hours, within};

/// A rate constant, per hour. Common practice, no source: 1e6 per hour is over in milliseconds.
fn rate_constant(argument: &'static str, given: f64) -> Result<f64> {
    within(argument, given, 0.0, 1.0e6, "1/h")
}

/// Degree of cure of an autocatalytic reaction at a steady temperature, from none at the start.
///
/// # Equation
///
/// dα/dt = (k₁ + k₂ α)(1 − α), with the closed form
/// α = k₁ (1 − e) / (k₁ + k₂ e), e = exp[−(k₁ + k₂) t].
///
/// # Arguments
///
/// - `k1_per_h`: rate k₁ at which the reaction begins, 0 to 1 000 000 per hour; at zero it never
///   does.
/// - `k2_per_h`: rate k₂ at which it is helped by its own product, 0 to 1 000 000 per hour.
/// - `hours`: time t since mixing, 0 to 10 000 000 h.
///
/// # Result
///
/// Degree of cure α, a pure number from 0 to 1.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Kamal and Sourour 1973 (the year from memory), dα/dt = (k₁ + k₂ α^m)(1 − α)^n, for m = n = 1, where it can be solved on
/// paper.
///
/// # Departures
///
/// Only m = n = 1. A measured epoxy has m + n from 2.5 to 3 (Barral and others, J. Appl. Polym.
/// Sci. 56 (1995) 1029) and needs an integrator, for which this closed form is the test.
///
/// # Examples
///
/// With 0.01 and 0.1 per minute, 42.18 % after 20 minutes (solved on paper; no published table).
///
/// ```
/// let degree = physics::rate::autocatalytic_degree(0.6, 6.0, 20.0 / 60.0)?;
/// assert!((degree - 0.421814).abs() < 0.000001);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn autocatalytic_degree(k1_per_h: f64, k2_per_h: f64, hours: f64) -> Result<f64> {
    let k1 = rate_constant("k1_per_h", k1_per_h)?;
    let k2 = rate_constant("k2_per_h", k2_per_h)?;
    let exponent = -(k1 + k2) * self::hours("hours", hours)?;
    // Without a start the closed form is 0/0 once e has vanished.
    if k1 == 0.0 {
        return Ok(0.0);
    }
    Ok(-k1 * exponent.exp_m1() / (k1 + k2 * exponent.exp()))
}

#[cfg(test)]
mod tests {
    use super::autocatalytic_degree;
    use crate::range::{Result, assert_refuses};

    #[test]
    fn degree_starts_at_none_rises_and_ends_at_one() -> Result<()> {
        assert_eq!(autocatalytic_degree(0.6, 6.0, 0.0)?, 0.0);
        assert_eq!(autocatalytic_degree(0.6, 6.0, 1e7)?, 1.0);
        assert_eq!(autocatalytic_degree(0.0, 6.0, 1e7)?, 0.0);
        let mut before = 0.0;
        for tenth in 1..40 {
            let degree = autocatalytic_degree(0.6, 6.0, f64::from(tenth) / 10.0)?;
            assert!(degree > before && degree < 1.0, "{degree} after {tenth} tenths");
            before = degree;
        }
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for bad in [-0.1, 1e8, f64::NAN] {
            assert_refuses("k1_per_h", autocatalytic_degree(bad, 6.0, 1.0));
            assert_refuses("k2_per_h", autocatalytic_degree(0.6, bad, 1.0));
            assert_refuses("hours", autocatalytic_degree(0.6, 6.0, bad));
        }
    }
}
