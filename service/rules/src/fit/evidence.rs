//! From observations to intervals of age: what was last seen not to be there, and first seen to be, and how much of the
//! stage's target age the piece had gathered at either. Three steps, because the bench must not wait for a script.

use std::collections::BTreeMap;

use clock::{Bench, Dose, Law, Observation};
use facts::{CureId, JointState, TargetAge, VersionId};
use serde::Serialize;

use super::{HALF_WIDTH, Share, Spell};
use crate::{Fault, Rule, Rulebook};

const HOUR_MS: f64 = 3_600_000.0;
/// Spread of a stage whose sheet gives none: a third either way. Common practice, no source.
const NO_SPREAD: f64 = 0.2;
/// No sheet knows a time better than this.
const LEAST_SPREAD: f64 = 0.02;

/// Why a piece cannot be used whose air nobody knows.
const UNREAD: &str =
    "it began before the first reading that is kept of its zone (store.keep_readings_days): its air is not known";

/// What was seen of one piece and stage.
#[derive(Debug, Clone, PartialEq)]
pub struct Case {
    /// The glue-up or coat.
    pub cure: CureId,
    /// The stage.
    pub stage: String,
    joint: JointState,
    /// The rule it began with, and the likely age and the floor it was given then.
    version: VersionId,
    given_h: f64,
    floor_h: f64,
    started_ms: i64,
    /// When it was last seen not to be there.
    not_yet_ms: Option<i64>,
    /// When it was first seen to be there.
    there_ms: Option<i64>,
    observations: usize,
}

/// What was seen and could not be used, and why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LeftOut {
    /// The glue-up or coat.
    pub cure: String,
    /// The stage.
    pub stage: String,
    /// Why, and how to mend it.
    pub why: String,
}

/// First step, under the bench's lock: every piece of a material that was looked at, in order of id and stage.
pub fn cases(bench: &Bench, material: &str) -> Vec<Case> {
    let mut seen: BTreeMap<(&CureId, &str), Vec<&Observation>> = BTreeMap::new();
    for observation in bench.observations().values().filter(|observation| observation.withdrawn.is_none()) {
        seen.entry((&observation.made.cure, &observation.made.stage)).or_default().push(observation);
    }
    let case = |((id, stage), seen): ((&CureId, &str), Vec<&Observation>)| {
        let cure = bench.cure(id.as_str())?;
        if cure.begun.material.as_str() != material || cure.withdrawn.is_some() {
            return None;
        }
        let given = cure.begun.milestones.iter().find(|target| target.stage == stage)?;
        let at = |reached: bool| seen.iter().filter(move |o| o.made.reached == reached).map(|o| o.at_ms);
        Some(Case {
            cure: id.clone(),
            stage: stage.into(),
            joint: cure.begun.joint_state,
            version: cure.begun.rule_version.clone(),
            given_h: given.likely_h,
            floor_h: given.floor_h,
            started_ms: cure.begun.started_at.timestamp_millis(),
            not_yet_ms: at(false).max(),
            there_ms: at(true).min(),
            observations: seen.len(),
        })
    };
    seen.into_iter().filter_map(case).collect()
}

/// A case with what the rule's sheet says of it.
struct Asked {
    case: Case,
    law: Law,
    /// The sheet's target age for this joint, with what set this very coat later.
    target_h: f64,
    /// The sheet's spread, standard deviation of the logarithm.
    spread: f64,
}

/// Second step, apart from the bench: cases with the sheet's law and target age for each joint.
pub struct Weighed {
    asked: Vec<Asked>,
    ref_temp_c: f64,
    left_out: Vec<LeftOut>,
}

/// Observations of one stage, counted.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct OfStage {
    pub(super) stage: String,
    /// The sheet's spread, standard deviation of the logarithm.
    pub(super) spread: f64,
    pub(super) pieces: usize,
    pub(super) observations: usize,
    /// Pieces that were seen not to be there before, and pieces that were seen there.
    pub(super) before: usize,
    pub(super) there: usize,
}

/// Third step: everything a fit rests on.
#[derive(Debug, Clone, PartialEq)]
pub struct Evidence {
    pub(super) stages: Vec<OfStage>,
    pub(super) spells: Vec<Spell>,
    /// Pieces part of whose air was assumed, not measured.
    pub(super) assumed: usize,
    pub(super) left_out: Vec<LeftOut>,
}

impl Weighed {
    /// Asks the rule about each case, and the rule each began with what it gave then.
    ///
    /// # Errors
    /// A [`Fault`] when a script fails on a joint.
    pub fn new(rule: &Rule, book: &Rulebook, cases: Vec<Case>) -> Result<Self, Fault> {
        let mut weighed = Self { asked: vec![], ref_temp_c: rule.sheet.reference.temp_c, left_out: vec![] };
        for case in cases {
            match case.doubt() {
                Some(why) => weighed.leave_out(&case, why),
                None => match rule.sheet_target(&case.joint, &case.stage)? {
                    Some((mode, target)) if target.likely_h > 0.0 => {
                        let law = rule.sheet_law(&mode)?;
                        let target_h = target.likely_h * case.later(book)?;
                        weighed.asked.push(Asked { case, law, target_h, spread: spread_of(&target) });
                    }
                    Some(_) => weighed.leave_out(&case, "the rule gives this stage no time at all"),
                    None => weighed.leave_out(&case, "the rule in force has no such stage any more"),
                },
            }
        }
        Ok(weighed)
    }

    fn leave_out(&mut self, case: &Case, why: &str) {
        self.left_out.push(LeftOut { cure: case.cure.to_string(), stage: case.stage.clone(), why: why.into() });
    }

    /// Reads off the bench, under its lock, what each piece had gathered.
    pub fn measure(mut self, bench: &Bench) -> Evidence {
        let mut stages: Vec<OfStage> = Vec::new();
        let (mut spells, mut assumed) = (Vec::new(), 0);
        for Asked { case, law, target_h, spread } in std::mem::take(&mut self.asked) {
            let Some(cure) = bench.cure(case.cure.as_str()) else { continue };
            let doses = |at_ms: Option<i64>| at_ms.map(|at_ms| bench.doses(cure, at_ms, &law));
            // Before its floor a stage is not there whatever its age.
            let floor_ms = case.started_ms + (case.floor_h * HOUR_MS) as i64;
            let (not_yet, there) = (doses(case.not_yet_ms.filter(|ms| *ms > floor_ms)), doses(case.there_ms));
            let shares = |doses: &[Dose]| -> Vec<Share> {
                let share = |dose: &Dose| Share {
                    tens_k: (dose.temp_c - self.ref_temp_c) / 10.0,
                    share: dose.age_h / target_h,
                };
                doses.iter().map(share).collect()
            };
            let low = not_yet.as_ref().map_or_else(Vec::new, |doses| shares(&doses.doses));
            let high = there.as_ref().map(|doses| shares(&doses.doses));
            let seen = || not_yet.iter().chain(&there);
            let unread = seen().any(|doses| doses.before_readings).then_some(UNREAD);
            if let Some(why) = unread.or_else(|| tells_nothing(&low, high.as_deref())) {
                self.leave_out(&case, why);
                continue;
            }
            assumed += usize::from(seen().any(|doses| doses.climate.is_assumed()));
            let known = stages.iter().position(|of| of.stage == case.stage);
            let stage = known.unwrap_or_else(|| {
                stages.push(OfStage {
                    stage: case.stage.clone(),
                    spread,
                    pieces: 0,
                    observations: 0,
                    before: 0,
                    there: 0,
                });
                stages.len() - 1
            });
            stages[stage].pieces += 1;
            stages[stage].observations += case.observations;
            stages[stage].before += usize::from(!low.is_empty());
            stages[stage].there += usize::from(high.is_some());
            spells.push(Spell { stage, not_yet: low, there: high });
        }
        Evidence { stages, spells, assumed, left_out: self.left_out }
    }
}

impl Case {
    /// How many times the age its rule gives such a joint this piece was given: thinner, retarder, draught or a coat beneath set a
    /// coat later, which the joint alone does not say.
    fn later(&self, book: &Rulebook) -> Result<f64, Fault> {
        let of_rule = book.rule(&self.version)?.target(&self.joint, &self.stage)?.map_or(0.0, |target| target.likely_h);
        Ok(if of_rule > 0.0 && self.given_h > 0.0 { self.given_h / of_rule } else { 1.0 })
    }

    fn doubt(&self) -> Option<&'static str> {
        let contradicted = self.not_yet_ms.zip(self.there_ms).is_some_and(|(not_yet, there)| not_yet >= there);
        contradicted.then_some("it was seen there before it was seen not to be; withdraw the observation that is wrong")
    }
}

/// Why an interval cannot be used.
fn tells_nothing(low: &[Share], high: Option<&[Share]>) -> Option<&'static str> {
    let age = |shares: &[Share]| shares.iter().map(|dose| dose.share).sum::<f64>();
    match high {
        None if age(low) <= 0.0 => Some(
            "it was not there while, by the rule, nothing had cured or its least time on the wall had not passed: that \
             says nothing of its age",
        ),
        Some(high) if age(high) <= age(low) * (1.0 + 1e-9) => Some(
            "it was there although, by the rule, nothing cures in the air it had: look at the readings, and at the rule",
        ),
        _ => None,
    }
}

/// The sheet's spread as a standard deviation of the logarithm: its earliest and safe ages are taken as the ends of a
/// 90 % interval.
pub(super) fn spread_of(target: &TargetAge) -> f64 {
    let spread = (target.safe_h / target.earliest_h).ln() / (2.0 * HALF_WIDTH);
    if spread.is_finite() && spread >= LEAST_SPREAD { spread } else { NO_SPREAD }
}
