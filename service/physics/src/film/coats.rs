//! Solvent on its way out through a stack of coats: what the coats beneath still hold when the next one is laid, and how
//! much longer that takes to leave than what the new one holds.

use crate::range::{Result, hours, within};

/// Cells of one coat: once a twentieth of its relaxation time is over, it holds what the series says to 1 %.
const CELLS: usize = 10;
/// Most coats of a stack: more than any finish has.
const MOST_COATS: usize = 60;
/// Each step of time is longer than the one before it, up to [`LONGEST_STEP`] of the stack's slowest relaxation time.
const GROWTH: f64 = 1.12;
const LONGEST_STEP: f64 = 0.02;
/// γ of the two-stage scheme of second order that damps what it cannot follow: 1 − 1/√2.
const GAMMA: f64 = 1.0 - std::f64::consts::FRAC_1_SQRT_2;

/// One coat of a stack.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Film {
    dry_um: f64,
    diffusion_um2_h: f64,
    /// What it holds falls to 1/e in so many hours where it lies; infinite where it can only leave.
    sets_h: f64,
}

/// Coats on a surface that lets nothing through, from the wood up, each with the solvent it holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Coats {
    coats: Vec<Film>,
    /// Solvent per volume of dry film in each cell, from the wood up.
    share: Vec<f64>,
}

impl Coats {
    /// Lays a coat on top, of which what it holds can only leave.
    ///
    /// # Equation
    ///
    /// c = solvent/thickness, the same throughout the new coat.
    ///
    /// # Arguments
    ///
    /// - `dry_um`: its dry thickness, 0.1 to 2000 µm.
    /// - `solvent_um`: solvent it holds once its surface has set, as a thickness, 0 to 2000 µm.
    /// - `diffusion_um2_h`: diffusion coefficient of the solvent in it, 0.0001 to 1 000 000 µm²/h.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range; 60 coats are the most.
    ///
    /// # Source
    ///
    /// Definition. Two stages of drying, the second by permeation through the film: gravimetric studies of coatings (seen in
    /// abstract).
    pub fn lay(&mut self, dry_um: f64, solvent_um: f64, diffusion_um2_h: f64) -> Result<()> {
        let dry_um = within("dry_um", dry_um, 0.1, 2000.0, "µm")?;
        let solvent_um = within("solvent_um", solvent_um, 0.0, 2000.0, "µm")?;
        let diffusion_um2_h = within("diffusion_um2_h", diffusion_um2_h, 1e-4, 1e6, "µm²/h")?;
        within("coats", (self.coats.len() + 1) as f64, 1.0, MOST_COATS as f64, "")?;
        self.coats.push(Film { dry_um, diffusion_um2_h, sets_h: f64::INFINITY });
        self.share.extend([solvent_um / dry_um; CELLS]);
        Ok(())
    }

    /// Says of the top coat that what it holds also sets where it lies, as an oil does that takes up oxygen.
    ///
    /// # Equation
    ///
    /// ∂c/∂t = … − c/`sets_h`.
    ///
    /// # Arguments
    ///
    /// - `sets_h`: hours in which it falls to 1/e, 0.1 to 100 000 h.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
    ///
    /// # Source
    ///
    /// Crank, The Mathematics of Diffusion, 2nd ed. 1975, ch. 14: diffusion with a reaction of first order.
    ///
    /// # Departures
    ///
    /// Oxygen is taken to reach every depth alike: a coat laid thin has had it before the next covers it.
    pub fn top_sets(&mut self, sets_h: f64) -> Result<()> {
        let sets_h = within("sets_h", sets_h, 0.1, 1e5, "h")?;
        if let Some(top) = self.coats.last_mut() {
            top.sets_h = sets_h;
        }
        Ok(())
    }

    /// Solvent in each coat, from the wood up, µm.
    ///
    /// Equation: Σ cᵢ Δxᵢ over the coat's cells. Source: definition.
    pub fn held_um(&self) -> Vec<f64> {
        let of_coat = |(i, film): (usize, &Film)| {
            self.share[i * CELLS..(i + 1) * CELLS].iter().sum::<f64>() * film.dry_um / CELLS as f64
        };
        self.coats.iter().enumerate().map(of_coat).collect()
    }

    /// Solvent in the whole stack, µm.
    ///
    /// Equation: sum of [`Coats::held_um`]. Source: definition.
    pub fn solvent_um(&self) -> f64 {
        self.held_um().iter().sum()
    }

    /// Lets the stack stand.
    ///
    /// # Equation
    ///
    /// ∂c/∂t = ∂/∂x (D ∂c/∂x); c = 0 at the free surface, no flow into the wood. Finite volumes; in time a singly diagonal
    /// implicit Runge–Kutta scheme of second order.
    ///
    /// # Arguments
    ///
    /// - `age_h`: how long, in hours of the clock the coefficients are given for, 0 to 10 million h.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
    ///
    /// # Source
    ///
    /// Crank, The Mathematics of Diffusion, 2nd ed. 1975, ch. 4 (one sheet) and ch. 13 (several layers).
    ///
    /// # Departures
    ///
    /// The free surface holds no solvent: what leaves it is carried off at once. D does not fall as the film dries, and
    /// nothing goes into the wood. Both are better known as "it takes longer than that" than by a number.
    ///
    /// # Examples
    ///
    /// One coat of 10 µm, D = 10 µm²/h, after 10 h: Fo = 1 and 6.87 % are left (Crank's series).
    ///
    /// ```
    /// let mut coats = physics::film::Coats::default();
    /// coats.lay(10.0, 2.0, 10.0)?;
    /// coats.rest(10.0)?;
    /// assert!((coats.solvent_um() / 2.0 - 0.0687).abs() < 0.001);
    /// # Ok::<(), physics::OutOfRange>(())
    /// ```
    pub fn rest(&mut self, age_h: f64) -> Result<()> {
        let age_h = hours("age_h", age_h)?;
        let mut pace = Pace::of(self);
        let mut left_h = age_h;
        while left_h > 0.0 && !self.share.is_empty() {
            let step_h = pace.next_h().min(left_h);
            self.step(step_h);
            left_h -= step_h;
            if self.share.iter().all(|share| *share < 1e-9) {
                break;
            }
        }
        Ok(())
    }

    /// How much longer what the coats beneath hold stays in the stack than what the top coat holds: the mean over all that
    /// the stack holds, which is how much later it is dry.
    ///
    /// # Equation
    ///
    /// What lies at height x above the wood leaves after T(x) = ∫ₓᴸ y/D(y) dy in the mean. Later = Σ sᵢ Δᵢ / Σ sᵢ, Δᵢ the mean
    /// of T over coat i less that over the top coat; where it also sets in place, 1/(1/Δᵢ + 1/`sets_h`).
    ///
    /// # Result
    ///
    /// Hours of the clock the coefficients are given for; 0 for one coat and where nothing is held beneath. Never more than
    /// L²/2D for coats of one material, L the thickness of the stack.
    ///
    /// # Range
    ///
    /// Any stack that [`Coats::lay`] took.
    ///
    /// # Source
    ///
    /// Mean time of first passage to an absorbing end from a reflecting one: D T″ = −1, T′(0) = 0, T(L) = 0. Crank, ch. 4: the
    /// area under the share left of a sheet dried from one face is L²/3D. Adding the two ways out as rates: common practice,
    /// no source.
    ///
    /// # Departures
    ///
    /// Each coat's solvent is taken as even through it.
    ///
    /// # Examples
    ///
    /// Two coats of 10 µm, D = 10 µm²/h, that hold alike. From the wood up T is 18.33 and 8.33 h: 10 h apart, and half of it all
    /// lies beneath.
    ///
    /// ```
    /// let mut coats = physics::film::Coats::default();
    /// coats.lay(10.0, 2.0, 10.0)?;
    /// coats.lay(10.0, 2.0, 10.0)?;
    /// assert!((coats.later_h() - 5.0).abs() < 1e-9);
    /// # Ok::<(), physics::OutOfRange>(())
    /// ```
    pub fn later_h(&self) -> f64 {
        let (held_um, stay_h) = (self.held_um(), self.stay_h());
        let whole_um: f64 = held_um.iter().sum();
        let Some(top_h) = stay_h.last().filter(|_| whole_um > 0.0) else { return 0.0 };
        let longer = |((film, um), stay_h): ((&Film, f64), &f64)| match stay_h - top_h {
            longer_h if longer_h > 0.0 => um / (1.0 / longer_h + 1.0 / film.sets_h),
            _ => 0.0,
        };
        self.coats.iter().zip(held_um).zip(&stay_h).map(longer).sum::<f64>() / whole_um
    }

    /// Hours that what each coat holds takes out in the mean, from the wood up, if it can only leave.
    fn stay_h(&self) -> Vec<f64> {
        let mut top_um: f64 = self.coats.iter().map(|film| film.dry_um).sum();
        let mut through_above_h = 0.0;
        let mut stays: Vec<f64> = Vec::with_capacity(self.coats.len());
        for film in self.coats.iter().rev() {
            let (low, high, diffusion) = (top_um - film.dry_um, top_um, film.diffusion_um2_h);
            // ∫ (y − low) y/D dy over the coat by its thickness: the mean of the way to its own upper face.
            let own = (high.powi(3) - low.powi(3)) / 3.0 - low * (high.powi(2) - low.powi(2)) / 2.0;
            stays.push(own / (diffusion * film.dry_um) + through_above_h);
            through_above_h += (high.powi(2) - low.powi(2)) / (2.0 * diffusion);
            top_um = low;
        }
        stays.reverse();
        stays
    }

    /// One step of time: (1 + γhA) k = −A c twice, c += h ((1 − γ) k₁ + γ k₂); what sets in place does so half before it and
    /// half after it.
    fn step(&mut self, step_h: f64) {
        self.set(step_h / 2.0);
        let flows = self.flows();
        let k1 = self.solve(&flows, GAMMA * step_h, &self.share);
        let halfway: Vec<f64> = self.share.iter().zip(&k1).map(|(c, k)| c + (1.0 - GAMMA) * step_h * k).collect();
        let k2 = self.solve(&flows, GAMMA * step_h, &halfway);
        for ((c, k1), k2) in self.share.iter_mut().zip(k1).zip(k2) {
            *c = (*c + step_h * ((1.0 - GAMMA) * k1 + GAMMA * k2)).max(0.0);
        }
        self.set(step_h / 2.0);
    }

    fn set(&mut self, step_h: f64) {
        for (cells, film) in self.share.chunks_mut(CELLS).zip(&self.coats) {
            let left = (-step_h / film.sets_h).exp();
            cells.iter_mut().for_each(|share| *share *= left);
        }
    }

    /// Conductance between each cell and the one above it, µm/h; the last is that to the free surface.
    fn flows(&self) -> Vec<f64> {
        let half = |i: usize| {
            let film = self.coats[i / CELLS];
            film.dry_um / CELLS as f64 / 2.0 / film.diffusion_um2_h
        };
        let n = self.share.len();
        (0..n).map(|i| 1.0 / (half(i) + if i + 1 < n { half(i + 1) } else { 0.0 })).collect()
    }

    /// The rate of change k of every cell with (1 + s A) k = −A c, by elimination along the three diagonals.
    fn solve(&self, flows: &[f64], s_h: f64, c: &[f64]) -> Vec<f64> {
        let n = c.len();
        let above = |i: usize| if i + 1 < n { c[i + 1] } else { 0.0 };
        let (mut upper, mut k) = (vec![0.0; n], vec![0.0; n]);
        for i in 0..n {
            let cell_um = self.coats[i / CELLS].dry_um / CELLS as f64;
            let up = flows[i] / cell_um;
            let down = if i > 0 { flows[i - 1] / cell_um } else { 0.0 };
            let right = up * (above(i) - c[i]) + if i > 0 { down * (c[i - 1] - c[i]) } else { 0.0 };
            let from_below = if i > 0 { (upper[i - 1], k[i - 1]) } else { (0.0, 0.0) };
            let pivot = 1.0 + s_h * (up + down) - s_h * down * from_below.0;
            upper[i] = s_h * up / pivot;
            k[i] = (right + s_h * down * from_below.1) / pivot;
        }
        for i in (0..n.saturating_sub(1)).rev() {
            k[i] += upper[i] * k[i + 1];
        }
        k
    }
}

/// How long the next step of time is.
struct Pace {
    next_h: f64,
    longest_h: f64,
}

impl Pace {
    fn of(coats: &Coats) -> Self {
        let whole_um: f64 = coats.coats.iter().map(|film| film.dry_um).sum();
        let slowest = coats.coats.iter().map(|film| film.diffusion_um2_h).fold(f64::INFINITY, f64::min);
        let cell = |film: &Film| (film.dry_um / CELLS as f64).powi(2) / film.diffusion_um2_h;
        let shortest_h = coats.coats.iter().map(cell).fold(f64::INFINITY, f64::min) / 20.0;
        let longest_h = LONGEST_STEP * 4.0 * whole_um.powi(2) / (std::f64::consts::PI.powi(2) * slowest);
        Self { next_h: shortest_h.min(longest_h), longest_h }
    }

    fn next_h(&mut self) -> f64 {
        let step_h = self.next_h;
        self.next_h = (step_h * GROWTH).min(self.longest_h);
        step_h
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::range::assert_refuses;

    fn stack(coats: &[(f64, f64, f64)]) -> Result<Coats> {
        let mut stack = Coats::default();
        coats.iter().try_for_each(|(dry_um, solvent_um, diffusion)| stack.lay(*dry_um, *solvent_um, *diffusion))?;
        Ok(stack)
    }

    #[test]
    fn only_what_is_held_beneath_makes_it_later() -> Result<()> {
        assert_eq!(Coats::default().later_h(), 0.0);
        assert_eq!(stack(&[(12.0, 3.0, 50.0)])?.later_h(), 0.0);
        assert_eq!(stack(&[(12.0, 0.0, 50.0), (12.0, 3.0, 50.0)])?.later_h(), 0.0);
        let little = stack(&[(12.0, 0.5, 50.0), (12.0, 3.0, 50.0)])?.later_h();
        let more = stack(&[(12.0, 1.5, 50.0), (12.0, 3.0, 50.0)])?.later_h();
        assert!(0.0 < little && little < more, "{little}, {more}");
        Ok(())
    }

    /// One coat that lets nothing out to speak of keeps exp(−t/θ) of what sets in place.
    #[test]
    fn what_sets_in_place_falls_by_its_own_hours() -> Result<()> {
        let mut thick = stack(&[(2000.0, 300.0, 1e-4)])?;
        thick.top_sets(96.0)?;
        thick.rest(96.0)?;
        assert!((thick.solvent_um() / 300.0 - (-1.0_f64).exp()).abs() < 1e-4, "{}", thick.solvent_um());
        Ok(())
    }

    #[test]
    fn nothing_laid_rests_in_peace() -> Result<()> {
        let mut none = Coats::default();
        none.rest(100.0)?;
        assert_eq!(none.solvent_um(), 0.0);
        Ok(())
    }

    #[test]
    fn arguments_out_of_range_are_named() {
        let mut coats = Coats::default();
        assert_refuses("dry_um", coats.lay(0.0, 1.0, 1.0));
        assert_refuses("solvent_um", coats.lay(10.0, -1.0, 1.0));
        assert_refuses("diffusion_um2_h", coats.lay(10.0, 1.0, 0.0));
        assert_refuses("sets_h", coats.top_sets(0.0));
        assert_refuses("age_h", coats.rest(f64::NAN));
    }
}
