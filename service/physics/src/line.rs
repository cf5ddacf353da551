//! A straight line through measurements, with the band they leave it.

use crate::range::{Result, within};

/// A line fitted to measurements of different worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// Weighted middle of the x.
    pub x_middle: f64,
    /// Height of the line there.
    pub y_middle: f64,
    /// Rise per x.
    pub slope: f64,
    /// Standard error of the height at the middle.
    pub se_middle: f64,
    /// Standard error of the slope.
    pub se_slope: f64,
    /// Measurements beyond the two a line needs: the degrees of freedom of its errors.
    pub n_free: usize,
}

impl Line {
    /// Height of the line, and the standard error of that, not counting the scatter of a further measurement.
    pub fn at(&self, x: f64) -> (f64, f64) {
        let off = x - self.x_middle;
        (self.y_middle + self.slope * off, self.se_middle.hypot(self.se_slope * off))
    }
}

/// Weighted least squares through points (x, y, σ), σ being how far off a measurement may be (one standard deviation).
///
/// # Equation
///
/// w = 1/σ²; slope = Σw(x−x̄)(y−ȳ)/Σw(x−x̄)²; errors √(s²/Σw) and √(s²/Σw(x−x̄)²), where s² is the reduced χ² of the
/// fit, but never less than 1.
///
/// # Arguments
///
/// - `points`: at least 3, not all at the same x; each within ±1e9, each σ 1e-9 to 1e9.
///
/// # Result
///
/// The line, in the caller's units.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming `points` (their count), `points.x` (their spread), `points.y` or
/// `points.sigma`.
///
/// # Source
///
/// NIST/SEMATECH e-Handbook of Statistical Methods, 4.1.4.3 (weighted least squares), title from memory; held against
/// scipy in `tests/reference`.
///
/// # Departures
///
/// Measurements that agree by luck do not narrow the band below what they are worth: s² has a floor of 1.
///
/// # Examples
///
/// ```
/// let line = physics::line::weighted(&[(0.0, 5.0, 0.1), (1.0, 4.0, 0.1), (2.0, 3.0, 0.1)])?;
/// assert!((line.slope + 1.0).abs() < 1e-12 && (line.at(3.0).0 - 2.0).abs() < 1e-12);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn weighted(points: &[(f64, f64, f64)]) -> Result<Line> {
    within("points", points.len() as f64, 3.0, 1e6, "")?;
    for &(x, y, sigma) in points {
        within("points.x", x, -1e9, 1e9, "")?;
        within("points.y", y, -1e9, 1e9, "")?;
        within("points.sigma", sigma, 1e-9, 1e9, "")?;
    }
    let sum = |of: &dyn Fn(f64, f64) -> f64| points.iter().map(|(x, y, s)| of(*x, *y) / (s * s)).sum::<f64>();
    let weight = sum(&|_, _| 1.0);
    let (x_middle, y_middle) = (sum(&|x, _| x) / weight, sum(&|_, y| y) / weight);
    let wide = sum(&|x, _| (x - x_middle).powi(2));
    within("points.x", wide / weight, 1e-12, f64::MAX, "")?;
    let slope = sum(&|x, y| (x - x_middle) * (y - y_middle)) / wide;
    let n_free = points.len() - 2;
    let chi = sum(&|x, y| (y - y_middle - slope * (x - x_middle)).powi(2)) / n_free as f64;
    let scale = chi.max(1.0);
    let (se_middle, se_slope) = ((scale / weight).sqrt(), (scale / wide).sqrt());
    Ok(Line { x_middle, y_middle, slope, se_middle, se_slope, n_free })
}

/// 0.90 quantiles of Student's t by degrees of freedom, so that a band of that many standard errors either way holds
/// 80 %; beyond the table its last is kept, which is a little wide. Source: any table of t, for example NIST/SEMATECH e-Handbook 1.3.6.7.2.
const T_90: [f64; 10] = [3.078, 1.886, 1.638, 1.533, 1.476, 1.440, 1.415, 1.397, 1.383, 1.372];

/// Half width of the band that holds 80 %, in standard errors, for so many degrees of freedom (1 or more).
///
/// # Examples
///
/// ```
/// assert_eq!(physics::line::band_80(1), 3.078);
/// assert_eq!(physics::line::band_80(500), 1.372);
/// ```
pub fn band_80(n_free: usize) -> f64 {
    T_90[n_free.clamp(1, T_90.len()) - 1]
}

#[cfg(test)]
mod tests {
    use super::weighted;
    use crate::range::assert_refuses;

    #[test]
    fn what_makes_no_line_is_refused_by_name() {
        assert_refuses("points", weighted(&[(0.0, 1.0, 0.1), (1.0, 1.0, 0.1)]));
        assert_refuses("points.x", weighted(&[(2.0, 1.0, 0.1); 3]));
        assert_refuses("points.y", weighted(&[(0.0, f64::NAN, 0.1), (1.0, 1.0, 0.1), (2.0, 1.0, 0.1)]));
        assert_refuses("points.sigma", weighted(&[(0.0, 1.0, 0.0), (1.0, 1.0, 0.1), (2.0, 1.0, 0.1)]));
    }
}
