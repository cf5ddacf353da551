//! How fast moisture moves: through the plate, and from its open face to the air.

use super::fourier::diffusivity;
use crate::range::{Result, within};

/// How much faster or slower a real plate may be than [`wood_exchange`] says: a factor, either way.
///
/// Source: published transverse coefficients of wood disagree by a factor of two to three (Konopka
/// and others, BioResources 12(4) 2017, 8920, on walnut and cherry, abstract seen). 2.5 stands for
/// that; the exact figure is a choice, no source.
pub const EXCHANGE_BAND: f64 = 2.5;

/// The two coefficients that set the pace of a plate. Together, because a thin plate waits for its
/// face and a thick one for its inside, and a caller who knows only one would be wrong in one case.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exchange {
    /// Diffusion coefficient inside, m²/s.
    pub diffusivity_m2_s: f64,
    /// Emission coefficient of the open face, m/s: flow per difference in moisture between the face
    /// and what the air would bring it to. Very large where the face follows the air at once.
    pub emission_m_s: f64,
}

impl Exchange {
    /// Both coefficients times a factor: the plate lives the same life so many times as fast.
    ///
    /// # Equation
    ///
    /// D' = f D, s' = f s; every time computed with them is divided by f.
    ///
    /// # Arguments
    ///
    /// - `factor`: f, a pure number; [`EXCHANGE_BAND`] and its inverse for the edges of the band.
    ///
    /// # Result
    ///
    /// Coefficients in m²/s and m/s.
    ///
    /// # Range
    ///
    /// Any factor; the product is checked where it is used.
    ///
    /// # Source
    ///
    /// Similarity of the diffusion equation.
    ///
    /// # Departures
    ///
    /// Inside and face are taken to err together.
    ///
    /// # Examples
    ///
    /// ```
    /// use physics::plate::{EXCHANGE_BAND, wood_exchange};
    /// let quick = wood_exchange(8.0)?.times(EXCHANGE_BAND);
    /// assert!((quick.diffusivity_m2_s - 2.75e-10).abs() < 0.01e-10);
    /// # Ok::<(), physics::OutOfRange>(())
    /// ```
    #[must_use]
    pub fn times(self, factor: f64) -> Self {
        Self { diffusivity_m2_s: factor * self.diffusivity_m2_s, emission_m_s: factor * self.emission_m_s }
    }

    /// Both coefficients, if they can be.
    pub(super) fn checked(self) -> Result<Self> {
        diffusivity(self.diffusivity_m2_s)?;
        within("emission_m_s", self.emission_m_s, 1e-15, 1e3, "m/s")?;
        Ok(self)
    }
}

/// Exchange of bare wood across the grain with room air.
///
/// # Equation
///
/// D = 8.0e−11 exp(4 u) m²/s and s = 3.2e−8 exp(4 u) m/s, with u = M/100.
///
/// # Arguments
///
/// - `moisture_pct`: moisture content M, 0 to 30 %: below fibre saturation.
///
/// # Result
///
/// Diffusion coefficient in m²/s and emission coefficient in m/s.
///
/// # Errors
///
/// [`OutOfRange`](crate::OutOfRange) naming `moisture_pct` outside its range.
///
/// # Source
///
/// The fit for spruce used by Toratti (1992) and Koponen, **from memory**, not read. D lies inside
/// the 1e−11 to 3e−10 m²/s that other sources give for wood across the grain at room temperature
/// (also from memory). Good to a factor of [`EXCHANGE_BAND`] at best.
///
/// # Departures
///
/// Used for every wood and at every temperature of a workshop; what that costs is inside the band. A
/// finish slows the face far more than the band: count a finished face as sealed.
///
/// # Examples
///
/// At 8 % the fit gives 1.10e−10 m²/s. No cross-check: the fit is from memory.
///
/// ```
/// let exchange = physics::plate::wood_exchange(8.0)?;
/// assert!((exchange.diffusivity_m2_s - 1.10e-10).abs() < 0.005e-10);
/// assert!((exchange.emission_m_s - 4.41e-8).abs() < 0.005e-8);
/// # Ok::<(), physics::OutOfRange>(())
/// ```
pub fn wood_exchange(moisture_pct: f64) -> Result<Exchange> {
    let share = within("moisture_pct", moisture_pct, 0.0, 30.0, "%")? / 100.0;
    let faster = (4.0 * share).exp();
    Ok(Exchange { diffusivity_m2_s: 8.0e-11 * faster, emission_m_s: 3.2e-8 * faster })
}

#[cfg(test)]
mod tests {
    use super::wood_exchange;
    use crate::range::assert_refuses;

    #[test]
    fn moisture_above_fibre_saturation_is_refused() {
        for moisture_pct in [-0.1, 30.1, f64::NAN] {
            assert_refuses("moisture_pct", wood_exchange(moisture_pct));
        }
    }
}
