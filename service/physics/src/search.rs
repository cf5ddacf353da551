//! The one solver behind every inverse in this crate: halving.
//!
//! It is slower than Newton's rule by a few microseconds and cannot fail: the curves inverted here
//! are rising, but the one for saturation pressure has a small step where ice gives way to water.

/// The lowest number from `low` to `high` from which `reached` holds, as finely as rounding lets it
/// be told.
///
/// `reached` must be false below some point and true from there on. `high` is taken to be reached
/// and `low` not to be; they are never asked. The result is always a point that was reached, so a
/// caller may rely on "at least".
pub(crate) fn first_reached(low: f64, high: f64, reached: impl Fn(f64) -> bool) -> f64 {
    let (mut below, mut at_or_above) = (low, high);
    loop {
        let middle = f64::midpoint(below, at_or_above);
        // No float lies strictly between the two any more.
        if middle <= below || middle >= at_or_above {
            return at_or_above;
        }
        if reached(middle) {
            at_or_above = middle;
        } else {
            below = middle;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::first_reached;

    #[test]
    fn halving_finds_a_root_to_the_last_bit() {
        let root = first_reached(0.0, 2.0, |x| x * x >= 2.0);
        assert!((root - 2.0_f64.sqrt()).abs() <= f64::EPSILON, "{root}");
    }

    #[test]
    fn halving_ends_when_the_root_is_an_end() {
        assert_eq!(first_reached(0.0, 1.0, |_| false), 1.0);
        assert_eq!(first_reached(0.0, 1.0, |x| x > 0.0), f64::from_bits(1));
    }
}
