//! Solvent on its way out through a stack of coats: what the coats beneath still hold when the next one is laid, and how
//! much later that lets the whole harden.

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

/// Coats on a surface that lets nothing through, from the wood up, each with the solvent it holds.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Coats {
    /// Thickness, µm, and diffusion coefficient, µm²/h, of each coat.
    coats: Vec<(f64, f64)>,
    /// Solvent per volume of dry film in each cell, from the wood up.
    share: Vec<f64>,
}

impl Coats {
    /// Lays a coat on top.
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
        let diffusion = within("diffusion_um2_h", diffusion_um2_h, 1e-4, 1e6, "µm²/h")?;
        within("coats", (self.coats.len() + 1) as f64, 1.0, MOST_COATS as f64, "")?;
        self.coats.push((dry_um, diffusion));
        self.share.extend([solvent_um / dry_um; CELLS]);
        Ok(())
    }

    /// Solvent in each coat, from the wood up, µm.
    ///
    /// Equation: Σ cᵢ Δxᵢ over the coat's cells. Source: definition.
    pub fn held_um(&self) -> Vec<f64> {
        let of_coat = |(i, (dry_um, _)): (usize, &(f64, f64))| {
            self.share[i * CELLS..(i + 1) * CELLS].iter().sum::<f64>() * dry_um / CELLS as f64
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

    /// Ages at which this stack is as dry as `other` is at the given ages: how much later it hardens for what its lower
    /// coats still hold.
    ///
    /// # Equation
    ///
    /// t with S(t) = S_other(t_other), S the solvent of the whole stack. Once both lose it in the same shape the delay stays:
    /// τ ln(S/S_other), τ = 4 L²/(π² D) for coats of one material.
    ///
    /// # Arguments
    ///
    /// - `other`: coats of the same thickness and material that hold no more solvent than these.
    /// - `ages_h`: rising, 0 to 10 million h.
    ///
    /// # Result
    ///
    /// An age for each, h, never less than the one asked about.
    ///
    /// # Errors
    ///
    /// [`OutOfRange`](crate::OutOfRange) naming the argument outside its range.
    ///
    /// # Source
    ///
    /// [`Coats::rest`]; the tail from Crank, ch. 4: the first term of the series.
    pub fn as_dry_as(&self, other: &Self, ages_h: &[f64]) -> Result<Vec<f64>> {
        let (mut wet, mut dry) = (self.clone(), other.clone());
        let (mut wet_h, mut dry_h) = (0.0_f64, 0.0_f64);
        let (mut pace, start_um) = (Pace::of(self), other.solvent_um());
        let mut last_delay_h = 0.0;
        let mut ages = Vec::with_capacity(ages_h.len());
        for age_h in ages_h {
            let age_h = hours("ages_h", *age_h)?;
            if dry.solvent_um() > TAIL * start_um {
                // No further than to where the delay does not change any more.
                let tail_h = dry.age_left_h(TAIL * start_um, age_h - dry_h)?;
                dry_h += tail_h;
                let goal_um = dry.solvent_um();
                loop {
                    let before = (wet_h, wet.solvent_um());
                    if before.1 <= goal_um {
                        break;
                    }
                    let step_h = pace.next_h();
                    let kept = wet.clone();
                    wet.step(step_h);
                    let after_um = wet.solvent_um();
                    if after_um > goal_um {
                        wet_h += step_h;
                        continue;
                    }
                    // The logarithm runs nearly straight within a step.
                    let part = (before.1 / goal_um).ln() / (before.1 / after_um).ln();
                    wet = kept;
                    wet.step(step_h * part);
                    wet_h = before.0 + step_h * part;
                    break;
                }
                last_delay_h = (wet_h - dry_h).max(0.0);
            }
            ages.push(age_h + last_delay_h);
        }
        Ok(ages)
    }

    /// Rests until little is left or an age is reached; gives the age gone by.
    fn age_left_h(&mut self, least_um: f64, age_h: f64) -> Result<f64> {
        let mut pace = Pace::of(self);
        let mut gone_h = 0.0;
        while gone_h < age_h && self.solvent_um() > least_um {
            let step_h = pace.next_h().min(age_h - gone_h);
            self.step(step_h);
            gone_h += step_h;
        }
        Ok(gone_h)
    }

    /// One step of time: (1 + γhA) k = −A c twice, c += h ((1 − γ) k₁ + γ k₂).
    fn step(&mut self, step_h: f64) {
        let flows = self.flows();
        let k1 = self.solve(&flows, GAMMA * step_h, &self.share);
        let halfway: Vec<f64> = self.share.iter().zip(&k1).map(|(c, k)| c + (1.0 - GAMMA) * step_h * k).collect();
        let k2 = self.solve(&flows, GAMMA * step_h, &halfway);
        for ((c, k1), k2) in self.share.iter_mut().zip(k1).zip(k2) {
            *c = (*c + step_h * ((1.0 - GAMMA) * k1 + GAMMA * k2)).max(0.0);
        }
    }

    /// Conductance between each cell and the one above it, µm/h; the last is that to the free surface.
    fn flows(&self) -> Vec<f64> {
        let half = |i: usize| {
            let (dry_um, diffusion) = self.coats[i / CELLS];
            dry_um / CELLS as f64 / 2.0 / diffusion
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
            let cell_um = self.coats[i / CELLS].0 / CELLS as f64;
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

/// Share of the solvent below which the delay is taken to stay: six half-lives into the tail.
const TAIL: f64 = 0.01;

/// How long the next step of time is.
struct Pace {
    next_h: f64,
    longest_h: f64,
}

impl Pace {
    fn of(coats: &Coats) -> Self {
        let whole_um: f64 = coats.coats.iter().map(|(dry_um, _)| dry_um).sum();
        let slowest = coats.coats.iter().map(|(_, diffusion)| *diffusion).fold(f64::INFINITY, f64::min);
        let cell = |(dry_um, diffusion): &(f64, f64)| (dry_um / CELLS as f64).powi(2) / diffusion;
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
    fn a_stack_as_dry_as_the_other_is_no_later_and_a_wetter_one_always_is() -> Result<()> {
        let dry = stack(&[(12.0, 0.0, 50.0), (12.0, 3.0, 50.0)])?;
        let wet = stack(&[(12.0, 1.5, 50.0), (12.0, 3.0, 50.0)])?;
        let ages_h = [1.0, 4.0, 24.0, 500.0];
        for (age_h, same_h) in ages_h.iter().zip(dry.as_dry_as(&dry, &ages_h)?) {
            assert!((same_h - age_h).abs() < 0.01 * age_h, "{age_h}: {same_h}");
        }
        for (age_h, later_h) in ages_h.iter().zip(wet.as_dry_as(&dry, &ages_h)?) {
            assert!(later_h > *age_h, "{age_h}: {later_h}");
        }
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
        assert_refuses("age_h", coats.rest(f64::NAN));
    }
}
