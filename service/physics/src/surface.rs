//! How far a surface is from sweating.

use crate::air::dew_point_c;
use crate::range::{Result, temperature};

/// Smallest margin of a surface above the dew point at which coating is usual, in kelvins.
///
/// Source: the 3 °C rule of coating practice that cites ISO 8502-4 (guidance on condensation) and
/// ISO 12944-7; seen as an industry rule, the number itself from memory and not read in the
/// standard. With the surface at air temperature below 39 °C it is stricter than the companion
/// rule of at most 85 % humidity.
pub const MIN_DEW_POINT_SPREAD_K: f64 = 3.0;

/// Dew point spread: how much warmer a surface is than the dew point of the air that it stands in.
/// Below zero it is wet.
///
/// # Equation
///
/// ΔT = T_surface − T_d, with T_d of [`dew_point_c`].
///
/// # Arguments
///
/// - `air_temp_c`: air temperature, −100 to 200 °C.
/// - `rh_pct`: relative humidity of the air, up to 100 % and above zero as for [`dew_point_c`].
/// - `surface_temp_c`: temperature of the surface, −100 to 200 °C.
///
/// # Result
///
/// Margin in kelvins, to be held against [`MIN_DEW_POINT_SPREAD_K`]; negative where dew forms.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// ISO 8502-4, guidance on the estimation of the probability of condensation (procedure: measure
/// the air, compute the dew point, measure the surface, judge the margin).
///
/// # Departures
///
/// The dew point is computed as in [`dew_point_c`] and not read from the standard's table.
///
/// # Examples
///
/// PsychroLib 2.5.0: the dew point at 20 °C and 80 % is 16.45 °C, so a top 1 K cooler than the air
/// is 2.55 K above it and fails the rule.
///
/// ```
/// use physics::surface::{MIN_DEW_POINT_SPREAD_K, dew_point_spread_k};
/// let spread_k = dew_point_spread_k(20.0, 80.0, 19.0)?;
/// assert!((spread_k - 2.55).abs() < 0.005);
/// assert!(spread_k < MIN_DEW_POINT_SPREAD_K);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn dew_point_spread_k(air_temp_c: f64, rh_pct: f64, surface_temp_c: f64) -> Result<f64> {
    let air_temp_c = temperature("air_temp_c", air_temp_c)?;
    let surface_temp_c = temperature("surface_temp_c", surface_temp_c)?;
    Ok(surface_temp_c - dew_point_c(air_temp_c, rh_pct)?)
}

#[cfg(test)]
mod tests {
    use super::dew_point_spread_k;
    use crate::range::{Result, assert_refuses};

    #[test]
    fn a_surface_colder_than_the_dew_point_has_a_negative_spread() -> Result<()> {
        assert!(dew_point_spread_k(20.0, 60.0, 11.0)? < 0.0);
        assert!(dew_point_spread_k(20.0, 100.0, 20.0)?.abs() < 1e-9);
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for temp_c in [-101.0, 201.0, f64::NAN] {
            assert_refuses("air_temp_c", dew_point_spread_k(temp_c, 50.0, 20.0));
            assert_refuses("surface_temp_c", dew_point_spread_k(20.0, 50.0, temp_c));
        }
        for rh_pct in [0.0, 100.1, f64::NAN] {
            assert_refuses("rh_pct", dew_point_spread_k(20.0, rh_pct, 20.0));
        }
    }
}
