//! Dew point, and below freezing the frost point.

use super::saturation::{COLDEST_C, WARMEST_C, pressure_pa};
use crate::range::{Result, temperature, within};
use crate::search::first_reached;

/// Dew point: the temperature at which this air, cooled, begins to wet a surface. Below 0.01 °C it
/// is the **frost point**, at which rime forms.
///
/// # Equation
///
/// The T_d at which p_s(T_d) = (RH/100) p_s(T), solved by halving.
///
/// # Arguments
///
/// - `temp_c`: air temperature, −100 to 200 °C.
/// - `rh_pct`: relative humidity, over ice below 0.01 °C, up to 100 % and above the tiny humidity
///   whose frost point is −100 °C (0.00006 % at 20 °C). Exactly 0 % is refused: bone dry air has
///   no dew point.
///
/// # Result
///
/// Dew or frost point in °C, never above `temp_c`.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Definition; saturation pressure from ASHRAE Handbook, Fundamentals (2017), ch. 1, eqs. 5 and 6.
///
/// # Departures
///
/// The handbook also prints a regression (its eqs. 37 and 38); it is coarser and narrower, and is
/// not used. Magnus formulas give the dew point over supercooled water, which for
/// 20 °C and 10 % lies 1.4 K below the frost point.
///
/// # Examples
///
/// PsychroLib 2.5.0: 9.272 °C at 20 °C and 50 %, and a frost point of −11.18 °C at 20 °C and 10 %.
///
/// ```
/// use physics::air::dew_point_c;
/// assert!((dew_point_c(20.0, 50.0)? - 9.272).abs() < 0.002);
/// assert!((dew_point_c(20.0, 10.0)? + 11.18).abs() < 0.005);
/// assert!(dew_point_c(20.0, 0.0).is_err());
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn dew_point_c(temp_c: f64, rh_pct: f64) -> Result<f64> {
    let saturation_pa = pressure_pa(temperature("temp_c", temp_c)?);
    let driest_pct = 100.0 * (pressure_pa(COLDEST_C) / saturation_pa);
    let rh_pct = within("rh_pct", rh_pct, driest_pct, 100.0, "%")?;
    let vapour_pa = rh_pct / 100.0 * saturation_pa;
    Ok(first_reached(COLDEST_C, temp_c, |dew_c| pressure_pa(dew_c) >= vapour_pa))
}

/// Dew point of a vapour pressure, however it was found; the frost point below 0.01 °C.
///
/// # Equation
///
/// The T_d at which p_s(T_d) = p: the inverse of
/// [`saturation_pressure_pa`](super::saturation_pressure_pa), solved by halving.
///
/// # Arguments
///
/// - `vapour_pressure_pa`: vapour pressure, 0.0014 Pa to 1.555 MPa, the saturation pressures of
///   −100 and 200 °C.
///
/// # Result
///
/// Dew or frost point in °C, −100 to 200.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming `vapour_pressure_pa` outside its range.
///
/// # Source
///
/// Definition; saturation pressure from ASHRAE Handbook, Fundamentals (2017), ch. 1, eqs. 5 and 6.
///
/// # Departures
///
/// As for [`dew_point_c`].
///
/// # Examples
///
/// ASHRAE Handbook, Fundamentals (2017), ch. 1, table 3 prints 872.6 Pa at 5 °C.
///
/// ```
/// let dew_c = physics::air::dew_point_of_pressure_c(872.6)?;
/// assert!((dew_c - 5.0).abs() < 0.005);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn dew_point_of_pressure_c(vapour_pressure_pa: f64) -> Result<f64> {
    let (min, max) = (pressure_pa(COLDEST_C), pressure_pa(WARMEST_C));
    let vapour_pa = within("vapour_pressure_pa", vapour_pressure_pa, min, max, "Pa")?;
    Ok(first_reached(COLDEST_C, WARMEST_C, |dew_c| pressure_pa(dew_c) >= vapour_pa))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::air::saturation_pressure_pa;
    use crate::range::assert_refuses;

    #[test]
    fn saturated_air_is_at_its_dew_point() -> Result<()> {
        for temp_c in [-100.0, -30.0, 0.0, 0.005, 0.01, 0.02, 20.0, 99.0, 200.0] {
            assert!((dew_point_c(temp_c, 100.0)? - temp_c).abs() < 1e-9, "{temp_c} °C");
        }
        Ok(())
    }

    #[test]
    fn dew_point_is_the_inverse_of_saturation_pressure_across_freezing() -> Result<()> {
        for hundredth in -500..=500 {
            let temp_c = f64::from(hundredth) / 100.0;
            let back_c = dew_point_of_pressure_c(saturation_pressure_pa(temp_c)?)?;
            // The step at the triple point is worth 0.00001 K.
            assert!((back_c - temp_c).abs() < 1e-4, "{temp_c} °C came back as {back_c} °C");
        }
        Ok(())
    }

    #[test]
    fn dew_point_never_falls_when_the_air_gets_damper() -> Result<()> {
        let mut before_c = f64::MIN;
        for rh_pct in 1..=100 {
            let dew_c = dew_point_c(18.0, f64::from(rh_pct))?;
            assert!(dew_c > before_c && dew_c <= 18.0, "{dew_c} °C at {rh_pct} %");
            before_c = dew_c;
        }
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for temp_c in [-101.0, 201.0, f64::NAN] {
            assert_refuses("temp_c", dew_point_c(temp_c, 50.0));
        }
        for rh_pct in [0.0, 1e-6, -5.0, 100.5, f64::NAN] {
            assert_refuses("rh_pct", dew_point_c(20.0, rh_pct));
        }
        for vapour_pa in [0.0, 0.001, 2e6, f64::NAN] {
            assert_refuses("vapour_pressure_pa", dew_point_of_pressure_c(vapour_pa));
        }
    }
}
