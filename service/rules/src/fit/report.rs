//! What a fit says, for the luthier who decides whether to take it: the fitted times beside the old, how sure they are,
//! what they rest on, what the data cannot tell, and a draft of the rule with the numbers in it.

use facts::{JointState, Porosity, VersionId};
use serde::Serialize;

use super::{
    Estimate, Estimates, HALF_WIDTH, LEVEL, draft, estimate,
    evidence::{Evidence, LeftOut, OfStage},
};
use crate::{
    Fault, Rule,
    fitted::{PER_10_K, TIMES},
};

/// Said with every fit.
const ESTIMATE: &str = "An estimate from what was seen at the bench, not a guarantee. Nothing is in force before you save the \
     draft; the product's data sheet and safety data sheet, and your own tests of the joint or film, decide.";

/// A fitted number beside the sheet's, with the ends of its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Fitted {
    /// Lower end of the interval.
    pub low: f64,
    /// The likeliest value.
    pub likely: f64,
    /// Upper end.
    pub high: f64,
}

/// What was fitted of one stage.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StageFit {
    /// The stage.
    pub stage: String,
    /// Glue-ups or coats it rests on.
    pub pieces: usize,
    /// Observations it rests on.
    pub observations: usize,
    /// The sheet's time in reference air, for a joint that fits well or a film of 100 µm; hours.
    pub sheet_h: f64,
    /// The time in force, which an earlier fit may have changed; hours.
    pub in_force_h: f64,
    /// The fitted time; hours.
    pub fitted_h: Fitted,
    /// How many times the sheet's time that is.
    pub times: Fitted,
    /// Earliest and safe age as shares of the likely one, for the scatter of the material and the doubt of the fit.
    pub spread: (f64, f64),
    /// Whether the observations say at least as much as the sheet.
    pub told: bool,
}

/// What a fit says.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FitReport {
    /// The rule version that was fitted.
    pub rule_version: VersionId,
    /// Level of every interval here.
    pub level: f64,
    /// Observations it rests on.
    pub observations: usize,
    /// Glue-ups or coats it rests on, counted once for each stage looked for.
    pub pieces: usize,
    /// Those part of whose air was assumed, not measured.
    pub air_assumed: usize,
    /// Each stage that was looked for.
    pub stages: Vec<StageFit>,
    /// How many times as wide as the sheet's the spread is.
    pub spread_times: Fitted,
    /// How many times faster per 10 K than the sheet says; none where the data cannot tell.
    pub per_10_k: Option<Fitted>,
    /// What the data cannot tell.
    pub cannot_tell: Vec<String>,
    /// What was seen and could not be used.
    pub left_out: Vec<LeftOut>,
    /// The rule's text with what was fitted; none where there is nothing to change.
    pub draft: Option<String>,
    /// What it is and what it is not.
    pub estimate: &'static str,
}

/// Fits a rule to its evidence. `on` is the day to write into the draft.
///
/// # Errors
/// A [`Fault`] when the script fails, or its text has no place for what was fitted.
pub fn report(rule: &Rule, text: &str, evidence: Evidence, on: &str) -> Result<FitReport, Fault> {
    let Evidence { stages, spells, assumed, left_out } = evidence;
    let spreads: Vec<f64> = stages.iter().map(|of| of.spread).collect();
    let estimates = estimate(&spells, &spreads);
    let mut fits = Vec::new();
    for (of, times) in stages.iter().zip(&estimates.times) {
        fits.push(stage_fit(rule, of, *times, estimates.spread)?);
    }
    let per_10_k = estimates.warmth.map(fitted);
    let observations = stages.iter().map(|of| of.observations).sum();
    let pieces = spells.len();
    let credible = per_10_k.filter(|warmth| PER_10_K.contains(&warmth.likely));
    let lines = draft::Lines { on, observations, pieces, stages: &fits, per_10_k: credible };
    let changed = fits.iter().any(|fit| fit.told) || credible.is_some();
    Ok(FitReport {
        rule_version: rule.version.clone(),
        level: LEVEL,
        observations,
        pieces,
        air_assumed: assumed,
        spread_times: fitted(estimates.spread),
        per_10_k,
        cannot_tell: cannot_tell(&stages, &fits, &estimates),
        left_out,
        draft: if changed { Some(lines.written_into(text).map_err(|what| rule.fault(what))?) } else { None },
        stages: fits,
        estimate: ESTIMATE,
    })
}

fn fitted(estimate: Estimate) -> Fitted {
    let [low, likely, high] = estimate.factors();
    Fitted { low, likely, high }
}

fn stage_fit(rule: &Rule, of: &OfStage, times: Estimate, spread: Estimate) -> Result<StageFit, Fault> {
    let joint = JointState { gap_um: 100.0, film_um: 100.0, porosity: Porosity::Normal };
    let of_rule = rule.sheet_target(&joint, &of.stage)?;
    let sheet_h = of_rule.map_or(0.0, |(_, target)| target.likely_h);
    let in_force_h = rule.target(&joint, &of.stage)?.map_or(0.0, |target| target.likely_h);
    // A spread the data cannot tell is never made narrower than the sheet's.
    let scatter = of.spread * if spread.told { spread.ln.exp() } else { spread.ln.exp().max(1.0) };
    let width = HALF_WIDTH * scatter.hypot(times.sd);
    let factor = fitted(times);
    Ok(StageFit {
        stage: of.stage.clone(),
        pieces: of.pieces,
        observations: of.observations,
        sheet_h,
        in_force_h,
        fitted_h: Fitted { low: sheet_h * factor.low, likely: sheet_h * factor.likely, high: sheet_h * factor.high },
        times: factor,
        spread: ((-width).exp().max(0.05), width.exp().min(20.0)),
        told: times.told && TIMES.contains(&factor.likely),
    })
}

fn cannot_tell(seen: &[OfStage], stages: &[StageFit], estimates: &Estimates) -> Vec<String> {
    let mut said = Vec::new();
    if stages.is_empty() {
        said.push("Nothing: there is no observation that can be used.".into());
        return said;
    }
    for stage in stages.iter().filter(|stage| !stage.told) {
        said.push(format!(
            "When {} comes: the {} observation(s) of it say less than the sheet does; it stays as the sheet has it.",
            stage.stage.replace('_', " "),
            stage.observations
        ));
    }
    for of in seen {
        let stage = of.stage.replace('_', " ");
        if of.before == 0 {
            said.push(format!(
                "How early {stage} comes: it was there whenever somebody looked, and never seen not to be. What was fitted \
                 leans on the sheet there; look sooner."
            ));
        }
        if of.there == 0 {
            said.push(format!(
                "How late {stage} comes: nobody saw it there. What was fitted leans on the sheet there; look later, too."
            ));
        }
    }
    if !estimates.spread.told {
        said.push(
            "How much it scatters: that needs more pieces looked at more often; it is not made narrower than the sheet's."
                .into(),
        );
    }
    match estimates.warmth {
        None => said.push(
            "What warmth does: the pieces cured at too much the same temperature; the sheet's response was kept, and times \
             away from the temperatures seen rest on it."
                .into(),
        ),
        Some(warmth) if !PER_10_K.contains(&warmth.ln.exp()) => {
            said.push("What warmth does: what was fitted is further from the sheet than any material is.".into());
        }
        Some(_) => {}
    }
    said
}
