//! Fitting a rule to what was seen at the bench: when each stage comes, how much it scatters, and what warmth does to it,
//! by interval-censored maximum likelihood with a weak prior at the sheet's values.
//!
//! The model. A piece reaches stage `s` when its age, as a share of the sheet's target age, passes `exp(m_s + σ_s τ z)`,
//! `z` standard normal; `σ_s` is the sheet's spread of that stage. Age is gathered at the sheet's rate times
//! `exp(w · (T - T_ref) / 10 K)`. Fitted are `m_s` for each stage, `ln τ` and `w`; all are 0 where the sheet is right.
//! Nobody sees a piece reach its stage: it was "not yet" at one age and "there" at a later one, and the likelihood of the
//! piece is the probability of that interval.
//!
//! Interval-censored likelihood: Turnbull, J. R. Stat. Soc. B 38 (1976) 290, from memory. Intervals are those of the normal
//! distribution about the maximum (Laplace) on the logarithmic scale, widened for few pieces; a simulation in the tests
//! holds them to their level.
//! An approximation: two stages of one piece, and pieces of one batch, count as independent.

mod draft;
mod evidence;
mod likelihood;
mod newton;
mod report;

pub use evidence::{Case, Evidence, LeftOut, Weighed, cases};
pub use report::{FitReport, Fitted, StageFit, report};

use likelihood::Likelihood;

/// How sure the sheet is of a stage's time: one standard deviation of its logarithm. 0.5 is a factor of 1.6 either way.
/// Common practice, no source.
pub const TIMES_SD: f64 = 0.5;
/// How sure the sheet is of its spread: the same of `ln τ`. Common practice, no source.
pub const SPREAD_SD: f64 = 0.5;
/// How sure the sheet is of its temperature response: the same of the factor per 10 K. Common practice, no source.
pub const WARMTH_SD: f64 = 0.35;
/// The level at which intervals are stated.
pub const LEVEL: f64 = 0.90;
/// Half the width of a normal interval of that level, standard deviations.
pub(crate) const HALF_WIDTH: f64 = 1.644_853_626_951_472_2;
/// The data can tell what they know at least as well as the sheet does: information adds up, so the standard deviation
/// left is then no more than the prior's over the square root of two.
const CAN_TELL: f64 = std::f64::consts::FRAC_1_SQRT_2;

/// Age gathered at one temperature, as the fit takes it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Share {
    /// Temperature above the rule's reference, in tens of kelvins.
    pub tens_k: f64,
    /// Age by the sheet's rate over the sheet's target age.
    pub share: f64,
}

/// What was seen of one piece and stage: where in its age the stage came.
#[derive(Debug, Clone, PartialEq)]
pub struct Spell {
    /// Which stage, counted from 0.
    pub stage: usize,
    /// What it had gathered when it was last seen not to be there; empty when nobody looked before.
    pub not_yet: Vec<Share>,
    /// What it had gathered when it was first seen to be there; none when nobody saw it there. Not empty.
    pub there: Option<Vec<Share>>,
}

/// One fitted number, with how sure it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Estimate {
    /// Its logarithm against the sheet's value: 0 is the sheet.
    pub ln: f64,
    /// Standard deviation of that logarithm.
    pub sd: f64,
    /// Whether the observations say at least as much of it as the sheet does.
    pub told: bool,
}

impl Estimate {
    /// Lower end, value and upper end of its interval at [`LEVEL`], as factors on the sheet's value.
    pub fn factors(&self) -> [f64; 3] {
        [-HALF_WIDTH, 0.0, HALF_WIDTH].map(|z| (self.ln + z * self.sd).exp())
    }
}

/// What the observations say of a rule.
#[derive(Debug, Clone, PartialEq)]
pub struct Estimates {
    /// How many times the sheet's target age each stage takes.
    pub times: Vec<Estimate>,
    /// How many times as wide as the sheet's the spread is.
    pub spread: Estimate,
    /// By how much more than the sheet says it goes faster per 10 K; none where the data cannot tell and the sheet's
    /// response was kept.
    pub warmth: Option<Estimate>,
}

/// Where likelihood times prior is greatest.
#[derive(Debug, Clone, PartialEq)]
pub struct Maximum {
    /// `m` of each stage, `ln τ`, and `w` if it was free.
    pub at: Vec<f64>,
    /// Square roots of the diagonal of the inverse curvature there.
    pub sd: Vec<f64>,
    /// Logarithm of likelihood times prior there, constants of the prior left out.
    pub ln_posterior: f64,
}

/// Fits stages whose sheet has these spreads (standard deviations of the logarithm, one for each stage, above 0). The
/// temperature response is fitted when the observations can tell it, and held at the sheet's when they cannot.
///
/// With no spells the answer is the sheet, and nothing is told.
pub fn estimate(spells: &[Spell], sheet_spreads: &[f64]) -> Estimates {
    let stages = sheet_spreads.len();
    let free = of_maximum(&maximum(spells, sheet_spreads, true), stages, spells.len());
    if free.warmth.is_some_and(|warmth| warmth.told) {
        return free;
    }
    of_maximum(&maximum(spells, sheet_spreads, false), stages, spells.len())
}

/// The greatest likelihood times prior; see [`estimate`]. `warmth` says whether the temperature response is free.
pub fn maximum(spells: &[Spell], sheet_spreads: &[f64], warmth: bool) -> Maximum {
    let likelihood = Likelihood { spells, sheet_spreads, warmth };
    let found = newton::minimum(&likelihood, likelihood.dimensions());
    Maximum { at: found.at, sd: found.sd, ln_posterior: -found.value }
}

/// Few pieces know less than the curvature says, because the spread is fitted to them too and comes out too narrow. As in
/// a regression, the spread is widened by the square root of pieces over pieces less numbers fitted, and the normal
/// quantile becomes Student's (first term of Abramowitz & Stegun 26.7.5, from memory). What the prior knows needs no
/// correction.
fn of_maximum(maximum: &Maximum, stages: usize, pieces: usize) -> Estimates {
    let left = pieces.saturating_sub(maximum.at.len()).max(1) as f64;
    let narrow = (left / pieces.max(1) as f64).min(1.0);
    let student = 1.0 + (HALF_WIDTH * HALF_WIDTH + 1.0) / (4.0 * left);
    let of = |i: usize, prior_sd: f64| {
        let of_prior = prior_sd.powi(-2);
        let of_data = (maximum.sd[i].powi(-2) - of_prior).max(0.0);
        let sd = (of_prior + of_data * narrow / (student * student)).powf(-0.5);
        Estimate { ln: maximum.at[i], sd, told: sd <= CAN_TELL * prior_sd }
    };
    let spread = of(stages, SPREAD_SD);
    let by_data = 1.0 - (spread.sd / SPREAD_SD).powi(2);
    Estimates {
        times: (0..stages).map(|stage| of(stage, TIMES_SD)).collect(),
        spread: Estimate { ln: spread.ln - 0.5 * narrow.ln() * by_data, ..spread },
        warmth: (maximum.at.len() > stages + 1).then(|| of(stages + 1, WARMTH_SD)),
    }
}
