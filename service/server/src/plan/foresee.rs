//! How long cures that have not begun would take: the rule in force says what they need, the outlook of their zone how long
//! that is.

use clock::{Air, Bench, Law};
use facts::{JointState, MaterialId, Meets, Step, StepKind, TargetAge, ZoneId};

use super::hours::minute;
use crate::state::State;

/// A cure some step will begin.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Want {
    pub(crate) material: MaterialId,
    pub(crate) joint: JointState,
    pub(crate) zone: ZoneId,
}

/// A stage with the minutes from the start of the cure: earliest, likely, safe; none where the air never gets there.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Stage {
    pub(crate) stage: String,
    pub(crate) meets: Meets,
    pub(crate) minutes: [Option<i64>; 3],
}

/// The stages of one cure, begun or not.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Stages {
    pub(crate) stages: Vec<Stage>,
    /// Which of them lets the job go on.
    pub(crate) releasing: Option<usize>,
}

/// What could be foreseen of the cures that are wanted.
pub(crate) type Foreseen = Vec<(Want, Stages)>;

/// A start at this many hours from now is tried: a cure begun in the evening meets another air than one of the morning.
const STARTS_H: [i64; 4] = [0, 6, 12, 18];

impl Stages {
    /// Minutes to the first of these stages it has.
    pub(crate) fn named(&self, names: &[&str]) -> Option<&Stage> {
        names.iter().find_map(|name| self.stages.iter().find(|stage| stage.stage == *name))
    }

    /// The stage that lets the job go on.
    pub(crate) fn release(&self) -> Option<&Stage> {
        self.stages.get(self.releasing?)
    }

    /// The last thing that opens: what a step of nothing but time waits for.
    pub(crate) fn last(&self) -> Option<&Stage> {
        let opens = self.stages.iter().filter(|stage| stage.meets == Meets::Opens);
        opens.max_by_key(|stage| stage.minutes[2].unwrap_or(i64::MAX))
    }

    /// Earliest, likely and safe times become minutes after the start; what opens is rounded up, what closes down.
    pub(crate) fn of(targets: &[TargetAge], start_ms: i64, times_ms: &[[Option<i64>; 3]]) -> Self {
        let of_target = |(target, times): (&TargetAge, &[Option<i64>; 3])| Stage {
            stage: target.stage.clone(),
            meets: target.meets,
            minutes: times.map(|ms| {
                let after = ms? - start_ms;
                Some(minute(if target.meets == Meets::Opens { after + 59_999 } else { after }))
            }),
        };
        let stages = targets.iter().zip(times_ms).map(of_target).collect();
        Self { stages, releasing: clock::releasing(targets) }
    }

    /// The more careful of two: what opens later, what closes earlier.
    fn careful(mut self, other: &Self) -> Self {
        for (one, two) in self.stages.iter_mut().zip(&other.stages) {
            for (a, b) in one.minutes.iter_mut().zip(two.minutes) {
                *a = match (one.meets, *a, b) {
                    (Meets::Opens, Some(a), Some(b)) => Some(a.max(b)),
                    (Meets::Opens, ..) => None,
                    (Meets::Closes, Some(a), Some(b)) => Some(a.min(b)),
                    (Meets::Closes, a, b) => a.or(b),
                };
            }
        }
        self
    }
}

/// The cure a step will begin, if its material is known; in `zone`.
pub(crate) fn want(bench: &Bench, step: &Step, zone: Option<&ZoneId>) -> Option<Want> {
    if !matches!(step.kind, StepKind::GlueUp | StepKind::Coat) {
        return None;
    }
    let known = step.joint.as_ref().and_then(|joint| bench.joints().get(joint));
    // A good fit; a coat of the usual film is what film_um 0 stands for.
    let gap_um = if step.kind == StepKind::GlueUp { known.map_or(100.0, |joint| joint.gap_um) } else { 0.0 };
    let joint = JointState { gap_um, film_um: 0.0, porosity: known.map(|joint| joint.porosity).unwrap_or_default() };
    Some(Want { material: step.material.clone()?, joint, zone: zone?.clone() })
}

impl State {
    /// What the rules in force and the outlook say of each cure that is wanted. The scripts run without the bench's lock.
    pub(crate) fn foreseen(&self, wants: Vec<Want>, now_ms: i64) -> Foreseen {
        let known: Vec<_> = {
            let bench = self.bench();
            let version = |want: &Want| bench.in_force().get(&want.material).cloned();
            let air = |want: &Want| bench.air_at(want.zone.as_str(), now_ms);
            wants.into_iter().filter_map(|want| Some((version(&want)?, air(&want)?, want))).collect()
        };
        let asked = known.into_iter().filter_map(|(version, air, want)| {
            let (targets, law) = self.asked(&version, air, want.joint)?;
            Some((want, targets, law))
        });
        let asked: Vec<_> = asked.collect();
        let bench = self.bench();
        let foresee = |(want, targets, law): (Want, Vec<TargetAge>, Law)| {
            let from = STARTS_H.map(|hours| now_ms + hours * 3_600_000);
            let of = |from_ms: i64| {
                Stages::of(&targets, from_ms, &bench.foreseen(want.zone.as_str(), &law, from_ms, &targets))
            };
            let stages = from[1..].iter().fold(of(from[0]), |careful, from_ms| careful.careful(&of(*from_ms)));
            (want, stages)
        };
        asked.into_iter().map(foresee).collect()
    }

    /// Target ages and law of one application; none where the rule cannot be run, which the log then says.
    fn asked(&self, version: &facts::VersionId, air: Air, joint: JointState) -> Option<(Vec<TargetAge>, Law)> {
        let said = self.rulebook.rule(version).and_then(|rule| {
            let film_um = rule.sheet.film.as_ref().map_or(joint.film_um, |film| film.usual_wet_um);
            let said = rule.application(air, &JointState { film_um, ..joint })?;
            Ok((rule.law(&said.mode)?, said.milestones))
        });
        match said {
            Ok((law, targets)) => Some((targets, law)),
            Err(fault) => {
                tracing::warn!(%fault, "a rule could not be asked for the bench plan");
                None
            }
        }
    }
}
