//! A law given by points instead of a formula.

use crate::range::{Result, within};

/// Largest number a point may hold; differences of such numbers are still finite.
const LARGEST: f64 = 1.0e150;

/// Straight lines between given points, **held flat beyond both ends**: for a strength, or a factor,
/// that is known at a few ages only.
///
/// # Equation
///
/// y = y_i + (y_{i+1} − y_i)(x − x_i)/(x_{i+1} − x_i) between neighbours; y_first up to the first
/// point and y_last from the last one on.
///
/// # Arguments
///
/// - `points`: at least one (x, y), x strictly rising, y monotone: never falling, or never rising.
///   The units are the caller's, ages in h and fractions for a strength. Each number within ±1e150.
/// - `x`: the place asked for, any number within ±1e150.
///
/// # Result
///
/// y in the caller's unit, never outside the y of the points.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming `points` (their count) where there is none, `points.x`
/// or `points.y` for the first point out of order, or `x`.
///
/// # Source
///
/// Common practice, no source.
///
/// # Departures
///
/// Holding flat is the one place in this crate where an argument outside the data is answered: a
/// joint is as strong after the last age known as at it, and the function says so by its
/// description. A curve through three points that fit no formula, as for pressure-sensitive tape
/// (50 % at 20 min, 90 % at 24 h, all at 72 h), needs this and not a fit.
///
/// # Examples
///
/// ```
/// use physics::strength::monotone_table;
/// let tape = [(0.0, 0.0), (1.0 / 3.0, 0.5), (24.0, 0.9), (72.0, 1.0)];
/// assert_eq!(monotone_table(&tape, 48.0)?, 0.95);
/// assert_eq!(monotone_table(&tape, 1000.0)?, 1.0);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn monotone_table(points: &[(f64, f64)], x: f64) -> Result<f64> {
    let x = within("x", x, -LARGEST, LARGEST, "")?;
    check(points)?;
    // The points up to and at x; the line asked for begins at the last of them.
    let n_up_to = points.partition_point(|point| point.0 <= x);
    if n_up_to == 0 {
        return Ok(points[0].1);
    }
    let (from_x, from_y) = points[n_up_to - 1];
    Ok(match points.get(n_up_to) {
        Some((to_x, to_y)) => from_y + (to_y - from_y) * ((x - from_x) / (to_x - from_x)),
        None => from_y,
    })
}

/// Refuses a list of points that is no table, naming the first that breaks the order.
fn check(points: &[(f64, f64)]) -> Result<()> {
    within("points", points.len() as f64, 1.0, 1e6, "")?;
    let mut lowest_x = -LARGEST;
    for &(x, y) in points {
        // The next float up: a second point at the same x would make a step of no width.
        lowest_x = within("points.x", x, lowest_x, LARGEST, "")?.next_up();
        within("points.y", y, -LARGEST, LARGEST, "")?;
    }
    // Which way the table goes is said by its ends; every neighbour must agree.
    let falls = points[points.len() - 1].1 < points[0].1;
    for [(_, from_y), (_, to_y)] in points.array_windows() {
        let (min, max) = if falls { (-LARGEST, *from_y) } else { (*from_y, LARGEST) };
        within("points.y", *to_y, min, max, "")?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    const TAPE: [(f64, f64); 4] = [(0.0, 0.0), (1.0 / 3.0, 0.5), (24.0, 0.9), (72.0, 1.0)];

    #[test]
    fn a_table_answers_its_own_points_exactly() -> Result<()> {
        for (x, y) in TAPE {
            assert_eq!(monotone_table(&TAPE, x)?, y);
        }
        Ok(())
    }

    #[test]
    fn a_table_is_flat_beyond_both_ends() -> Result<()> {
        assert_eq!(monotone_table(&TAPE, -5.0)?, 0.0);
        assert_eq!(monotone_table(&TAPE, 1e9)?, 1.0);
        assert_eq!(monotone_table(&[(7.0, 0.4)], -1.0)?, 0.4);
        assert_eq!(monotone_table(&[(7.0, 0.4)], 8.0)?, 0.4);
        Ok(())
    }

    #[test]
    fn a_falling_table_and_a_level_one_are_tables_too() -> Result<()> {
        assert_eq!(monotone_table(&[(0.0, 2.0), (10.0, 1.0)], 5.0)?, 1.5);
        assert_eq!(monotone_table(&[(0.0, 2.0), (10.0, 2.0)], 5.0)?, 2.0);
        Ok(())
    }

    #[test]
    fn what_is_no_table_is_refused_by_name() {
        assert_refuses("points", monotone_table(&[], 1.0));
        assert_refuses("points.x", monotone_table(&[(0.0, 0.0), (0.0, 1.0)], 1.0));
        assert_refuses("points.x", monotone_table(&[(1.0, 0.0), (0.0, 1.0)], 1.0));
        assert_refuses("points.x", monotone_table(&[(f64::NAN, 0.0)], 1.0));
        assert_refuses("points.y", monotone_table(&[(0.0, f64::INFINITY)], 1.0));
        assert_refuses("points.y", monotone_table(&[(0.0, 0.0), (1.0, 0.6), (2.0, 0.5)], 1.0));
        assert_refuses("points.y", monotone_table(&[(0.0, 1.0), (1.0, 0.5), (2.0, 0.6)], 1.0));
        for x in [f64::NAN, f64::INFINITY] {
            assert_refuses("x", monotone_table(&TAPE, x));
        }
    }
}
