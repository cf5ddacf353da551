//! Vapour pressure from relative humidity, and the measures of humidity that follow from it.

use super::saturation::pressure_pa as saturation_pa;
use crate::range::{OutOfRange, Result, relative_humidity, temperature, within};
use crate::rate::KELVIN_AT_0_C;

/// Molar mass of water over molar mass of dry air, kg/kg. Source: ASHRAE Handbook, Fundamentals
/// (2017), ch. 1, eq. 20.
const WATER_TO_AIR: f64 = 0.621945;

/// Gas constant of water vapour, J/(kg K). Source: IAPWS-IF97. It differs from the molar gas
/// constant over 18.015268 g/mol by 6 parts in a million.
const VAPOUR_GAS_CONSTANT: f64 = 461.526;

/// Pressure of the water vapour that is in the air.
///
/// # Equation
///
/// p = (RH/100) p_s(T), with p_s of [`saturation_pressure_pa`](super::saturation_pressure_pa).
///
/// # Arguments
///
/// - `temp_c`: air temperature, −100 to 200 °C.
/// - `rh_pct`: relative humidity, 0 to 100 %, over ice below 0.01 °C.
///
/// # Result
///
/// Vapour pressure in pascals.
///
/// # Errors
///
/// [`OutOfRange`] naming the argument outside its range.
///
/// # Source
///
/// ASHRAE Handbook, Fundamentals (2017), ch. 1, eq. 22.
///
/// # Departures
///
/// None. Real moist air holds up to 0.5 % more than this ideal gas at room temperature.
///
/// # Examples
///
/// PsychroLib 2.5.0, which codes that chapter: 1169.4 Pa at 20 °C and 50 %.
///
/// ```
/// let pressure_pa = physics::air::vapour_pressure_pa(20.0, 50.0)?;
/// assert!((pressure_pa - 1169.4).abs() < 0.05);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn vapour_pressure_pa(temp_c: f64, rh_pct: f64) -> Result<f64> {
    let temp_c = temperature("temp_c", temp_c)?;
    let rh_pct = relative_humidity("rh_pct", rh_pct)?;
    Ok(rh_pct / 100.0 * saturation_pa(temp_c))
}

/// Vapour pressure deficit: how far the air is from holding all the water it can. It is what
/// drives water out of a glue line or a water-borne film.
///
/// # Equation
///
/// VPD = p_s(T) (1 − RH/100).
///
/// # Arguments
///
/// - `temp_c`: air temperature, −100 to 200 °C.
/// - `rh_pct`: relative humidity, 0 to 100 %, over ice below 0.01 °C.
///
/// # Result
///
/// Deficit in pascals; exactly zero in saturated air.
///
/// # Errors
///
/// [`OutOfRange`] naming the argument outside its range.
///
/// # Source
///
/// Definition; saturation pressure from ASHRAE Handbook, Fundamentals (2017), ch. 1, eqs. 5 and 6.
///
/// # Departures
///
/// None. Real moist air differs by up to 0.5 % at room temperature.
///
/// # Examples
///
/// PsychroLib 2.5.0: 1637.2 Pa at 20 °C and 30 %.
///
/// ```
/// assert!((physics::air::vpd_pa(20.0, 30.0)? - 1637.2).abs() < 0.05);
/// assert_eq!(physics::air::vpd_pa(20.0, 100.0)?, 0.0);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn vpd_pa(temp_c: f64, rh_pct: f64) -> Result<f64> {
    let temp_c = temperature("temp_c", temp_c)?;
    let rh_pct = relative_humidity("rh_pct", rh_pct)?;
    Ok(saturation_pa(temp_c) * (1.0 - rh_pct / 100.0))
}

/// Relative humidity that a vapour pressure makes at another temperature: in the case, against the
/// cold wall, on the warm side of the room.
///
/// # Equation
///
/// RH = 100 p/p_s(T).
///
/// # Arguments
///
/// - `temp_c`: temperature of the place, −100 to 200 °C.
/// - `vapour_pressure_pa`: vapour pressure, 0 to the saturation pressure of `temp_c`, in pascals.
///
/// # Result
///
/// Relative humidity in %, 0 to 100.
///
/// # Errors
///
/// [`OutOfRange`] naming the argument. A vapour pressure above saturation is refused with the
/// saturation pressure as its limit: there the air fogs or the surface sweats.
///
/// # Source
///
/// ASHRAE Handbook, Fundamentals (2017), ch. 1, eq. 22.
///
/// # Departures
///
/// None.
///
/// # Examples
///
/// Air of 20 °C and 50 % holds 1169.4 Pa (PsychroLib 2.5.0); at 15 °C saturation is 1705.4 Pa, so
/// the same air shows 68.6 % there.
///
/// ```
/// use physics::air::{rh_pct_at, vapour_pressure_pa};
/// let by_the_window_pct = rh_pct_at(15.0, vapour_pressure_pa(20.0, 50.0)?)?;
/// assert!((by_the_window_pct - 100.0 * 1169.4 / 1705.4).abs() < 0.01);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn rh_pct_at(temp_c: f64, vapour_pressure_pa: f64) -> Result<f64> {
    let saturation_pa = saturation_pa(temperature("temp_c", temp_c)?);
    let vapour_pa = within("vapour_pressure_pa", vapour_pressure_pa, 0.0, saturation_pa, "Pa")?;
    Ok(100.0 * (vapour_pa / saturation_pa))
}

/// Humidity ratio: water vapour per mass of dry air. It stays the same when air is only warmed.
///
/// # Equation
///
/// W = 0.621945 p/(P − p), with p the vapour pressure and P the air pressure.
///
/// # Arguments
///
/// - `temp_c`: air temperature, −100 to 200 °C.
/// - `rh_pct`: relative humidity, 0 to 100 %, over ice below 0.01 °C, and so that p stays below P.
/// - `pressure_pa`: air pressure, 30 000 to 120 000 Pa.
///
/// # Result
///
/// Kilograms of water vapour per kilogram of dry air.
///
/// # Errors
///
/// [`OutOfRange`] naming the argument; `rh_pct` also where the vapour alone would boil over the air
/// pressure, which is possible near and above 100 °C only.
///
/// # Source
///
/// ASHRAE Handbook, Fundamentals (2017), ch. 1, eq. 20.
///
/// # Departures
///
/// None. Real moist air (CoolProp 8.0.0) holds up to 0.6 % more from −5 to 45 °C.
///
/// # Examples
///
/// PsychroLib 2.5.0: 7.262 g/kg at 20 °C, 50 % and 101 325 Pa.
///
/// ```
/// use physics::air::{STANDARD_PRESSURE_PA, humidity_ratio};
/// let ratio = humidity_ratio(20.0, 50.0, STANDARD_PRESSURE_PA)?;
/// assert!((ratio - 0.007262).abs() < 0.000001);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn humidity_ratio(temp_c: f64, rh_pct: f64, pressure_pa: f64) -> Result<f64> {
    let vapour_pa = vapour_pressure_pa(temp_c, rh_pct)?;
    let pressure_pa = super::air_pressure(pressure_pa)?;
    if vapour_pa >= pressure_pa {
        let max = (100.0 * pressure_pa / saturation_pa(temp_c)).next_down();
        return Err(OutOfRange { argument: "rh_pct", given: rh_pct, min: 0.0, max, unit: "%" });
    }
    Ok(ratio_of_pressures(vapour_pa, pressure_pa))
}

/// W of a vapour pressure below the air pressure.
pub(super) fn ratio_of_pressures(vapour_pa: f64, pressure_pa: f64) -> f64 {
    WATER_TO_AIR * vapour_pa / (pressure_pa - vapour_pa)
}

/// Absolute humidity: water vapour per volume of air.
///
/// # Equation
///
/// a = 1000 p/(R_v T), with R_v = 461.526 J/(kg K) and T in kelvin.
///
/// # Arguments
///
/// - `temp_c`: air temperature, −100 to 200 °C.
/// - `rh_pct`: relative humidity, 0 to 100 %, over ice below 0.01 °C.
///
/// # Result
///
/// Grams of water vapour per cubic metre of air.
///
/// # Errors
///
/// [`OutOfRange`] naming the argument outside its range.
///
/// # Source
///
/// Ideal gas law; gas constant of water vapour from IAPWS-IF97.
///
/// # Departures
///
/// None. Real moist air (CoolProp 8.0.0) holds up to 0.6 % more from −5 to 45 °C.
///
/// # Examples
///
/// PsychroLib 2.5.0 vapour pressure in the gas law: 8.643 g/m³ at 20 °C and 50 %.
///
/// ```
/// assert!((physics::air::absolute_humidity_g_m3(20.0, 50.0)? - 8.643).abs() < 0.001);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn absolute_humidity_g_m3(temp_c: f64, rh_pct: f64) -> Result<f64> {
    let vapour_pa = vapour_pressure_pa(temp_c, rh_pct)?;
    Ok(1000.0 * vapour_pa / (VAPOUR_GAS_CONSTANT * (temp_c + KELVIN_AT_0_C)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    #[test]
    fn bone_dry_air_holds_no_water() -> Result<()> {
        assert_eq!(vapour_pressure_pa(20.0, 0.0)?, 0.0);
        assert_eq!(humidity_ratio(20.0, 0.0, 101_325.0)?, 0.0);
        assert_eq!(absolute_humidity_g_m3(20.0, 0.0)?, 0.0);
        assert_eq!(rh_pct_at(20.0, 0.0)?, 0.0);
        Ok(())
    }

    #[test]
    fn humidity_survives_the_way_through_vapour_pressure() -> Result<()> {
        for rh_pct in [0.0, 0.1, 33.0, 75.0, 99.9, 100.0] {
            let back_pct = rh_pct_at(23.0, vapour_pressure_pa(23.0, rh_pct)?)?;
            assert!((back_pct - rh_pct).abs() < 1e-12, "{rh_pct} % came back as {back_pct} %");
        }
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for temp_c in [-101.0, 201.0, f64::NAN] {
            assert_refuses("temp_c", vapour_pressure_pa(temp_c, 50.0));
            assert_refuses("temp_c", vpd_pa(temp_c, 50.0));
            assert_refuses("temp_c", rh_pct_at(temp_c, 500.0));
            assert_refuses("temp_c", humidity_ratio(temp_c, 50.0, 101_325.0));
            assert_refuses("temp_c", absolute_humidity_g_m3(temp_c, 50.0));
        }
        for rh_pct in [-0.1, 100.1, f64::INFINITY] {
            assert_refuses("rh_pct", vapour_pressure_pa(20.0, rh_pct));
            assert_refuses("rh_pct", vpd_pa(20.0, rh_pct));
            assert_refuses("rh_pct", humidity_ratio(20.0, rh_pct, 101_325.0));
            assert_refuses("rh_pct", absolute_humidity_g_m3(20.0, rh_pct));
        }
        for vapour_pa in [-1.0, 2400.0, f64::NAN] {
            assert_refuses("vapour_pressure_pa", rh_pct_at(20.0, vapour_pa));
        }
        for pressure_pa in [1013.25, 200_000.0, f64::NAN] {
            assert_refuses("pressure_pa", humidity_ratio(20.0, 50.0, pressure_pa));
        }
    }

    #[test]
    fn vapour_that_would_boil_over_the_air_pressure_is_refused_with_the_humidity_that_fits() {
        let refusal = humidity_ratio(120.0, 90.0, 101_325.0);
        assert_refuses("rh_pct", refusal.clone());
        let max = refusal.unwrap_or_else(|refusal| refusal.max);
        assert!(humidity_ratio(120.0, max, 101_325.0).is_ok(), "{max} %");
    }
}
