//! Ratios of drying rates and times to those of a known climate and film.

use crate::air::vpd_pa;
use crate::range::{Result, relative_humidity, temperature, within};

/// How much faster water leaves a wet film than it does in a reference climate, in like draught.
///
/// # Equation
///
/// f = VPD(T, RH) / VPD(T_ref, RH_ref), with the deficit of [`vpd_pa`].
///
/// # Arguments
///
/// - `temp_c`: air temperature, −100 to 200 °C.
/// - `rh_pct`: relative humidity, 0 to 100 %.
/// - `ref_temp_c`: air temperature of the reference, −100 to 200 °C.
/// - `ref_rh_pct`: relative humidity of the reference, 0 to 99 %: in saturated air nothing dries,
///   and nothing can be compared with it.
///
/// # Result
///
/// Hours in the reference climate worth one hour in this one (h/h, a pure factor); 0 in saturated
/// air.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Dalton's law of evaporation, in which every published formula agrees; so Penman 1963,
/// E = (0.13 + 0.14 v)(e_s − e_a).
///
/// # Departures
///
/// The factor in front of the deficit is left out on purpose: Penman's of 1948 and 1963 differ by 2
/// in still air, and cooling of the wet surface is worth another 3. The film is taken to be as warm
/// as the air, which makes a very dry climate look somewhat faster than it is.
///
/// # Examples
///
/// At 20 °C, 30 % against 70 %: 1637.2 over 701.6 Pa (PsychroLib 2.5.0), 2.33 times as fast.
///
/// ```
/// let factor = physics::film::evaporation_factor(20.0, 30.0, 20.0, 70.0)?;
/// assert!((factor - 1637.2 / 701.6).abs() < 0.001);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn evaporation_factor(temp_c: f64, rh_pct: f64, ref_temp_c: f64, ref_rh_pct: f64) -> Result<f64> {
    let ref_temp_c = temperature("ref_temp_c", ref_temp_c)?;
    let ref_rh_pct = within("ref_rh_pct", ref_rh_pct, 0.0, 99.0, "%")?;
    let temp_c = temperature("temp_c", temp_c)?;
    let rh_pct = relative_humidity("rh_pct", rh_pct)?;
    Ok(vpd_pa(temp_c, rh_pct)? / vpd_pa(ref_temp_c, ref_rh_pct)?)
}

/// How much longer a wet film takes than one of a reference thickness.
///
/// # Equation
///
/// f = (d/d_ref)^n.
///
/// # Arguments
///
/// - `film_um`: wet film thickness d, 1 to 10 000 µm.
/// - `ref_film_um`: wet film thickness d_ref for which the time is known, 1 to 10 000 µm.
/// - `exponent`: n, 1 to 2: 1 while evaporation from the surface limits the drying, 2 when diffusion
///   through the film does.
///
/// # Result
///
/// Drying time over that of the reference film (h/h, a pure factor).
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// The ends from the two stages of drying: a constant rate takes a time in proportion to the water
/// laid on; diffusion scales as d²/D (Crank, The Mathematics of Diffusion, 2nd ed. 1975, ch. 4).
/// An exponent between them: common practice, no source.
///
/// # Departures
///
/// None.
///
/// # Examples
///
/// ```
/// use physics::film::wet_film_drying_factor;
/// assert_eq!(wet_film_drying_factor(200.0, 100.0, 1.0)?, 2.0);
/// assert_eq!(wet_film_drying_factor(200.0, 100.0, 2.0)?, 4.0);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn wet_film_drying_factor(film_um: f64, ref_film_um: f64, exponent: f64) -> Result<f64> {
    let film_um = within("film_um", film_um, 1.0, 10_000.0, "µm")?;
    let ref_film_um = within("ref_film_um", ref_film_um, 1.0, 10_000.0, "µm")?;
    let exponent = within("exponent", exponent, 1.0, 2.0, "")?;
    Ok((film_um / ref_film_um).powf(exponent))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    #[test]
    fn drying_is_one_at_its_reference_and_nothing_in_saturated_air() -> Result<()> {
        assert_eq!(evaporation_factor(20.0, 50.0, 20.0, 50.0)?, 1.0);
        assert_eq!(evaporation_factor(20.0, 100.0, 20.0, 50.0)?, 0.0);
        assert_eq!(evaporation_factor(20.0, 0.0, 20.0, 50.0)?, 2.0);
        assert_eq!(wet_film_drying_factor(60.0, 60.0, 1.4)?, 1.0);
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for temp_c in [-101.0, 201.0, f64::NAN] {
            assert_refuses("temp_c", evaporation_factor(temp_c, 50.0, 20.0, 50.0));
            assert_refuses("ref_temp_c", evaporation_factor(20.0, 50.0, temp_c, 50.0));
        }
        for rh_pct in [-0.1, 100.1, f64::NAN] {
            assert_refuses("rh_pct", evaporation_factor(20.0, rh_pct, 20.0, 50.0));
            assert_refuses("ref_rh_pct", evaporation_factor(20.0, 50.0, 20.0, rh_pct));
        }
        assert_refuses("ref_rh_pct", evaporation_factor(20.0, 50.0, 20.0, 100.0));
        for film_um in [0.0, 0.06, 20_000.0, f64::NAN] {
            assert_refuses("film_um", wet_film_drying_factor(film_um, 60.0, 1.0));
            assert_refuses("ref_film_um", wet_film_drying_factor(60.0, film_um, 1.0));
        }
        for exponent in [0.9, 2.1, f64::NAN] {
            assert_refuses("exponent", wet_film_drying_factor(60.0, 60.0, exponent));
        }
    }
}
