//! Equilibrium moisture content, and the humidity that keeps a given one.

use crate::range::{Result, relative_humidity, within};
use crate::search::first_reached;

/// Range of the equation, °C. The warm end is that of the handbook's table. The table starts at
/// −1.1 °C; the equation is carried on to −20 °C, an extrapolation.
fn wood_temperature(temp_c: f64) -> Result<f64> {
    within("temp_c", temp_c, -20.0, 132.2, "°C")
}

/// Equilibrium moisture content: the moisture that wood comes to after long rest in steady air.
///
/// # Equation
///
/// M = (1800/W) [K h/(1 − K h) + (K₁ K h + 2 K₁ K₂ K² h²)/(1 + K₁ K h + K₁ K₂ K² h²)], with
/// h = RH/100, T in °C and
///
/// - W = 349 + 1.29 T + 0.0135 T²
/// - K = 0.805 + 0.000736 T − 0.00000273 T²
/// - K₁ = 6.27 − 0.00938 T − 0.000303 T²
/// - K₂ = 1.91 + 0.0407 T − 0.000293 T²
///
/// # Arguments
///
/// - `temp_c`: temperature, −20 to 132.2 °C. The handbook's table begins at −1.1 °C.
/// - `rh_pct`: relative humidity, 0 to 100 %. The handbook's table covers 5 to 95 %.
///
/// # Result
///
/// Moisture content in % of the oven-dry mass.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Wood Handbook, USDA Forest Products Laboratory, FPL-GTR-190 (2010), eq. 4-5 with its SI constants
/// and table 4-2; unchanged in FPL-GTR-282 (2021). Every cell of the table from −1.1 to 60 °C agrees
/// within 0.06 % moisture.
///
/// # Departures
///
/// None. The table rests on Sitka spruce between wetting and drying; a species, a finish or the
/// direction of change moves a real board by 1 % or more, so tenths are not physical. The 2021
/// edition prints a second form (eq. 4-6) that lies up to 3 % higher in cold damp air; it is not
/// used.
///
/// # Examples
///
/// Table 4-2 prints 9.2 % at 21.1 °C and 50 %.
///
/// ```
/// assert!((physics::wood::emc_pct(21.1, 50.0)? - 9.2).abs() < 0.06);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn emc_pct(temp_c: f64, rh_pct: f64) -> Result<f64> {
    let temp_c = wood_temperature(temp_c)?;
    Ok(moisture_pct(temp_c, relative_humidity("rh_pct", rh_pct)?))
}

/// Relative humidity at which wood comes to a given moisture content.
///
/// # Equation
///
/// The RH at which [`emc_pct`] equals `emc_pct`, solved by halving.
///
/// # Arguments
///
/// - `temp_c`: temperature, −20 to 132.2 °C.
/// - `emc_pct`: moisture content, 0 % to what the equation gives in saturated air (28.8 % at 20 °C).
///
/// # Result
///
/// Relative humidity in %, 0 to 100.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// As for [`emc_pct`].
///
/// # Departures
///
/// As for [`emc_pct`].
///
/// # Examples
///
/// Eq. 4-5 gives 12.0 % at 20 °C and 65 %, the standard climate of wood testing.
///
/// ```
/// assert!((physics::wood::rh_pct_for_emc(20.0, 12.0)? - 65.02).abs() < 0.01);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn rh_pct_for_emc(temp_c: f64, emc_pct: f64) -> Result<f64> {
    let temp_c = wood_temperature(temp_c)?;
    let emc_pct = within("emc_pct", emc_pct, 0.0, moisture_pct(temp_c, 100.0), "%")?;
    if emc_pct == 0.0 {
        return Ok(0.0);
    }
    Ok(first_reached(0.0, 100.0, |rh_pct| moisture_pct(temp_c, rh_pct) >= emc_pct))
}

/// Eq. 4-5 for arguments known to be in range.
fn moisture_pct(temp_c: f64, rh_pct: f64) -> f64 {
    let square = temp_c * temp_c;
    let w = 349.0 + 1.29 * temp_c + 0.0135 * square;
    let k = 0.805 + 0.000736 * temp_c - 0.00000273 * square;
    let k1 = 6.27 - 0.00938 * temp_c - 0.000303 * square;
    let k2 = 1.91 + 0.0407 * temp_c - 0.000293 * square;
    let kh = k * rh_pct / 100.0;
    let first_layer = k1 * kh;
    let second_layer = k1 * k2 * kh * kh;
    1800.0 / w * (kh / (1.0 - kh) + (first_layer + 2.0 * second_layer) / (1.0 + first_layer + second_layer))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    #[test]
    fn damper_air_never_makes_drier_wood_anywhere_in_the_range() {
        for temp_c in [-20.0, -1.1, 20.0, 60.0, 100.0, 125.0, 132.2] {
            for permille in 0..1000 {
                let rh_pct = f64::from(permille) / 10.0;
                let (dry_pct, damp_pct) = (moisture_pct(temp_c, rh_pct), moisture_pct(temp_c, rh_pct + 0.1));
                assert!(dry_pct < damp_pct, "at {temp_c} °C and {rh_pct} %");
            }
        }
    }

    #[test]
    fn humidity_survives_the_way_through_moisture_content() -> Result<()> {
        for rh_pct in [0.0, 5.0, 42.0, 65.0, 95.0, 100.0] {
            let back_pct = rh_pct_for_emc(20.0, emc_pct(20.0, rh_pct)?)?;
            assert!((back_pct - rh_pct).abs() < 1e-9, "{rh_pct} % came back as {back_pct} %");
        }
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for temp_c in [-20.1, 133.0, f64::NAN] {
            assert_refuses("temp_c", emc_pct(temp_c, 50.0));
            assert_refuses("temp_c", rh_pct_for_emc(temp_c, 8.0));
        }
        for rh_pct in [-0.1, 100.1, f64::NAN] {
            assert_refuses("rh_pct", emc_pct(20.0, rh_pct));
        }
        for moisture_pct in [-0.1, 29.0, f64::NAN] {
            assert_refuses("emc_pct", rh_pct_for_emc(20.0, moisture_pct));
        }
    }
}
