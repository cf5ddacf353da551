//! Frequencies of equal temperament.

use crate::range::{Result, within};

/// Frequency of a note so many semitones from A4.
///
/// # Equation
///
/// f = A4 · 2^(n/12).
///
/// # Arguments
///
/// - `a4_hz`: what the A above middle C is tuned to, 350 to 500 Hz. 440 Hz in ISO 16.
/// - `semitones`: from A4, −60 to 60; negative below.
///
/// # Result
///
/// Frequency in hertz.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Definition of equal temperament; ISO 16:1975 for 440 Hz, from memory.
///
/// # Departures
///
/// A string's stiffness sharpens its overtones and a player bends notes: neither is in it.
///
/// # Examples
///
/// ```
/// let e4_hz = physics::strings::equal_temperament_hz(440.0, -5.0)?;
/// assert!((e4_hz - 329.6276).abs() < 5e-5);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn equal_temperament_hz(a4_hz: f64, semitones: f64) -> Result<f64> {
    let a4_hz = within("a4_hz", a4_hz, 350.0, 500.0, "Hz")?;
    Ok(a4_hz * (within("semitones", semitones, -60.0, 60.0, "")? / 12.0).exp2())
}
