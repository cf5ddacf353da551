//! Wet bulb: the temperature that a wet surface comes to in moving air.

use super::saturation::{COLDEST_C, pressure_pa as saturation_pa};
use super::vapour::{humidity_ratio, ratio_of_pressures};
use crate::range::{Result, within};
use crate::search::first_reached;

/// Coldest air for which the wet bulb is computed, °C: bone dry air above it still has a wet bulb
/// inside the saturation equations.
const COLDEST_AIR_C: f64 = -60.0;

/// Thermodynamic wet bulb temperature: what a wet sock on a thermometer, or a freshly coated panel
/// in a draught, cools to.
///
/// # Equation
///
/// The T_w for which the air's humidity ratio W (kg/kg) satisfies, temperatures in °C,
///
/// - T_w ≥ 0, over water: W = [(2501 − 2.326 T_w) W_s(T_w) − 1.006 (T − T_w)] / (2501 + 1.86 T −
///   4.186 T_w)
/// - T_w < 0, over ice: W = [(2830 − 0.24 T_w) W_s(T_w) − 1.006 (T − T_w)] / (2830 + 1.86 T −
///   2.1 T_w)
///
/// where W_s is the ratio of saturated air; solved by halving.
///
/// # Arguments
///
/// - `temp_c`: air temperature, −60 to 200 °C.
/// - `rh_pct`: relative humidity, 0 to 100 %, over ice below 0.01 °C, and so that the vapour
///   pressure stays below `pressure_pa`.
/// - `pressure_pa`: air pressure, 30 000 to 120 000 Pa.
///
/// # Result
///
/// Wet bulb temperature in °C, never above `temp_c`.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// ASHRAE Handbook, Fundamentals (2017), ch. 1, eqs. 33 and 35.
///
/// # Departures
///
/// Just above freezing a wet bulb and an iced bulb can both satisfy their equation (at 5 °C and
/// 35 %: 0.18 and −0.18 °C). The handbook does not choose; the wet bulb is given here.
///
/// # Examples
///
/// PsychroLib 2.5.0: 13.783 °C at 20 °C, 50 % and 101 325 Pa; 13.491 °C at 89 875 Pa, about 1000 m.
///
/// ```
/// use physics::air::{STANDARD_PRESSURE_PA, wet_bulb_c};
/// assert!((wet_bulb_c(20.0, 50.0, STANDARD_PRESSURE_PA)? - 13.783).abs() < 0.002);
/// assert!((wet_bulb_c(20.0, 50.0, 89_875.0)? - 13.491).abs() < 0.002);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn wet_bulb_c(temp_c: f64, rh_pct: f64, pressure_pa: f64) -> Result<f64> {
    let temp_c = within("temp_c", temp_c, COLDEST_AIR_C, 200.0, "°C")?;
    let ratio = humidity_ratio(temp_c, rh_pct, pressure_pa)?;
    let too_damp = |bulb_c: f64, over_ice: bool| {
        let bulb_pa = saturation_pa(bulb_c);
        // A bulb that boils can make air of any dampness.
        bulb_pa >= pressure_pa
            || ratio_by_bulb(temp_c, bulb_c, ratio_of_pressures(bulb_pa, pressure_pa), over_ice) >= ratio
    };
    if temp_c > 0.0 && !too_damp(0.0, false) {
        return Ok(first_reached(0.0, temp_c, |bulb_c| too_damp(bulb_c, false)));
    }
    let warmest_ice_c = temp_c.min(0.0);
    Ok(first_reached(COLDEST_C, warmest_ice_c, |bulb_c| too_damp(bulb_c, true)))
}

/// Humidity ratio of air at `temp_c` that brings a bulb to `bulb_c`.
fn ratio_by_bulb(temp_c: f64, bulb_c: f64, saturated_ratio: f64, over_ice: bool) -> f64 {
    let sensible = 1.006 * (temp_c - bulb_c);
    if over_ice {
        ((2830.0 - 0.24 * bulb_c) * saturated_ratio - sensible) / (2830.0 + 1.86 * temp_c - 2.1 * bulb_c)
    } else {
        ((2501.0 - 2.326 * bulb_c) * saturated_ratio - sensible) / (2501.0 + 1.86 * temp_c - 4.186 * bulb_c)
    }
}

#[cfg(test)]
mod tests {
    use super::wet_bulb_c;
    use crate::air::{STANDARD_PRESSURE_PA, dew_point_c};
    use crate::range::{Result, assert_refuses};

    #[test]
    fn wet_bulb_lies_between_dew_point_and_air_and_meets_both_in_saturated_air() -> Result<()> {
        for temp_c in [-40.0, -5.0, 0.0, 3.0, 20.0, 45.0] {
            for rh_pct in [1.0, 20.0, 60.0, 99.0] {
                let bulb_c = wet_bulb_c(temp_c, rh_pct, STANDARD_PRESSURE_PA)?;
                let dew_c = dew_point_c(temp_c, rh_pct)?;
                assert!(dew_c < bulb_c && bulb_c < temp_c, "{temp_c} °C, {rh_pct} %: {bulb_c}");
            }
            let saturated_c = wet_bulb_c(temp_c, 100.0, STANDARD_PRESSURE_PA)?;
            assert!((saturated_c - temp_c).abs() < 1e-6, "{temp_c} °C: {saturated_c}");
        }
        Ok(())
    }

    #[test]
    fn even_bone_dry_air_has_a_wet_bulb() -> Result<()> {
        for temp_c in [-60.0, 0.0, 20.0, 99.0, 200.0] {
            let bulb_c = wet_bulb_c(temp_c, 0.0, STANDARD_PRESSURE_PA)?;
            assert!(bulb_c > -100.0 && bulb_c < temp_c, "{temp_c} °C: {bulb_c}");
        }
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for temp_c in [-60.1, 200.1, f64::NAN] {
            assert_refuses("temp_c", wet_bulb_c(temp_c, 50.0, STANDARD_PRESSURE_PA));
        }
        for rh_pct in [-1.0, 101.0, f64::NAN] {
            assert_refuses("rh_pct", wet_bulb_c(20.0, rh_pct, STANDARD_PRESSURE_PA));
        }
        assert_refuses("rh_pct", wet_bulb_c(120.0, 90.0, STANDARD_PRESSURE_PA));
        for pressure_pa in [101.3, 1013.0, f64::NAN] {
            assert_refuses("pressure_pa", wet_bulb_c(20.0, 50.0, pressure_pa));
        }
    }
}
