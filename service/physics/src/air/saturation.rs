//! Saturation pressure of water vapour, over ice and over water.

use crate::range::{Result, temperature};

/// Triple point of water, °C: where the ice equation gives way to the water equation.
pub(super) const TRIPLE_POINT_C: f64 = 0.01;

/// Coldest temperature of the ice equation, °C.
pub(super) const COLDEST_C: f64 = -100.0;

/// Warmest temperature of the water equation, °C.
pub(super) const WARMEST_C: f64 = 200.0;

/// Pressure of water vapour over ice or water at rest with it: the most that air can hold.
///
/// # Equation
///
/// With T in kelvin and p in pascals,
///
/// - up to 0.01 °C, over ice: ln p = −5674.5359/T + 6.3925247 − 9.677843e−3 T + 6.2215701e−7 T² +
///   2.0747825e−9 T³ − 9.484024e−13 T⁴ + 4.1635019 ln T
/// - above, over water: ln p = −5800.2206/T + 1.3914993 − 0.048640239 T + 4.1764768e−5 T² −
///   1.4452093e−8 T³ + 6.5459673 ln T
///
/// # Arguments
///
/// - `temp_c`: temperature of the ice or water, −100 to 200 °C.
///
/// # Result
///
/// Saturation pressure in pascals.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming `temp_c` outside −100 to 200 °C.
///
/// # Source
///
/// Hyland and Wexler 1983, as printed in ASHRAE Handbook, Fundamentals (2017), ch. 1, eqs. 5 and 6.
/// Within 0.03 % of that chapter's table 3, and of the IAPWS-95 equation of state from 5 to 45 °C.
///
/// # Departures
///
/// The handbook changes from ice to water at 0 °C; the change is made here at the triple point,
/// 0.01 °C, where the two curves meet. At 0 °C they are 0.06 Pa apart, and the inverse would have a
/// gap.
///
/// # Examples
///
/// ASHRAE Handbook, Fundamentals (2017), ch. 1, table 3 prints 3169.7 Pa at 25 °C.
///
/// ```
/// let pressure_pa = physics::air::saturation_pressure_pa(25.0)?;
/// assert!((pressure_pa / 3169.7 - 1.0).abs() < 0.0003);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn saturation_pressure_pa(temp_c: f64) -> Result<f64> {
    Ok(pressure_pa(temperature("temp_c", temp_c)?))
}

/// The equations themselves, for a temperature known to be in range.
pub(super) fn pressure_pa(temp_c: f64) -> f64 {
    let t = temp_c + crate::rate::KELVIN_AT_0_C;
    let log_pressure = if temp_c <= TRIPLE_POINT_C {
        -5674.5359 / t
            + 6.3925247
            + t * (-9.677843e-3 + t * (6.2215701e-7 + t * (2.0747825e-9 - t * 9.484024e-13)))
            + 4.1635019 * t.ln()
    } else {
        -5800.2206 / t + 1.3914993 + t * (-0.048640239 + t * (4.1764768e-5 - t * 1.4452093e-8)) + 6.5459673 * t.ln()
    };
    log_pressure.exp()
}

#[cfg(test)]
mod tests {
    use super::{pressure_pa, saturation_pressure_pa};
    use crate::range::assert_refuses;

    #[test]
    fn ice_gives_way_to_water_without_a_gap() {
        let (ice_pa, water_pa) = (pressure_pa(0.01), pressure_pa(0.01_f64.next_up()));
        assert!((water_pa / ice_pa - 1.0).abs() < 1e-5, "{ice_pa} and {water_pa} Pa");
    }

    #[test]
    fn saturation_pressure_rises_with_every_tenth_of_a_degree() {
        for tenth in -1000..2000 {
            let temp_c = f64::from(tenth) / 10.0;
            assert!(pressure_pa(temp_c) < pressure_pa(temp_c + 0.1), "at {temp_c} °C");
        }
    }

    #[test]
    fn temperatures_outside_the_equations_are_refused() {
        for temp_c in [-100.1, 200.1, f64::NAN] {
            assert_refuses("temp_c", saturation_pressure_pa(temp_c));
        }
    }
}
