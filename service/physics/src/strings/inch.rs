//! Inches and thousandths to millimetres, exact: the inch is 25.4 mm by definition.

use crate::range::{Result, within};

/// Tenths of a millimetre of an inch, by definition (international inch, 1959). A whole number has no rounding of its
/// own: what can be said exactly in inches is exact to the last binary digit in millimetres.
const TENTHS_PER_INCH: f64 = 254.0;

/// A length in inches as millimetres: L_mm = 25.4 L_in.
///
/// # Arguments
///
/// - `inches`: 0 to 1000 in.
///
/// # Result
///
/// Millimetres, exact but for the last binary digit.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming `inches`.
///
/// # Source
///
/// Definition of the international inch.
///
/// # Examples
///
/// ```
/// use physics::strings::mm_from_inches;
/// assert_eq!(mm_from_inches(0.5)?, 12.7);
/// assert_eq!(mm_from_inches(7.0 / 16.0)?, 11.1125);
/// assert_eq!((mm_from_inches(0.427)? * 10.0).round() / 10.0, 10.8);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn mm_from_inches(inches: f64) -> Result<f64> {
    Ok(within("inches", inches, 0.0, 1000.0, "in")? * TENTHS_PER_INCH / 10.0)
}

/// A gauge in thousandths of an inch as millimetres: a "twelve" is 12 thousandths, 0.3048 mm.
///
/// # Arguments
///
/// - `thousandths`: 0 to 1 000 000.
///
/// # Result
///
/// Millimetres, exact but for the last binary digit.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming `thousandths`.
///
/// # Source
///
/// Definition of the international inch.
///
/// # Examples
///
/// ```
/// assert_eq!(physics::strings::mm_from_thousandths(12.0)?, 0.3048);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn mm_from_thousandths(thousandths: f64) -> Result<f64> {
    Ok(within("thousandths", thousandths, 0.0, 1e6, "/1000 in")? * TENTHS_PER_INCH / 10_000.0)
}
