//! Rate against temperature: Arrhenius, and the bench rule of so much faster per ten degrees.

use super::{GAS_CONSTANT, activation, per_kelvin};
use crate::range::{LONGEST_H, OutOfRange, Result, temperature, within};

/// Rate factor by the Arrhenius law.
///
/// # Equation
///
/// f = exp[−(E/R)(1/T − 1/T_ref)], temperatures in kelvin, R = 8.314462618 J/(mol K).
///
/// # Arguments
///
/// - `temp_c`: temperature of the glue or film, −100 to 200 °C.
/// - `ref_temp_c`: temperature at which the factor is 1, −100 to 200 °C.
/// - `activation_kj_mol`: apparent activation energy E, −200 to 500 kJ/mol; negative where warmth
///   slows the process.
///
/// # Result
///
/// Hours at `ref_temp_c` worth one hour at `temp_c` (h/h, a pure factor).
///
/// # Errors
///
/// [`OutOfRange`] naming the argument outside its range.
///
/// # Source
///
/// ASTM C1074, equivalent age; Freiesleben Hansen and Pedersen for the same form.
///
/// # Departures
///
/// C1074 gives E/R for cement as a number of kelvins; here E is given and R is the CODATA value.
///
/// # Examples
///
/// Hydrating cement, 33.5 kJ/mol (Freiesleben Hansen and Pedersen), runs at 0.6155 of its 20 °C rate
/// at 10 °C.
///
/// ```
/// assert!((physics::rate::arrhenius(10.0, 20.0, 33.5)? - 0.61545).abs() < 0.00001);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn arrhenius(temp_c: f64, ref_temp_c: f64, activation_kj_mol: f64) -> Result<f64> {
    let temp_c = temperature("temp_c", temp_c)?;
    let ref_temp_c = temperature("ref_temp_c", ref_temp_c)?;
    let energy_j_mol = 1000.0 * activation(activation_kj_mol)?;
    Ok((energy_j_mol / GAS_CONSTANT * (per_kelvin(ref_temp_c) - per_kelvin(temp_c))).exp())
}

/// Rate factor by a fixed ratio per ten degrees.
///
/// # Equation
///
/// f = Q₁₀^((T − T_ref)/10).
///
/// # Arguments
///
/// - `temp_c`: temperature of the glue or film, −100 to 200 °C.
/// - `ref_temp_c`: temperature at which the factor is 1, −100 to 200 °C.
/// - `q10`: ratio of the rates ten kelvins apart, 0.1 to 10; below 1 where warmth slows the process.
///
/// # Result
///
/// Hours at `ref_temp_c` worth one hour at `temp_c` (h/h, a pure factor).
///
/// # Errors
///
/// [`OutOfRange`] naming the argument outside its range.
///
/// # Source
///
/// Common practice, no source: "the rate doubles per ten degrees". It follows Arrhenius with
/// E = R T₁ T₂ ln Q₁₀ / 10 at one pair of temperatures only; 2 means 48 kJ/mol from 10 to 20 °C and
/// 51 from 20 to 30.
///
/// # Departures
///
/// None.
///
/// # Examples
///
/// ```
/// assert_eq!(physics::rate::q10(30.0, 20.0, 2.0)?, 2.0);
/// assert_eq!(physics::rate::q10(0.0, 20.0, 2.0)?, 0.25);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn q10(temp_c: f64, ref_temp_c: f64, q10: f64) -> Result<f64> {
    let temp_c = temperature("temp_c", temp_c)?;
    let ref_temp_c = temperature("ref_temp_c", ref_temp_c)?;
    let q10 = within("q10", q10, 0.1, 10.0, "")?;
    Ok(q10.powf((temp_c - ref_temp_c) / 10.0))
}

/// Activation energy from two times to the same state, as a data sheet prints them.
///
/// # Equation
///
/// E = R ln(t₁/t₂) / (1/T₁ − 1/T₂), temperatures in kelvin: [`arrhenius`] solved for E, with the
/// rates as 1/t.
///
/// # Arguments
///
/// - `temp_1_c`, `temp_2_c`: the two temperatures in either order, each −100 to 200 °C and at least
///   0.5 K apart; closer, a rounded time decides the result.
/// - `hours_1`, `hours_2`: time to the same state at each, 0.000001 to 10 000 000 h.
///
/// # Result
///
/// Apparent activation energy in kJ/mol, negative where the warmer time is the longer. It is not
/// checked against the range of [`arrhenius`].
///
/// # Errors
///
/// [`OutOfRange`] naming the argument outside its range; `temp_2_c` where the two
/// temperatures are less than 0.5 K apart.
///
/// # Source
///
/// ASTM C1074, annex on the activation energy, for two temperatures instead of a fitted line (from
/// memory).
///
/// # Departures
///
/// C1074 fits a line through more temperatures; two give no idea of the error.
///
/// # Examples
///
/// Twice as fast at 20 as at 10 °C is 47.84 kJ/mol.
///
/// ```
/// let energy_kj_mol = physics::rate::activation_from_two_times(10.0, 24.0, 20.0, 12.0)?;
/// assert!((energy_kj_mol - 47.837).abs() < 0.001);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn activation_from_two_times(temp_1_c: f64, hours_1: f64, temp_2_c: f64, hours_2: f64) -> Result<f64> {
    const APART_K: f64 = 0.5;
    let temp_1_c = temperature("temp_1_c", temp_1_c)?;
    let hours_1 = within("hours_1", hours_1, 1e-6, LONGEST_H, "h")?;
    let temp_2_c = temperature("temp_2_c", temp_2_c)?;
    let hours_2 = within("hours_2", hours_2, 1e-6, LONGEST_H, "h")?;
    if (temp_2_c - temp_1_c).abs() < APART_K {
        // The refusal can name one side only: the warmer, unless the range ends there.
        let (min, max) =
            if temp_1_c + APART_K <= 200.0 { (temp_1_c + APART_K, 200.0) } else { (-100.0, temp_1_c - APART_K) };
        return Err(OutOfRange { argument: "temp_2_c", given: temp_2_c, min, max, unit: "°C" });
    }
    let energy_j_mol = GAS_CONSTANT * (hours_1 / hours_2).ln() / (per_kelvin(temp_1_c) - per_kelvin(temp_2_c));
    Ok(energy_j_mol / 1000.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    #[test]
    fn every_law_is_one_at_its_reference() -> Result<()> {
        assert_eq!(arrhenius(21.0, 21.0, 55.0)?, 1.0);
        assert_eq!(q10(21.0, 21.0, 2.2)?, 1.0);
        Ok(())
    }

    #[test]
    fn energy_of_two_times_gives_back_their_ratio_in_either_order() -> Result<()> {
        let energy_kj_mol = activation_from_two_times(15.0, 30.0, 25.0, 11.0)?;
        assert!((arrhenius(25.0, 15.0, energy_kj_mol)? - 30.0 / 11.0).abs() < 1e-12);
        let swapped_kj_mol = activation_from_two_times(25.0, 11.0, 15.0, 30.0)?;
        assert!((swapped_kj_mol - energy_kj_mol).abs() < 1e-12);
        Ok(())
    }

    #[test]
    fn extreme_arguments_still_give_a_finite_rate() -> Result<()> {
        assert!(arrhenius(200.0, -100.0, 500.0)?.is_finite());
        assert!(arrhenius(-100.0, 200.0, 500.0)? > 0.0);
        assert!(q10(200.0, -100.0, 10.0)?.is_finite());
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for bad in [-300.0, 1000.0, f64::NAN] {
            assert_refuses("temp_c", arrhenius(bad, 20.0, 50.0));
            assert_refuses("ref_temp_c", arrhenius(20.0, bad, 50.0));
            assert_refuses("activation_kj_mol", arrhenius(20.0, 20.0, bad));
            assert_refuses("temp_c", q10(bad, 20.0, 2.0));
            assert_refuses("ref_temp_c", q10(20.0, bad, 2.0));
            assert_refuses("q10", q10(20.0, 20.0, bad));
            assert_refuses("temp_1_c", activation_from_two_times(bad, 24.0, 20.0, 12.0));
            assert_refuses("temp_2_c", activation_from_two_times(10.0, 24.0, bad, 12.0));
        }
        for hours in [0.0, -1.0, 1e8, f64::NAN] {
            assert_refuses("hours_1", activation_from_two_times(10.0, hours, 20.0, 12.0));
            assert_refuses("hours_2", activation_from_two_times(10.0, 24.0, 20.0, hours));
        }
        for temp_c in [20.0, 20.4, 19.6] {
            assert_refuses("temp_2_c", activation_from_two_times(20.0, 24.0, temp_c, 12.0));
        }
        assert_refuses("temp_2_c", activation_from_two_times(200.0, 24.0, 200.0, 12.0));
    }
}
