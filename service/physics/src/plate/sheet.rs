//! A plate in air that changes: implicit finite volumes from the open face to the sealed one.

use super::exchange::Exchange;
use super::fourier::{Faces, thickness};
use crate::range::{LONGEST_H, Result, hours, within};

/// Cells from the open face inward. With [`GROWTH`] the first is 1/250 of the way deep, thin enough
/// for a step in the air to be within 0.5 % of the series once it is 1/10 of the way in.
const CELLS: usize = 26;
/// How much thicker each cell is than the one before it: moisture changes fastest under the face.
const GROWTH: f64 = 1.15;
/// A step is cut into parts no longer than this share of the plate's relaxation time, so that its length hardly shows.
const LONGEST_PART: f64 = 0.02;
/// Most parts of one step. A step that needs more is so long that the plate ends near balance
/// whatever its course, and the implicit scheme is stable at any length.
const MOST_PARTS: f64 = 64.0;

/// A plate with its moisture from face to face, as the solver sees it. With both faces open it is
/// half the plate: the other half is its mirror image, since both faces see the same air.
#[derive(Debug, Clone, PartialEq)]
pub struct Sheet {
    /// Moisture content of each cell, %, from the open face inward.
    moisture_pct: [f64; CELLS],
    /// Thickness of each cell, m.
    cell_m: [f64; CELLS],
    /// From the open face to the sealed one, or to the middle, m.
    depth_m: f64,
}

/// What moisture passes on its way in; the same for every part of a step.
struct Conductances {
    /// From the air to the first cell, m/s.
    face_m_s: f64,
    /// Between neighbours, m/s; entry `i` lies between cells `i` and `i + 1`.
    between_m_s: [f64; CELLS - 1],
}

impl Sheet {
    /// A plate of even moisture.
    ///
    /// # Equation
    ///
    /// u(x) = M; cells grow by 15 % from the open face inward.
    ///
    /// # Arguments
    ///
    /// - `thickness_m`: whole thickness, 0.000001 to 1 m.
    /// - `faces`: which faces are open.
    /// - `moisture_pct`: moisture content M, 0 to 200 % of the oven-dry mass.
    ///
    /// # Result
    ///
    /// The plate, with moisture in %.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
    ///
    /// # Source
    ///
    /// Finite volumes on a graded mesh; any text on heat conduction. No single source.
    ///
    /// # Departures
    ///
    /// One dimension: edges, braces and the sound hole are not seen.
    ///
    /// # Examples
    ///
    /// ```
    /// use physics::plate::{Faces, Sheet};
    /// assert_eq!(Sheet::new(2.8e-3, Faces::One, 8.0)?.mean_pct(), 8.0);
    /// # Ok::<(), physics::OutOfRange>(())
    /// ```
    pub fn new(thickness_m: f64, faces: Faces, moisture_pct: f64) -> Result<Self> {
        let depth_m = faces.depth_m(thickness(thickness_m)?);
        let moisture_pct = moisture("moisture_pct", moisture_pct)?;
        let mut cell_m = [1.0; CELLS];
        for i in 1..CELLS {
            cell_m[i] = GROWTH * cell_m[i - 1];
        }
        let whole: f64 = cell_m.iter().sum();
        Ok(Self { moisture_pct: [moisture_pct; CELLS], cell_m: cell_m.map(|cell| cell / whole * depth_m), depth_m })
    }

    /// Mean moisture content over the thickness, %.
    ///
    /// Equation: M = Σ uᵢ Δxᵢ/Σ Δxᵢ. Source: definition. Inside the range of what the plate began
    /// with and the air it was in.
    pub fn mean_pct(&self) -> f64 {
        // Of what differs from the first cell, so that an even plate has exactly its own moisture.
        let even_pct = self.moisture_pct[0];
        let apart = self.moisture_pct.iter().zip(&self.cell_m).map(|(u, cell)| (u - even_pct) * cell);
        even_pct + apart.sum::<f64>() / self.depth_m
    }

    /// Depth of each cell's middle below the open face, m, and its moisture content, %.
    ///
    /// Equation: xᵢ = Σ_{j<i} Δxⱼ + Δxᵢ/2. Source: definition.
    pub fn profile(&self) -> impl Iterator<Item = (f64, f64)> + '_ {
        let mut above_m = 0.0;
        self.cell_m.iter().zip(self.moisture_pct).map(move |(cell_m, moisture_pct)| {
            let middle_m = above_m + cell_m / 2.0;
            above_m += cell_m;
            (middle_m, moisture_pct)
        })
    }

    /// Lets the plate stand in air for a while; gives what went in through its open faces.
    ///
    /// # Equation
    ///
    /// ∂u/∂t = D ∂²u/∂x², D ∂u/∂x = s (M_air − u) at the open face and 0 at the sealed one; implicit
    /// Euler in time, so that no cell ever leaves the range between its neighbours and the air.
    ///
    /// # Arguments
    ///
    /// - `seconds`: how long, 0 to 3.6e10 s.
    /// - `air_pct`: moisture content M_air that the air would bring wood to, 0 to 200 %.
    /// - `exchange`: the coefficients D and s.
    ///
    /// # Result
    ///
    /// Moisture that came in through the open faces, as change of the mean, %; negative out. It
    /// equals the change of [`Sheet::mean_pct`] to rounding.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range; the plate is as it was.
    ///
    /// # Source
    ///
    /// Crank, The Mathematics of Diffusion, 2nd ed. 1975: the plane sheet, pp. 47–48 where the face
    /// follows the air at once, and surface evaporation (the chapter from memory) where it does not.
    ///
    /// # Departures
    ///
    /// The coefficients hold for the whole step; give short steps where they follow the moisture.
    ///
    /// # Examples
    ///
    /// Crank's sheet is half way at Fo = 0.1967; 100 steps get there within 0.5 %.
    ///
    /// ```
    /// use physics::plate::{Exchange, Faces, Sheet};
    /// let mut sheet = Sheet::new(2e-3, Faces::Both, 5.0)?;
    /// let at_once = Exchange { diffusivity_m2_s: 1e-10, emission_m_s: 1.0 };
    /// for _ in 0..100 {
    ///     sheet.advance(19.67, 10.0, at_once)?;
    /// }
    /// assert!((sheet.mean_pct() - 7.5).abs() < 0.005 * 2.5);
    /// # Ok::<(), physics::OutOfRange>(())
    /// ```
    pub fn advance(&mut self, seconds: f64, air_pct: f64, exchange: Exchange) -> Result<f64> {
        let seconds = within("seconds", seconds, 0.0, 3600.0 * LONGEST_H, "s")?;
        let air_pct = moisture("air_pct", air_pct)?;
        let part_s = LONGEST_PART * 3600.0 * self.relaxation_h(exchange)?;
        let parts = (seconds / part_s).ceil().clamp(1.0, MOST_PARTS);
        let conductances = self.conductances(exchange);
        let mut came_in_pct = 0.0;
        for _ in 0..parts as usize {
            came_in_pct += self.implicit(&conductances, seconds / parts, air_pct);
        }
        Ok(came_in_pct)
    }

    /// Hours until the mean comes to a target in steady air.
    ///
    /// # Equation
    ///
    /// The t at which the mean of [`Sheet::advance`] passes `target_pct`, straight inside the last step.
    ///
    /// # Arguments
    ///
    /// - `target_pct`: mean moisture content to come to, 0 to 200 %.
    /// - `air_pct`: moisture content that the air would bring wood to, 0 to 200 %.
    /// - `exchange`: the coefficients, held.
    /// - `at_most_h`: when to give up, 0 to 1e7 h.
    ///
    /// # Result
    ///
    /// Time in hours: 0 if the plate is there, none if this air leads it elsewhere or does not bring it
    /// there within `at_most_h`.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
    ///
    /// # Source
    ///
    /// As for [`Sheet::advance`].
    ///
    /// # Departures
    ///
    /// Where the face follows the air at once and the plate is even,
    /// [`hours_to_fraction`](super::hours_to_fraction) is exact and quicker.
    ///
    /// # Examples
    ///
    /// Crank's half-way time, 0.1967 l²/D, is 0.546 h for 2 mm with both faces open and 1e−10 m²/s.
    ///
    /// ```
    /// use physics::plate::{Exchange, Faces, Sheet};
    /// let sheet = Sheet::new(2e-3, Faces::Both, 5.0)?;
    /// let at_once = Exchange { diffusivity_m2_s: 1e-10, emission_m_s: 1.0 };
    /// let half_h = sheet.hours_to(7.5, 10.0, at_once, 100.0)?;
    /// assert!(half_h.is_some_and(|half_h| (half_h - 0.546).abs() < 0.003));
    /// assert_eq!(sheet.hours_to(11.0, 10.0, at_once, 100.0)?, None);
    /// # Ok::<(), physics::OutOfRange>(())
    /// ```
    pub fn hours_to(&self, target_pct: f64, air_pct: f64, exchange: Exchange, at_most_h: f64) -> Result<Option<f64>> {
        let target_pct = moisture("target_pct", target_pct)?;
        let air_pct = moisture("air_pct", air_pct)?;
        let at_most_h = hours("at_most_h", at_most_h)?;
        let mut sheet = self.clone();
        let mut before_pct = sheet.mean_pct();
        let way = (air_pct - before_pct).signum();
        let left = |mean_pct: f64| (target_pct - mean_pct) * way;
        if target_pct == before_pct {
            return Ok(Some(0.0));
        }
        if left(before_pct) < 0.0 {
            return Ok(None);
        }
        let relaxation_h = sheet.relaxation_h(exchange)?;
        let mut passed_h = 0.0;
        // After forty relaxations a plate stands in balance: it comes no nearer.
        while passed_h < at_most_h.min(40.0 * relaxation_h) {
            // Short while the jump at the face is young.
            let step_h = (passed_h / 100.0).clamp(relaxation_h / 10_000.0, relaxation_h / 600.0);
            sheet.advance(3600.0 * step_h, air_pct, exchange)?;
            let mean_pct = sheet.mean_pct();
            if left(mean_pct) <= 0.0 {
                return Ok(Some(passed_h + step_h * left(before_pct) / (left(before_pct) - left(mean_pct))));
            }
            (before_pct, passed_h) = (mean_pct, passed_h + step_h);
        }
        Ok(None)
    }

    /// Hours in which a departure from balance falls to about 1/e: how long the plate remembers.
    ///
    /// # Equation
    ///
    /// τ = l²/D · 4/π² + l/s: the slowest mode of the sheet, and the resistance of its face.
    ///
    /// # Arguments
    ///
    /// - `exchange`: the coefficients D and s.
    ///
    /// # Result
    ///
    /// Time in hours.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`](crate::OutOfRange) naming a coefficient outside its range.
    ///
    /// # Source
    ///
    /// Crank, pp. 47–48, for the first term; resistances in series for the sum.
    ///
    /// # Departures
    ///
    /// The sum is exact at both ends and up to 5 % too long between them.
    ///
    /// # Examples
    ///
    /// ```
    /// use physics::plate::{Exchange, Faces, Sheet};
    /// let sheet = Sheet::new(2e-3, Faces::Both, 8.0)?;
    /// let at_once = Exchange { diffusivity_m2_s: 1e-10, emission_m_s: 1e3 };
    /// assert!((sheet.relaxation_h(at_once)? - 1e4 / 3600.0 * 0.405285).abs() < 1e-4);
    /// # Ok::<(), physics::OutOfRange>(())
    /// ```
    pub fn relaxation_h(&self, exchange: Exchange) -> Result<f64> {
        let Exchange { diffusivity_m2_s, emission_m_s } = exchange.checked()?;
        let inside_s = self.depth_m * self.depth_m / diffusivity_m2_s * 4.0 / std::f64::consts::PI.powi(2);
        Ok((inside_s + self.depth_m / emission_m_s) / 3600.0)
    }

    fn conductances(&self, exchange: Exchange) -> Conductances {
        let Exchange { diffusivity_m2_s, emission_m_s } = exchange;
        let face_m_s = 1.0 / (self.cell_m[0] / 2.0 / diffusivity_m2_s + 1.0 / emission_m_s);
        let mut between_m_s = [0.0; CELLS - 1];
        for (i, between) in between_m_s.iter_mut().enumerate() {
            *between = 2.0 * diffusivity_m2_s / (self.cell_m[i] + self.cell_m[i + 1]);
        }
        Conductances { face_m_s, between_m_s }
    }

    /// One implicit part of a step: a tridiagonal system, solved from the face inward and back. Gives what came in, as
    /// change of the mean.
    fn implicit(&mut self, conductances: &Conductances, seconds: f64, air_pct: f64) -> f64 {
        let Conductances { face_m_s, between_m_s } = conductances;
        // Elimination carries, per cell, the share of its inner neighbour and what is known.
        let (mut inner_share, mut known) = ([0.0; CELLS], [0.0; CELLS]);
        for i in 0..CELLS {
            let inward = seconds * between_m_s.get(i).copied().unwrap_or(0.0);
            let (outward, outer_share, outer_known) = match i {
                0 => (seconds * face_m_s, 0.0, air_pct),
                _ => (seconds * between_m_s[i - 1], inner_share[i - 1], known[i - 1]),
            };
            let pivot = self.cell_m[i] + inward + outward * (1.0 - outer_share);
            inner_share[i] = inward / pivot;
            known[i] = (self.cell_m[i] * self.moisture_pct[i] + outward * outer_known) / pivot;
        }
        let mut inner_pct = 0.0;
        for i in (0..CELLS).rev() {
            inner_pct = known[i] + inner_share[i] * inner_pct;
            self.moisture_pct[i] = inner_pct;
        }
        seconds * face_m_s * (air_pct - self.moisture_pct[0]) / self.depth_m
    }
}

fn moisture(argument: &'static str, moisture_pct: f64) -> Result<f64> {
    within(argument, moisture_pct, 0.0, 200.0, "%")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plate::wood_exchange;
    use crate::range::assert_refuses;

    fn top() -> Result<Sheet> {
        Sheet::new(2.8e-3, Faces::One, 5.0)
    }

    #[test]
    fn what_crosses_the_face_is_what_the_plate_gains_to_rounding() -> Result<()> {
        let mut sheet = top()?;
        for hour in 0..2000 {
            let air_pct = 8.0 + 4.0 * (f64::from(hour) / 5.0).sin();
            let before_pct = sheet.mean_pct();
            let came_in_pct = sheet.advance(3600.0, air_pct, wood_exchange(before_pct)?)?;
            let gained_pct = sheet.mean_pct() - before_pct;
            assert!((gained_pct - came_in_pct).abs() < 1e-12, "hour {hour}: {gained_pct} and {came_in_pct}");
        }
        Ok(())
    }

    #[test]
    fn no_place_ever_leaves_the_range_between_what_it_was_and_the_air() -> Result<()> {
        for seconds in [1.0, 900.0, 1e5, 1e9] {
            let mut sheet = top()?;
            for _ in 0..20 {
                sheet.advance(seconds, 9.0, wood_exchange(8.0)?)?;
                let mut outer_pct = 9.0;
                for (depth_m, moisture_pct) in sheet.profile() {
                    assert!(moisture_pct >= 5.0 - 1e-12 && moisture_pct <= outer_pct + 1e-12, "{depth_m} m");
                    outer_pct = moisture_pct;
                }
            }
        }
        Ok(())
    }

    #[test]
    fn a_plate_in_balance_stays_as_it_is() -> Result<()> {
        let mut sheet = top()?;
        assert_eq!(sheet.advance(0.0, 9.0, wood_exchange(8.0)?)?, 0.0);
        sheet.advance(1e6, 5.0, wood_exchange(8.0)?)?;
        assert!((sheet.mean_pct() - 5.0).abs() < 1e-12);
        for (target_pct, air_pct, hours) in
            [(5.0, 5.0, Some(0.0)), (5.0, 9.0, Some(0.0)), (4.0, 9.0, None), (6.0, 4.0, None)]
        {
            assert_eq!(top()?.hours_to(target_pct, air_pct, wood_exchange(8.0)?, 10.0)?, hours);
        }
        Ok(())
    }

    #[test]
    fn a_plate_that_is_both_halves_dries_like_one_half_as_thick_with_a_sealed_back() -> Result<()> {
        let (mut both, mut half) = (Sheet::new(4e-3, Faces::Both, 9.0)?, Sheet::new(2e-3, Faces::One, 9.0)?);
        both.advance(5000.0, 6.0, wood_exchange(8.0)?)?;
        half.advance(5000.0, 6.0, wood_exchange(8.0)?)?;
        assert_eq!(both, half);
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named_and_leave_the_plate_as_it_was() -> Result<()> {
        let exchange = wood_exchange(8.0)?;
        for bad in [-1.0, 1e12, f64::NAN] {
            assert_refuses("thickness_m", Sheet::new(bad, Faces::One, 8.0));
            assert_refuses("moisture_pct", Sheet::new(1e-3, Faces::One, bad));
            let mut sheet = top()?;
            assert_refuses("seconds", sheet.advance(bad, 8.0, exchange));
            assert_refuses("air_pct", sheet.advance(1.0, bad, exchange));
            assert_refuses("target_pct", sheet.hours_to(bad, 8.0, exchange, 10.0));
            assert_refuses("at_most_h", sheet.hours_to(8.0, 8.0, exchange, bad));
            let still = Exchange { diffusivity_m2_s: bad, ..exchange };
            assert_refuses("diffusivity_m2_s", sheet.advance(1.0, 8.0, still));
            let shut = Exchange { emission_m_s: bad, ..exchange };
            assert_refuses("emission_m_s", sheet.relaxation_h(shut));
            assert_eq!(sheet, top()?);
        }
        Ok(())
    }
}
