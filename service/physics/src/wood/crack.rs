//! What moisture does to a crack in a plate.

use super::movement::{fibre_saturation, size_change_wide};
use crate::range::{Result, within};

/// Total shrinkage that a printed change coefficient stands for: the inverse of
/// [`change_coefficient`](super::change_coefficient), for woods of which only the coefficient is
/// printed.
///
/// # Equation
///
/// S = 100 C F/[1 + C (F − 10)].
///
/// # Arguments
///
/// - `coefficient_per_pct`: change coefficient C per 1 % of moisture, 0 to 0.01.
/// - `fibre_saturation_pct`: moisture content F at which wood stops swelling, 15 to 40 %.
///
/// # Result
///
/// Shrinkage from green to oven-dry along that dimension, %.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Algebra on the rule found from Wood Handbook, FPL-GTR-190 (2010), tables 4-3 and 13-5.
///
/// # Departures
///
/// As for [`change_coefficient`](super::change_coefficient): the imported woods of table 13-5 have
/// another shrinkage in table 4-4.
///
/// # Examples
///
/// Table 13-5 prints 0.00353 for sugar maple, flat-sawn; table 4-3 a shrinkage of 9.9 %.
///
/// ```
/// let shrinkage_pct = physics::wood::total_shrinkage_pct(0.00353, 30.0)?;
/// assert!((shrinkage_pct - 9.9).abs() < 0.05);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn total_shrinkage_pct(coefficient_per_pct: f64, fibre_saturation_pct: f64) -> Result<f64> {
    let coefficient = within("coefficient_per_pct", coefficient_per_pct, 0.0, 0.01, "per %")?;
    let saturation_pct = fibre_saturation(fibre_saturation_pct)?;
    Ok(100.0 * coefficient * saturation_pct / (1.0 + coefficient * (saturation_pct - 10.0)))
}

/// How far a crack along the grain closes when the plate takes up moisture; negative where it opens.
///
/// # Equation
///
/// The change of the whole plate's width by [`size_change_wide`], with S of
/// [`total_shrinkage_pct`].
///
/// # Arguments
///
/// - `plate_width_mm`: width of the plate across the grain, 0 to 10 000 mm.
/// - `coefficient_per_pct`: change coefficient along that width, 0 to 0.01 per %: radial where it is
///   quarter-sawn, tangential where it is flat-sawn.
/// - `fibre_saturation_pct`: moisture content at which the wood stops swelling, 15 to 40 %.
/// - `mc_from_pct`, `mc_to_pct`: mean moisture content before and after, each 0 to
///   `fibre_saturation_pct`.
///
/// # Result
///
/// Millimetres by which the two sides come together.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Wood Handbook, FPL-GTR-190 (2010), eq. 13-3 (its printed form from memory) with the coefficients
/// of table 13-5. That a plate held at its edges gives all its movement to the crack: common
/// practice, no source.
///
/// # Departures
///
/// The plate is taken to be held at its two edges and free between them: with several cracks they
/// share this, and braces across the grain hold some of it back. A crack that stays open when the
/// plate is back was not shrinkage alone.
///
/// # Examples
///
/// The handbook's example, p. 13-17: a plate 232 mm wide that takes up 3 % grows 1.7 mm.
///
/// ```
/// let closes_mm = physics::wood::crack_closes_mm(232.0, 0.00245, 30.0, 8.0, 11.0)?;
/// assert!((closes_mm - 1.7).abs() < 0.05);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn crack_closes_mm(
    plate_width_mm: f64,
    coefficient_per_pct: f64,
    fibre_saturation_pct: f64,
    mc_from_pct: f64,
    mc_to_pct: f64,
) -> Result<f64> {
    let width_mm = within("plate_width_mm", plate_width_mm, 0.0, 10_000.0, "mm")?;
    let shrinkage_pct = total_shrinkage_pct(coefficient_per_pct, fibre_saturation_pct)?;
    size_change_wide(width_mm, shrinkage_pct, fibre_saturation_pct, mc_from_pct, mc_to_pct)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;
    use crate::wood::change_coefficient;

    #[test]
    fn shrinkage_and_coefficient_are_each_others_inverse() -> Result<()> {
        for (shrinkage_pct, saturation_pct) in [(0.0, 30.0), (2.4, 22.0), (7.1, 30.0), (11.9, 30.0)] {
            let coefficient = change_coefficient(shrinkage_pct, saturation_pct)?;
            let back_pct = total_shrinkage_pct(coefficient, saturation_pct)?;
            assert!((back_pct - shrinkage_pct).abs() < 1e-12, "{shrinkage_pct} came back as {back_pct}");
        }
        Ok(())
    }

    #[test]
    fn a_crack_that_opened_by_drying_closes_by_as_much_when_the_moisture_is_back() -> Result<()> {
        let opens_mm = -crack_closes_mm(400.0, 0.00148, 30.0, 9.0, 5.0)?;
        let closes_mm = crack_closes_mm(400.0 - opens_mm, 0.00148, 30.0, 5.0, 9.0)?;
        assert!(opens_mm > 0.0 && (closes_mm - opens_mm).abs() < 1e-12, "{opens_mm} and {closes_mm} mm");
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for bad in [-1.0, 1e6, f64::NAN] {
            assert_refuses("coefficient_per_pct", total_shrinkage_pct(bad, 30.0));
            assert_refuses("fibre_saturation_pct", total_shrinkage_pct(0.002, bad));
            assert_refuses("plate_width_mm", crack_closes_mm(bad, 0.002, 30.0, 8.0, 9.0));
            assert_refuses("mc_from_pct", crack_closes_mm(400.0, 0.002, 30.0, bad, 9.0));
            assert_refuses("mc_to_pct", crack_closes_mm(400.0, 0.002, 30.0, 8.0, bad));
        }
    }
}
