//! The logarithm of likelihood times prior, with its gradient, stable far out in the tails.

use std::f64::consts::{PI, SQRT_2};

use super::{SPREAD_SD, Share, Spell, TIMES_SD, WARMTH_SD, newton::Function};

/// The function to be made least: minus the logarithm of likelihood times prior. Its arguments are `m_s` for each stage,
/// then `ln τ`, then `w` if it is free.
pub(super) struct Likelihood<'a> {
    pub(super) spells: &'a [Spell],
    pub(super) sheet_spreads: &'a [f64],
    /// Whether the temperature response is free.
    pub(super) warmth: bool,
}

impl Likelihood<'_> {
    pub(super) fn dimensions(&self) -> usize {
        self.sheet_spreads.len() + 1 + usize::from(self.warmth)
    }
}

impl Function for Likelihood<'_> {
    fn value_and_gradient(&self, at: &[f64]) -> (f64, Vec<f64>) {
        let stages = self.sheet_spreads.len();
        let warmth = at.get(stages + 1).copied().unwrap_or(0.0);
        let (mut value, mut gradient) = (0.0, vec![0.0; at.len()]);
        for (i, x) in at.iter().enumerate() {
            let sd = match i {
                i if i < stages => TIMES_SD,
                i if i == stages => SPREAD_SD,
                _ => WARMTH_SD,
            };
            value += 0.5 * (x / sd).powi(2);
            gradient[i] += x / (sd * sd);
        }
        for spell in self.spells {
            let sigma = self.sheet_spreads[spell.stage] * at[stages].exp();
            let end = |shares: &[Share]| End::of(shares, warmth, at[spell.stage], sigma);
            let low = end(&spell.not_yet);
            let high = spell.there.as_deref().map_or(End::NEVER, end);
            let ln_p = ln_between(low.z, high.z);
            // Densities at the ends as shares of the probability between them.
            let (of_low, of_high) = (low.density(ln_p), high.density(ln_p));
            value -= ln_p;
            gradient[spell.stage] += (of_high - of_low) / sigma;
            gradient[stages] += of_high * high.finite() - of_low * low.finite();
            if self.warmth {
                gradient[stages + 1] -= (of_high * high.slope - of_low * low.slope) / sigma;
            }
        }
        (value, gradient)
    }
}

/// One end of an interval.
struct End {
    /// Where it lies, standard deviations from the middle; infinite where the interval is open.
    z: f64,
    /// What warmth does to the logarithm of the age there.
    slope: f64,
}

impl End {
    const NEVER: Self = Self { z: f64::INFINITY, slope: 0.0 };

    fn of(shares: &[Share], warmth: f64, middle: f64, sigma: f64) -> Self {
        let (mut age, mut slope) = (0.0, 0.0);
        for dose in shares {
            let worth = dose.share * (warmth * dose.tens_k).exp();
            age += worth;
            slope += worth * dose.tens_k;
        }
        if age <= 0.0 {
            return Self { z: f64::NEG_INFINITY, slope: 0.0 };
        }
        Self { z: (age.ln() - middle) / sigma, slope: slope / age }
    }

    /// The normal density here over the probability of the interval.
    fn density(&self, ln_p: f64) -> f64 {
        if self.z.is_infinite() { 0.0 } else { (-0.5 * self.z * self.z - 0.5 * (2.0 * PI).ln() - ln_p).exp() }
    }

    fn finite(&self) -> f64 {
        if self.z.is_infinite() { 0.0 } else { self.z }
    }
}

/// Logarithm of the normal probability between two places, `low < high`.
fn ln_between(low: f64, high: f64) -> f64 {
    // On the side where the tail is small, so that nothing is lost against 1.
    let (low, high) = if low > 0.0 { (-high, -low) } else { (low, high) };
    if high > 0.0 {
        return (-(ln_below(low).exp() + ln_below(-high).exp())).ln_1p();
    }
    let (ln_low, ln_high) = (ln_below(low), ln_below(high));
    ln_high + (-(ln_low - ln_high).exp()).ln_1p()
}

/// Logarithm of the normal probability below a place. Beyond thirty standard deviations by the asymptotic series of Mills'
/// ratio (Abramowitz & Stegun 26.2.12), whose first term left out is 1.6e-12 of the probability there.
fn ln_below(z: f64) -> f64 {
    if z == f64::NEG_INFINITY {
        return f64::NEG_INFINITY;
    }
    if z > -30.0 {
        return (0.5 * libm::erfc(-z / SQRT_2)).ln();
    }
    let s = 1.0 / (z * z);
    let series = 1.0 - s * (1.0 - 3.0 * s * (1.0 - 5.0 * s * (1.0 - 7.0 * s)));
    -0.5 * z * z - (-z).ln() - 0.5 * (2.0 * PI).ln() + series.ln()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// mpmath 1.3 `erfc` at 50 digits; scipy 1.17.1 `norm.logcdf` agrees with the first table to 1e-12.
    #[test]
    fn tails_are_those_of_the_reference_library() {
        for (z, expected) in REFERENCE_BELOW {
            let found = ln_below(z);
            assert!(((found - expected) / expected).abs() < 1e-9, "ln Φ({z}) = {found}, not {expected}");
        }
        for (low, high, expected) in REFERENCE_BETWEEN {
            let found = ln_between(low, high);
            assert!(((found - expected) / expected).abs() < 1e-9, "between {low} and {high}: {found}, not {expected}");
        }
    }

    const REFERENCE_BELOW: [(f64, f64); 6] = [
        (-45.0, -1017.2260942419524),
        (-30.0, -454.3212439563432),
        (-12.0, -75.4106730015688),
        (-1.0, -1.8410216450092636),
        (0.5, -0.3689464152886564),
        (3.0, -0.0013508099647481938),
    ];
    const REFERENCE_BETWEEN: [(f64, f64, f64); 5] = [
        (-1.0, 2.0, -0.200_166_294_324_462_6),
        (3.0, 3.5, -6.796_868_006_683_432),
        (12.0, 14.0, -75.410_673_001_573_19),
        (-20.0, -19.5, -194.01701594392597),
        (8.0, f64::INFINITY, -35.01343715991455),
    ];

    #[test]
    fn the_gradient_is_the_slope_of_the_value() {
        let dose = |tens_k, share| Share { tens_k, share };
        let spells = [
            Spell { stage: 0, not_yet: vec![], there: Some(vec![dose(-0.4, 1.1), dose(0.3, 0.2)]) },
            Spell { stage: 0, not_yet: vec![dose(0.8, 0.9)], there: None },
            Spell { stage: 1, not_yet: vec![dose(-0.7, 0.5)], there: Some(vec![dose(-0.7, 0.5), dose(-0.2, 0.6)]) },
            // Far out in the tail.
            Spell { stage: 1, not_yet: vec![dose(0.1, 40.0)], there: Some(vec![dose(0.1, 60.0)]) },
        ];
        let likelihood = Likelihood { spells: &spells, sheet_spreads: &[0.2, 0.15], warmth: true };
        let at = [0.1, -0.2, 0.05, 0.3];
        let (_, gradient) = likelihood.value_and_gradient(&at);
        for (i, found) in gradient.iter().enumerate() {
            let value = |by: f64| {
                let mut moved = at;
                moved[i] += by;
                likelihood.value_and_gradient(&moved).0
            };
            let slope = (value(1e-5) - value(-1e-5)) / 2e-5;
            assert!((found - slope).abs() < 1e-6 * slope.abs().max(1.0), "argument {i}: {found}, not {slope}");
        }
    }
}
