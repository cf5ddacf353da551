//! Air over a saturated salt solution: the fixed points a hygrometer is held against.

use crate::range::{Result, within};
use crate::rate::KELVIN_AT_0_C;

/// A salt with a published equilibrium humidity. Two suffice for a workshop: they stand on either side of the air in
/// which instruments are kept, and both are sold in any town.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SaturatedSalt {
    /// NaCl.
    SodiumChloride,
    /// MgCl₂·6H₂O.
    MagnesiumChloride,
}

impl SaturatedSalt {
    /// A in %, B in kelvin, and the temperatures in °C for which they hold.
    /// Source: CRC Handbook of Chemistry and Physics, section 15, "Constant humidity solutions" (A. Wexler).
    fn row(self) -> (f64, f64, f64, f64) {
        match self {
            Self::SodiumChloride => (69.20, 25.0, 10.0, 40.0),
            Self::MagnesiumChloride => (29.26, 34.0, 5.0, 45.0),
        }
    }
}

/// Relative humidity of the air in a closed box over a saturated solution of a salt, with salt left undissolved.
///
/// # Equation
///
/// RH = A exp(B / T), T in kelvin.
///
/// # Arguments
///
/// - `salt`: which salt; A and B are 69.20 % and 25 K for sodium chloride, 29.26 % and 34 K for magnesium chloride.
/// - `temp_c`: temperature of solution and air, 10 to 40 °C for sodium chloride, 5 to 45 °C for magnesium chloride.
///
/// # Result
///
/// Relative humidity in percent, over water.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming `temp_c` outside the salt's range.
///
/// # Source
///
/// CRC Handbook of Chemistry and Physics, section 15, "Constant humidity solutions" (A. Wexler), after L. Greenspan,
/// J. Res. NBS 81A (1977) 89.
///
/// # Departures
///
/// None. The handbook gives the fit about ±2 % RH; Greenspan's own values at 20 °C, 75.47 % and 33.07 %, lie within
/// 0.3 % of it.
///
/// # Examples
///
/// The handbook rounds sodium chloride to 75 % at 25 °C.
///
/// ```
/// use physics::air::{SaturatedSalt, salt_rh_pct};
/// let rh_pct = salt_rh_pct(SaturatedSalt::SodiumChloride, 25.0)?;
/// assert!((rh_pct - 75.25).abs() < 0.01);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn salt_rh_pct(salt: SaturatedSalt, temp_c: f64) -> Result<f64> {
    let (a_pct, b_k, min_c, max_c) = salt.row();
    let temp_c = within("temp_c", temp_c, min_c, max_c, "°C")?;
    Ok(a_pct * (b_k / (temp_c + KELVIN_AT_0_C)).exp())
}

#[cfg(test)]
mod tests {
    use super::{SaturatedSalt, salt_rh_pct};
    use crate::range::assert_refuses;

    #[test]
    fn a_box_in_the_cold_or_in_the_sun_is_refused() {
        for temp_c in [9.9, 40.1, f64::NAN] {
            assert_refuses("temp_c", salt_rh_pct(SaturatedSalt::SodiumChloride, temp_c));
        }
    }

    #[test]
    fn warmer_solutions_hold_drier_air() {
        for salt in [SaturatedSalt::SodiumChloride, SaturatedSalt::MagnesiumChloride] {
            let [cool, warm] = [15.0, 30.0].map(|temp_c| salt_rh_pct(salt, temp_c).expect("a temperature in range"));
            assert!(warm < cool);
        }
    }
}
