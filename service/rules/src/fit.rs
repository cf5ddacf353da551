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
//! distribution about the maximum (Laplace), on the logarithmic scale; a simulation in the tests holds them to their level.
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
    /// Logarithm of the likelihood times the prior at the maximum, constants of the prior left out.
    pub ln_posterior: f64,
}

/// Fits stages whose sheet has these spreads (standard deviations of the logarithm, one for each stage, above 0). The
/// temperature response is fitted when the observations can tell it, and held at the sheet's when they cannot.
///
/// With no spells the answer is the sheet, and nothing is told.
pub fn estimate(spells: &[Spell], sheet_spreads: &[f64]) -> Estimates {
    let free = maximum(spells, sheet_spreads, true);
    if free.warmth.is_some_and(|warmth| warmth.told) {
        return free;
    }
    maximum(spells, sheet_spreads, false)
}

fn maximum(spells: &[Spell], sheet_spreads: &[f64], warmth: bool) -> Estimates {
    let likelihood = Likelihood { spells, sheet_spreads, warmth };
    let found = newton::minimum(&likelihood, likelihood.dimensions());
    let of = |i: usize, prior_sd: f64| {
        let sd = found.sd[i];
        Estimate { ln: found.at[i], sd, told: sd <= CAN_TELL * prior_sd }
    };
    let stages = sheet_spreads.len();
    Estimates {
        times: (0..stages).map(|stage| of(stage, TIMES_SD)).collect(),
        spread: of(stages, SPREAD_SD),
        warmth: warmth.then(|| of(stages + 1, WARMTH_SD)),
        ln_posterior: -found.value,
    }
}
