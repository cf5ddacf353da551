//! The rule workshop: what a draft would make of an air, and of every open cure. Nothing is put in force by asking.

use std::sync::Arc;

use clock::{Air, Bench, Cure, Law, Milestone};
use facts::{CureRuleChanged, JointState, Meets, TargetAge, VersionId};
use rules::Rule;
use serde::Serialize;

use crate::{
    problem::{Kind, Problem},
    state::State,
};

const HOUR_MS: f64 = 3_600_000.0;

/// The air something is tried in.
#[derive(Debug, Clone)]
pub(crate) enum Over {
    /// The same all the time.
    Constant(Air),
    /// That of a zone, recorded and expected, from an instant on. What lies behind `until_ms` is not looked at.
    Zone { zone: String, from_ms: i64 },
}

/// What is tried.
pub(crate) struct Trying {
    pub(crate) over: Over,
    pub(crate) joint: JointState,
    /// How long the curve is, h.
    pub(crate) hours: f64,
    /// Points of the curve.
    pub(crate) points: usize,
}

/// One point of a curve.
#[derive(Serialize, utoipa::ToSchema)]
#[schema(as = CoursePoint)]
pub(crate) struct Point {
    pub(crate) hours: f64,
    pub(crate) temp_c: f64,
    pub(crate) rh_pct: f64,
    /// Reference hours gathered per hour.
    pub(crate) rate: f64,
    /// Reference hours.
    pub(crate) age_h: f64,
    /// Share of full strength; none where the rule bears no load.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) strength: Option<f64>,
}

/// One milestone, in hours from the start; none where it does not come within the hours tried.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct StageTimes {
    pub(crate) stage: String,
    #[schema(value_type = crate::twins::Meets)]
    pub(crate) meets: Meets,
    pub(crate) target_ages_h: [f64; 3],
    pub(crate) earliest_h: Option<f64>,
    pub(crate) likely_h: Option<f64>,
    pub(crate) safe_h: Option<f64>,
}

/// What one version makes of an air.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct Course {
    pub(crate) version: String,
    pub(crate) mode: String,
    pub(crate) milestones: Vec<StageTimes>,
    #[schema(value_type = Vec<crate::twins::Finding>)]
    pub(crate) findings: Vec<facts::Finding>,
    pub(crate) curve: Vec<Point>,
}

/// Ages and milestones over some air.
trait Sum {
    fn air(&self, hours: f64) -> Air;
    fn age_h(&self, hours: f64) -> f64;
    /// Earliest, likely and safe, h from the start.
    fn times_h(&self, target: &TargetAge) -> [Option<f64>; 3];
}

struct Constant<'a> {
    air: Air,
    law: &'a Law,
}

impl Sum for Constant<'_> {
    fn air(&self, _: f64) -> Air {
        self.air
    }

    fn age_h(&self, hours: f64) -> f64 {
        (self.law)(self.air) * hours
    }

    fn times_h(&self, target: &TargetAge) -> [Option<f64>; 3] {
        let rate = (self.law)(self.air);
        [target.earliest_h, target.likely_h, target.safe_h].map(|age_h| match age_h {
            0.0 => Some(target.floor_h),
            age_h => (rate > 0.0).then(|| (age_h / rate).max(target.floor_h)),
        })
    }
}

struct InZone<'a> {
    bench: &'a Bench,
    zone: &'a str,
    from_ms: i64,
    trial: clock::Trial<'a>,
    now_ms: i64,
}

impl InZone<'_> {
    fn at_ms(&self, hours: f64) -> i64 {
        self.from_ms + (hours * HOUR_MS) as i64
    }
}

impl Sum for InZone<'_> {
    fn air(&self, hours: f64) -> Air {
        self.bench.air_at(self.zone, self.at_ms(hours)).unwrap_or(Air { temp_c: f64::NAN, rh_pct: f64::NAN })
    }

    fn age_h(&self, hours: f64) -> f64 {
        self.trial.age_h(self.at_ms(hours))
    }

    fn times_h(&self, target: &TargetAge) -> [Option<f64>; 3] {
        let Milestone { earliest_ms, likely_ms, safe_ms, .. } = self.trial.milestone(target, self.now_ms);
        [earliest_ms, likely_ms, safe_ms].map(|ms| ms.map(|ms| (ms - self.from_ms) as f64 / HOUR_MS))
    }
}

fn round(value: f64) -> f64 {
    (value * 1e5).round() / 1e5
}

impl State {
    /// What a version makes of an air.
    ///
    /// # Errors
    /// When there is no such zone, or the script fails.
    pub(crate) fn course(&self, rule: &Rule, trying: &Trying) -> Result<Course, Problem> {
        let bench = self.bench();
        let start = match &trying.over {
            Over::Constant(air) => *air,
            Over::Zone { zone, from_ms } => {
                bench.air_at(zone, *from_ms).ok_or_else(|| Problem::not_found("zone", zone))?
            }
        };
        let said = rule.application(start, &trying.joint)?;
        let law = rule.law(&said.mode)?;
        let sum: Box<dyn Sum + '_> = match &trying.over {
            Over::Constant(air) => Box::new(Constant { air: *air, law: &law }),
            Over::Zone { zone, from_ms } => {
                let trial = bench.trial_in(zone, *from_ms, &law).ok_or_else(|| Problem::not_found("zone", zone))?;
                Box::new(InZone { bench: &bench, zone, from_ms: *from_ms, trial, now_ms: self.now().ms() })
            }
        };
        let within = |hours: Option<f64>| hours.filter(|hours| *hours <= trying.hours).map(round);
        let stage = |target: &TargetAge| {
            let [earliest_h, likely_h, safe_h] = sum.times_h(target).map(within);
            StageTimes {
                stage: target.stage.clone(),
                meets: target.meets,
                target_ages_h: [target.earliest_h, target.likely_h, target.safe_h],
                earliest_h,
                likely_h,
                safe_h,
            }
        };
        let point = |i: usize| {
            let hours = trying.hours * i as f64 / (trying.points - 1) as f64;
            let (air, age_h) = (sum.air(hours), sum.age_h(hours));
            Ok(Point {
                hours: round(hours),
                temp_c: round(air.temp_c),
                rh_pct: round(air.rh_pct),
                rate: round(law(air)),
                age_h: round(age_h),
                strength: rule.strength(age_h, &trying.joint)?.map(round),
            })
        };
        Ok(Course {
            version: rule.version.to_string(),
            mode: said.mode,
            milestones: said.milestones.iter().map(stage).collect(),
            findings: said.findings,
            curve: (0..trying.points).map(point).collect::<Result<_, Problem>>()?,
        })
    }
}

/// A target age with what was particular to a cure when it began: its age then, as a share of what its rule alone gave.
fn particular(mut target: TargetAge, had: &[TargetAge], plain: &[TargetAge]) -> TargetAge {
    let of_stage = |ages: &[TargetAge]| ages.iter().find(|age| age.stage == target.stage).cloned();
    if let (Some(had), Some(plain)) = (of_stage(had), of_stage(plain))
        && plain.likely_h > 0.0
    {
        let share = had.likely_h / plain.likely_h;
        target.earliest_h *= share;
        target.likely_h *= share;
        target.safe_h *= share;
        target.ahead_h = had.ahead_h.min(target.earliest_h);
    }
    target
}

/// How the time of one stage moves. Times are those it is told at: the safe end of what opens, the early end of what
/// closes.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct Moved {
    pub(crate) stage: String,
    /// None where the version it goes by has no such stage, or this air never gets there.
    pub(crate) was_at: Option<String>,
    pub(crate) would_be_at: Option<String>,
    /// How much later, minutes; negative is earlier.
    pub(crate) by_min: Option<f64>,
    /// It was told already.
    pub(crate) told: bool,
    /// Both times once more, as a page reads them, ms.
    #[serde(skip)]
    pub(crate) at_ms: [Option<i64>; 2],
}

/// One cure and what moves.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct MovedCure {
    pub(crate) cure: String,
    pub(crate) rule_version: String,
    pub(crate) stages: Vec<Moved>,
}

/// A stage moves when its time changes by this, ms.
const LEAST_MS: i64 = 60_000;

impl State {
    /// The version a cure is to be moved to: one that its material had in force, or has.
    ///
    /// # Errors
    /// When it is none of those, or no longer compiles.
    pub(crate) fn version_for(
        &self,
        bench: &Bench,
        cure: &Cure,
        version: Option<VersionId>,
    ) -> Result<Arc<Rule>, Problem> {
        let material = &cure.begun.material;
        let file = format!("materials/{material}.rhai");
        let version = version.or_else(|| bench.in_force().get(material).cloned());
        let known = version.filter(|version| self.rulebook.stood_in(version, &file));
        let known = known.ok_or_else(|| {
            let detail = format!("\"{material}\" never had that version in force");
            let mend = format!("GET /api/v1/rules/{material}/versions lists those it had");
            Problem::new(Kind::UnknownReference, detail, mend).about("version")
        })?;
        Ok(self.rulebook.rule(&known)?)
    }

    /// What a version says of an open cure, as the fact that would move it there.
    ///
    /// # Errors
    /// When the script fails on its joint.
    pub(crate) fn rule_change(&self, bench: &Bench, cure: &Cure, rule: &Rule) -> Result<CureRuleChanged, Problem> {
        let begun = &cure.begun;
        let air = bench.air_at(begun.zone.as_str(), begun.started_at.timestamp_millis());
        let air = air.ok_or_else(|| Problem::not_found("zone", begun.zone.as_str()))?;
        let said = rule.application(air, &begun.joint_state)?;
        // What no rule says of this coat (thinner, draught, the coats beneath) keeps its share of each stage.
        let before = self.rulebook.rule(&begun.rule_version).and_then(|old| old.application(air, &begun.joint_state));
        let plain = before.map_or_else(|_| vec![], |before| before.milestones);
        let milestones = said.milestones.into_iter().map(|target| particular(target, &begun.milestones, &plain));
        Ok(CureRuleChanged {
            cure: begun.id.clone(),
            rule_version: rule.version.clone(),
            mode: said.mode,
            milestones: milestones.collect(),
            limits: rule.limits.clone(),
            bearing: said.bearing,
        })
    }

    /// The times of a cure that move when it goes by another version.
    ///
    /// # Errors
    /// When the cure is closed, or the script has no law for its mode.
    pub(crate) fn moved(
        &self,
        bench: &Bench,
        cure: &Cure,
        rule: &Rule,
        change: &CureRuleChanged,
    ) -> Result<Vec<Moved>, Problem> {
        let law = rule.law(&change.mode)?;
        let now_ms = self.now().ms();
        let told_ms = |milestone: &Milestone<'_>| match milestone.target.meets {
            Meets::Opens => milestone.safe_ms,
            Meets::Closes => milestone.earliest_ms,
        };
        let was: Vec<_> = bench.milestones(cure, now_ms);
        let trial = bench.trial_of(cure, &law).ok_or_else(|| {
            let detail = format!("\"{}\" is closed or has no times", cure.begun.id);
            Problem::new(Kind::Conflict, detail, "nothing needs doing; only an open glue-up or coat can be moved")
        })?;
        let would: Vec<_> = change.milestones.iter().map(|target| trial.milestone(target, now_ms)).collect();
        let gone = was.iter().filter(|old| !would.iter().any(|new| new.target.stage == old.target.stage));
        let of_stage = |stage: &str| was.iter().position(|old| old.target.stage == stage);
        let rows = would.iter().map(|new| (new.target, of_stage(&new.target.stage), told_ms(new)));
        let rows = rows.chain(gone.map(|old| (old.target, of_stage(&old.target.stage), None)));
        let moved = rows.filter_map(|(target, m, would_ms)| {
            let was_ms = m.and_then(|m| told_ms(&was[m]));
            let by_ms = was_ms.zip(would_ms).map(|(was_ms, would_ms)| would_ms - was_ms);
            let moves = by_ms.map_or(was_ms != would_ms, |by_ms| by_ms.abs() >= LEAST_MS);
            moves.then(|| Moved {
                stage: target.stage.clone(),
                was_at: was_ms.map(|ms| self.rfc3339(ms)),
                would_be_at: would_ms.map(|ms| self.rfc3339(ms)),
                by_min: by_ms.map(|ms| (ms as f64 / 6_000.0).round() / 10.0),
                told: m.is_some_and(|m| cure.told(m).is_some()),
                at_ms: [was_ms, would_ms],
            })
        });
        Ok(moved.collect())
    }

    /// Every open cure of a material whose times move under a draft; at most `limit` cures are looked at. Gives also how
    /// many were looked at and how many there are.
    ///
    /// # Errors
    /// When the script fails on one of them.
    pub(crate) fn what_moves(
        &self,
        material: &str,
        rule: &Rule,
        limit: usize,
    ) -> Result<(Vec<MovedCure>, usize, usize), Problem> {
        let bench = self.bench();
        let open = bench.cures().iter().filter(|cure| cure.is_open() && cure.begun.material.as_str() == material);
        let open: Vec<_> = open.filter(|cure| cure.broken.is_none()).collect();
        let mut moved = Vec::new();
        for cure in open.iter().take(limit) {
            let change = self.rule_change(&bench, cure, rule)?;
            let stages = self.moved(&bench, cure, rule, &change)?;
            if !stages.is_empty() {
                let (cure, rule_version) = (cure.begun.id.to_string(), cure.begun.rule_version.to_string());
                moved.push(MovedCure { cure, rule_version, stages });
            }
        }
        Ok((moved, open.len().min(limit), open.len()))
    }
}
