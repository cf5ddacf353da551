//! What happens to a number that an equation was not made for.

use std::fmt;

/// What every formula here answers with: its result, or the argument that it cannot use.
pub type Result<T> = std::result::Result<T, OutOfRange>;

/// An argument outside the range of an equation, NaN and the infinities included.
///
/// ```
/// let refusal = physics::air::saturation_pressure_pa(300.0).unwrap_err();
/// assert_eq!(refusal.to_string(), "temp_c is 300 °C; give a value from -100 to 200 °C");
/// ```
#[derive(Debug, Clone, PartialEq)]
pub struct OutOfRange {
    /// The argument's name as the function declares it, so that a caller can point at a field.
    pub argument: &'static str,
    /// What was given, unchanged: a sensor's wrong number is evidence.
    pub given: f64,
    /// The smallest value the equation takes. It may depend on the other arguments.
    pub min: f64,
    /// The largest value the equation takes. It may depend on the other arguments.
    pub max: f64,
    /// Unit of the three numbers; empty for a pure number, so that a message needs no lookup.
    pub unit: &'static str,
}

impl fmt::Display for OutOfRange {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let gap = if self.unit.is_empty() { "" } else { " " };
        write!(
            f,
            "{} is {}{gap}{unit}; give a value from {} to {}{gap}{unit}",
            self.argument,
            Figure(self.given),
            Figure(self.min),
            Figure(self.max),
            unit = self.unit,
        )
    }
}

impl std::error::Error for OutOfRange {}

/// A number as a person writes it: powers of ten only where plain digits would be a row of zeros.
struct Figure(f64);

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let size = self.0.abs();
        if size == 0.0 || !size.is_finite() || (1e-4..1e9).contains(&size) {
            write!(f, "{}", self.0)
        } else {
            write!(f, "{:e}", self.0)
        }
    }
}

/// The longest time any formula takes, in hours: a little over a thousand years. Common practice,
/// no source; no instrument is older, so a larger number is a wrong unit.
pub(crate) const LONGEST_H: f64 = 1.0e7;

/// Gives `given` back if it lies from `min` to `max`, both included. NaN lies nowhere.
pub(crate) fn within(argument: &'static str, given: f64, min: f64, max: f64, unit: &'static str) -> Result<f64> {
    if given >= min && given <= max { Ok(given) } else { Err(OutOfRange { argument, given, min, max, unit }) }
}

/// A temperature for which the saturation equations and the rate laws hold.
pub(crate) fn temperature(argument: &'static str, given: f64) -> Result<f64> {
    within(argument, given, -100.0, 200.0, "°C")
}

/// A relative humidity, bone dry and saturated included.
pub(crate) fn relative_humidity(argument: &'static str, given: f64) -> Result<f64> {
    within(argument, given, 0.0, 100.0, "%")
}

/// A length of time, zero included.
pub(crate) fn hours(argument: &'static str, given: f64) -> Result<f64> {
    within(argument, given, 0.0, LONGEST_H, "h")
}

/// Asserts that a call was refused because of `argument`. For the range tests of every module.
#[cfg(test)]
pub(crate) fn assert_refuses<T: fmt::Debug>(argument: &str, answer: Result<T>) {
    match answer {
        Err(refusal) => assert_eq!(refusal.argument, argument, "{refusal}"),
        Ok(result) => panic!("{argument} should have been refused, got {result:?}"),
    }
}

#[cfg(test)]
mod tests {
    use super::{OutOfRange, within};

    #[test]
    fn nan_and_infinities_are_out_of_every_range() {
        for given in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(within("age_h", given, f64::MIN, f64::MAX, "h").is_err(), "{given}");
        }
    }

    #[test]
    fn both_ends_of_a_range_are_inside() {
        assert_eq!(within("rh_pct", 0.0, 0.0, 100.0, "%"), Ok(0.0));
        assert_eq!(within("rh_pct", 100.0, 0.0, 100.0, "%"), Ok(100.0));
    }

    #[test]
    fn a_message_shows_no_unit_for_a_pure_number_and_no_row_of_zeros() {
        let refusal = OutOfRange { argument: "fraction", given: f64::NAN, min: 1e-9, max: 1.0, unit: "" };
        assert_eq!(refusal.to_string(), "fraction is NaN; give a value from 1e-9 to 1");
    }
}
