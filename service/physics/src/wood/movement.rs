//! Swelling and shrinking with moisture.

use crate::range::{Result, within};

/// A dimension across the grain, mm. Common practice, no source: nothing on a bench is wider than
/// ten metres.
fn size(size_mm: f64) -> Result<f64> {
    within("size_mm", size_mm, 0.0, 10_000.0, "mm")
}

/// Shrinkage from green to oven-dry, %. The widest in the Wood Handbook is about 20 %, and
/// that by volume (from memory).
fn total_shrinkage(total_shrinkage_pct: f64) -> Result<f64> {
    within("total_shrinkage_pct", total_shrinkage_pct, 0.0, 25.0, "%")
}

/// Moisture content at which wood stops swelling, %. The Wood Handbook uses 30, and 22 for a
/// few softwoods.
pub(super) fn fibre_saturation(fibre_saturation_pct: f64) -> Result<f64> {
    within("fibre_saturation_pct", fibre_saturation_pct, 15.0, 40.0, "%")
}

/// Change of a dimension across the grain with moisture, in the range of furniture and instruments.
///
/// # Equation
///
/// ΔD = D C (M_to − M_from).
///
/// # Arguments
///
/// - `size_mm`: the dimension D at `mc_from_pct`, 0 to 10 000 mm.
/// - `coefficient_per_pct`: change coefficient C per 1 % of moisture, 0 to 0.01: tangential for
///   flat-sawn width, radial for quarter-sawn width.
/// - `mc_from_pct`, `mc_to_pct`: moisture content before and after, each 6 to 14 %.
///
/// # Result
///
/// Change in mm, negative where the wood shrinks.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range. Outside 6 to 14 % the
/// coefficients do not hold: use [`size_change_wide`].
///
/// # Source
///
/// Wood Handbook, FPL-GTR-190 (2010), eq. 13-2 with the coefficients of table 13-5.
///
/// # Departures
///
/// None.
///
/// # Examples
///
/// The handbook's example, p. 13-17: a flat-sawn board 232 mm wide gains 3 % moisture and measures
/// 233.7 mm (coefficient 0.00245; 8 to 11 %).
///
/// ```
/// let width_mm = 232.0 + physics::wood::size_change(232.0, 0.00245, 8.0, 11.0)?;
/// assert!((width_mm - 233.7).abs() < 0.05);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn size_change(size_mm: f64, coefficient_per_pct: f64, mc_from_pct: f64, mc_to_pct: f64) -> Result<f64> {
    let size_mm = size(size_mm)?;
    let coefficient = within("coefficient_per_pct", coefficient_per_pct, 0.0, 0.01, "per %")?;
    let mc_from_pct = within("mc_from_pct", mc_from_pct, 6.0, 14.0, "%")?;
    let mc_to_pct = within("mc_to_pct", mc_to_pct, 6.0, 14.0, "%")?;
    Ok(size_mm * coefficient * (mc_to_pct - mc_from_pct))
}

/// Change of a dimension across the grain with moisture, anywhere below fibre saturation.
///
/// # Equation
///
/// ΔD = D (M_to − M_from) / (100 F/S − F + M_from), with F the fibre saturation and S the total
/// shrinkage in %.
///
/// # Arguments
///
/// - `size_mm`: the dimension D at `mc_from_pct`, 0 to 10 000 mm.
/// - `total_shrinkage_pct`: shrinkage S from green to oven-dry along that dimension, 0 to 25 %.
/// - `fibre_saturation_pct`: moisture content F at which wood stops swelling, 15 to 40 %; 30 where
///   nothing better is known.
/// - `mc_from_pct`, `mc_to_pct`: moisture content before and after, each 0 to
///   `fibre_saturation_pct`.
///
/// # Result
///
/// Change in mm, negative where the wood shrinks; zero for zero shrinkage.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Wood Handbook, FPL-GTR-190 (2010), eq. 13-3; its use seen, its printed form from memory.
///
/// # Departures
///
/// The handbook fixes F at 30; here it is an argument, because its own table of coefficients uses
/// 22 for redwood and two cedars.
///
/// # Examples
///
/// For the board of [`size_change`], shrinkage 7.0 %: 1.712 mm against 1.705 mm.
///
/// ```
/// let change_mm = physics::wood::size_change_wide(232.0, 7.0, 30.0, 8.0, 11.0)?;
/// assert!((change_mm - 1.7119).abs() < 0.0001);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn size_change_wide(
    size_mm: f64,
    total_shrinkage_pct: f64,
    fibre_saturation_pct: f64,
    mc_from_pct: f64,
    mc_to_pct: f64,
) -> Result<f64> {
    let size_mm = size(size_mm)?;
    let shrinkage_pct = total_shrinkage(total_shrinkage_pct)?;
    let saturation_pct = fibre_saturation(fibre_saturation_pct)?;
    let mc_from_pct = within("mc_from_pct", mc_from_pct, 0.0, saturation_pct, "%")?;
    let mc_to_pct = within("mc_to_pct", mc_to_pct, 0.0, saturation_pct, "%")?;
    // Multiplied through by S, so that no shrinkage means no change instead of a division by zero.
    let size_at_from = 100.0 * saturation_pct - shrinkage_pct * (saturation_pct - mc_from_pct);
    Ok(size_mm * shrinkage_pct * (mc_to_pct - mc_from_pct) / size_at_from)
}

/// Change coefficient from the total shrinkage, for a species that has no coefficient printed.
///
/// # Equation
///
/// C = [S/(100 F)] / [1 − (S/100)(F − 10)/F]: the shrinkage per 1 % of moisture, on the size at
/// 10 % moisture.
///
/// # Arguments
///
/// - `total_shrinkage_pct`: shrinkage S from green to oven-dry, radial or tangential, 0 to 25 %.
/// - `fibre_saturation_pct`: moisture content F at which wood stops swelling, 15 to 40 %.
///
/// # Result
///
/// Coefficient per 1 % of moisture, for [`size_change`].
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
///
/// # Source
///
/// Found from Wood Handbook, FPL-GTR-190 (2010), tables 4-3 and 13-5, not printed there: it
/// reproduces all digits of the domestic species compared, with F = 30, and F = 22 for western
/// redcedar and northern white-cedar.
///
/// # Departures
///
/// The imported woods of table 13-5 do not follow their own shrinkage in table 4-4: the mahogany
/// coefficients are 1.7 times as large. Name the table a number came from.
///
/// # Examples
///
/// Table 4-3 prints 9.9 % tangential for sugar maple, table 13-5 a coefficient of 0.00353.
///
/// ```
/// let coefficient = physics::wood::change_coefficient(9.9, 30.0)?;
/// assert!((coefficient - 0.00353).abs() < 0.000005);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn change_coefficient(total_shrinkage_pct: f64, fibre_saturation_pct: f64) -> Result<f64> {
    let shrinkage = total_shrinkage(total_shrinkage_pct)? / 100.0;
    let saturation_pct = fibre_saturation(fibre_saturation_pct)?;
    Ok(shrinkage / saturation_pct / (1.0 - shrinkage * (saturation_pct - 10.0) / saturation_pct))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    #[test]
    fn drying_and_wetting_by_the_wide_equation_come_back_to_the_same_size() -> Result<()> {
        let dry_mm = 100.0 + size_change_wide(100.0, 9.9, 30.0, 25.0, 4.0)?;
        let again_mm = dry_mm + size_change_wide(dry_mm, 9.9, 30.0, 4.0, 25.0)?;
        assert!((again_mm - 100.0).abs() < 1e-10, "{again_mm} mm");
        Ok(())
    }

    #[test]
    fn wood_that_does_not_shrink_keeps_its_size() -> Result<()> {
        assert_eq!(size_change(100.0, 0.0, 6.0, 14.0)?, 0.0);
        assert_eq!(size_change_wide(100.0, 0.0, 30.0, 6.0, 14.0)?, 0.0);
        assert_eq!(change_coefficient(0.0, 30.0)?, 0.0);
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        for bad in [-1.0, 1e6, f64::NAN] {
            assert_refuses("size_mm", size_change(bad, 0.002, 8.0, 11.0));
            assert_refuses("size_mm", size_change_wide(bad, 7.0, 30.0, 8.0, 11.0));
            assert_refuses("coefficient_per_pct", size_change(232.0, bad, 8.0, 11.0));
            assert_refuses("mc_from_pct", size_change_wide(232.0, 7.0, 30.0, bad, 11.0));
            assert_refuses("mc_to_pct", size_change_wide(232.0, 7.0, 30.0, 8.0, bad));
            assert_refuses("total_shrinkage_pct", size_change_wide(232.0, bad, 30.0, 8.0, 11.0));
            assert_refuses("fibre_saturation_pct", size_change_wide(232.0, 7.0, bad, 8.0, 11.0));
            assert_refuses("total_shrinkage_pct", change_coefficient(bad, 30.0));
            assert_refuses("fibre_saturation_pct", change_coefficient(7.0, bad));
        }
        for mc_pct in [5.9, 14.1, f64::NAN] {
            assert_refuses("mc_from_pct", size_change(232.0, 0.002, mc_pct, 11.0));
            assert_refuses("mc_to_pct", size_change(232.0, 0.002, 8.0, mc_pct));
        }
        assert_refuses("mc_to_pct", size_change_wide(232.0, 7.0, 22.0, 8.0, 23.0));
    }
}
