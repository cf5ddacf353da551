//! A history of temperatures added up to one number: degree-hours, or hours at a reference.

use super::law::arrhenius;
use super::{GAS_CONSTANT, activation, per_kelvin};
use crate::range::{LONGEST_H, Result, temperature, within};

/// Temperature-time factor of Nurse and Saul: degree-hours above a datum.
///
/// # Equation
///
/// M = Σ max(0, T_mean − T_0) Δt, with T_mean the mean of the two readings that bound an interval.
///
/// # Arguments
///
/// - `history`: readings as (hours, °C). Hours from −10 000 000 to 10 000 000, never falling; two
///   readings of one hour are a step. Temperatures −100 to 200 °C. Fewer than two readings span no
///   time and add up to zero.
/// - `datum_c`: temperature T_0 below which nothing happens, −100 to 200 °C. Published cement data
///   use 0, −10 and −11 °C: always say which.
///
/// # Result
///
/// Degree-hours in °C h, zero or more.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming `datum_c`, or `history.hours` or `history.temp_c` for the
/// first reading that cannot be used.
///
/// # Source
///
/// ASTM C1074, temperature-time factor (Nurse–Saul).
///
/// # Departures
///
/// None. An interval that crosses the datum counts by its mean, as the standard has it, and not by
/// the part of it above the datum.
///
/// # Examples
///
/// A teaching text: 28 days at 15 °C over a datum of −11 °C are 728 °C d.
///
/// ```
/// let history = [(0.0, 15.0), (28.0 * 24.0, 15.0)];
/// let factor_c_h = physics::rate::temperature_time_factor_c_h(&history, -11.0)?;
/// assert_eq!(factor_c_h / 24.0, 728.0);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn temperature_time_factor_c_h(history: &[(f64, f64)], datum_c: f64) -> Result<f64> {
    let datum_c = temperature("datum_c", datum_c)?;
    check(history)?;
    Ok(intervals(history)
        .map(|[(from_h, from_c), (to_h, to_c)]| (f64::midpoint(from_c, to_c) - datum_c).max(0.0) * (to_h - from_h))
        .sum())
}

/// Equivalent age: the hours at a reference temperature that would have done what this history did.
///
/// # Equation
///
/// t_e = ∫ exp[−(E/R)(1/T(t) − 1/T_ref)] dt, temperatures in kelvin, with T(t) on straight lines
/// between the readings. Each line is cut where the exponent moves by a half and summed by Gauss's
/// three-point rule, which leaves a relative error below 1e−8.
///
/// # Arguments
///
/// - `history`: readings as (hours, °C). Hours from −10 000 000 to 10 000 000, never falling; two
///   readings of one hour are a step. Temperatures −100 to 200 °C. Fewer than two readings span no
///   time and add up to zero.
/// - `ref_temp_c`: reference temperature, −100 to 200 °C.
/// - `activation_kj_mol`: apparent activation energy E, −200 to 500 kJ/mol.
///
/// # Result
///
/// Equivalent age in hours, zero or more.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming `ref_temp_c` or `activation_kj_mol`, or `history.hours`
/// or `history.temp_c` for the first reading that cannot be used.
///
/// # Source
///
/// ASTM C1074, equivalent age (Freiesleben Hansen and Pedersen).
///
/// # Departures
///
/// The standard sums the rate at the mean temperature of each interval. The integral is taken here,
/// so that cutting an interval in two changes nothing; on four-hour steps of 4 K at 50 kJ/mol the
/// difference is 0.3 %.
///
/// # Examples
///
/// Ten hours at 20 °C and ten at 30 °C, joined by a step: the second ten count 1.9674-fold at
/// 50 kJ/mol.
///
/// ```
/// let history = [(0.0, 20.0), (10.0, 20.0), (10.0, 30.0), (20.0, 30.0)];
/// let age_h = physics::rate::equivalent_age_h(&history, 20.0, 50.0)?;
/// assert!((age_h - 29.6735).abs() < 0.0005);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn equivalent_age_h(history: &[(f64, f64)], ref_temp_c: f64, activation_kj_mol: f64) -> Result<f64> {
    let ref_temp_c = temperature("ref_temp_c", ref_temp_c)?;
    let activation_kj_mol = activation(activation_kj_mol)?;
    check(history)?;
    let rate = |temp_c: f64| arrhenius(temp_c, ref_temp_c, activation_kj_mol);
    let mut age_h = 0.0;
    for [(from_h, from_c), (to_h, to_c)] in intervals(history) {
        age_h += (to_h - from_h) * mean_over_ramp(from_c, to_c, activation_kj_mol, rate)?;
    }
    Ok(age_h)
}

/// Mean rate while the temperature goes evenly from one reading to the next.
fn mean_over_ramp(from_c: f64, to_c: f64, activation_kj_mol: f64, rate: impl Fn(f64) -> Result<f64>) -> Result<f64> {
    // Gauss–Legendre with three points: places on −1..1 and their weights, which sum to 2.
    let place = 0.6_f64.sqrt();
    let rule = [(-place, 5.0 / 9.0), (0.0, 8.0 / 9.0), (place, 5.0 / 9.0)];

    let exponent = 1000.0 * activation_kj_mol / GAS_CONSTANT;
    let swing = (exponent * (per_kelvin(from_c) - per_kelvin(to_c))).abs();
    let n_pieces = (2.0 * swing).ceil().max(1.0);
    let half_piece_c = (to_c - from_c) / n_pieces / 2.0;

    let mut sum = 0.0;
    let mut piece = 0.0;
    while piece < n_pieces {
        let middle_c = from_c + half_piece_c * (2.0 * piece + 1.0);
        for (place, weight) in rule {
            sum += weight / 2.0 * rate(middle_c + place * half_piece_c)?;
        }
        piece += 1.0;
    }
    Ok(sum / n_pieces)
}

/// Refuses a reading that no thermometer of a running clock gives.
fn check(history: &[(f64, f64)]) -> Result<()> {
    let mut earliest_h = -LONGEST_H;
    for &(hours, temp_c) in history {
        earliest_h = within("history.hours", hours, earliest_h, LONGEST_H, "h")?;
        temperature("history.temp_c", temp_c)?;
    }
    Ok(())
}

/// Neighbouring readings, pair by pair.
fn intervals(history: &[(f64, f64)]) -> impl Iterator<Item = [(f64, f64); 2]> {
    history.array_windows().copied()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    const DAY: [(f64, f64); 3] = [(0.0, 20.0), (8.0, 12.0), (24.0, 22.0)];

    #[test]
    fn a_steady_hour_counts_its_rate() -> Result<()> {
        let age_h = equivalent_age_h(&[(5.0, 27.0), (6.0, 27.0)], 20.0, 60.0)?;
        assert!((age_h - arrhenius(27.0, 20.0, 60.0)?).abs() < 1e-12, "{age_h}");
        Ok(())
    }

    #[test]
    fn cutting_an_interval_in_two_changes_nothing() -> Result<()> {
        let cut = [DAY[0], (4.0, 16.0), DAY[1], (16.0, 17.0), DAY[2]];
        let (whole_h, cut_h) = (equivalent_age_h(&DAY, 20.0, 60.0)?, equivalent_age_h(&cut, 20.0, 60.0)?);
        assert!((whole_h / cut_h - 1.0).abs() < 1e-8, "{whole_h} and {cut_h} h");
        Ok(())
    }

    #[test]
    fn even_a_fall_across_the_whole_range_is_integrated_to_a_millionth() -> Result<()> {
        let fine: Vec<_> =
            (0..=100_000_u32).map(|step| (f64::from(step) / 1e5, 200.0 - f64::from(step) * 300.0 / 1e5)).collect();
        let whole_h = equivalent_age_h(&[(0.0, 200.0), (1.0, -100.0)], 20.0, 500.0)?;
        let fine_h = equivalent_age_h(&fine, 20.0, 500.0)?;
        assert!((whole_h / fine_h - 1.0).abs() < 1e-6, "{whole_h} and {fine_h} h");
        Ok(())
    }

    #[test]
    fn fewer_than_two_readings_span_no_time() -> Result<()> {
        for history in [&[][..], &[(3.0, 20.0)][..]] {
            assert_eq!(equivalent_age_h(history, 20.0, 50.0)?, 0.0);
            assert_eq!(temperature_time_factor_c_h(history, 0.0)?, 0.0);
        }
        Ok(())
    }

    #[test]
    fn readings_and_arguments_out_of_range_are_named() {
        let backwards = [(0.0, 20.0), (2.0, 20.0), (1.0, 20.0)];
        let no_hour = [(f64::NAN, 20.0)];
        for history in [&backwards[..], &no_hour[..]] {
            assert_refuses("history.hours", equivalent_age_h(history, 20.0, 50.0));
            assert_refuses("history.hours", temperature_time_factor_c_h(history, 0.0));
        }
        for temp_c in [-200.0, 300.0, f64::NAN] {
            let history = [(0.0, 20.0), (1.0, temp_c)];
            assert_refuses("history.temp_c", equivalent_age_h(&history, 20.0, 50.0));
            assert_refuses("history.temp_c", temperature_time_factor_c_h(&history, 0.0));
            assert_refuses("ref_temp_c", equivalent_age_h(&DAY, temp_c, 50.0));
            assert_refuses("datum_c", temperature_time_factor_c_h(&DAY, temp_c));
        }
        for energy_kj_mol in [-201.0, 501.0, f64::NAN] {
            assert_refuses("activation_kj_mol", equivalent_age_h(&DAY, 20.0, energy_kj_mol));
        }
    }
}
