//! From what a luthier says about a glue-up to the fact it is: the rule in force adds its version, target ages, limits
//! and findings. What is particular to coats is in `coating.rs`.

use chrono::{DateTime, Utc};
use clock::{Retarder, Surface};
use facts::{
    Amount, ClampId, CureBegun, CureId, CureKind, Finding, JobId, JointId, JointState, Level, LotId, MaterialId, MixId,
    Porosity, StepId, TempC, ZoneId, within,
};
use serde::Deserialize;

use crate::{
    now::instant,
    problem::{Kind, Problem},
    state::State,
};

/// When something happened, as a person says it: at a time, or minutes ago; now when neither is said.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct When {
    pub(crate) at: Option<DateTime<Utc>>,
    pub(crate) minutes_ago: Option<f64>,
}

impl When {
    /// The instant meant, ms.
    ///
    /// # Errors
    /// When both are said, or the minutes are not a number from 0 to a year's.
    pub(crate) fn ms(self, now_ms: i64) -> Result<i64, Problem> {
        match (self.at, self.minutes_ago) {
            (Some(_), Some(_)) => Err(Problem::new(
                Kind::Invalid,
                "both a time and minutes_ago are given",
                "send one of them; without either it is now",
            )
            .about("minutes_ago")),
            (Some(at), None) => Ok(at.timestamp_millis()),
            (None, Some(minutes)) => {
                let mend = "for example {\"minutes_ago\": 15}";
                let minutes = within("minutes_ago", minutes, 0.0, 366.0 * 24.0 * 60.0, "min", mend)?;
                Ok(now_ms - (minutes * 60_000.0) as i64)
            }
            (None, None) => Ok(now_ms),
        }
    }
}

/// A glue-up as it is registered. What is left out is taken from the step of the job, then from the joint.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct GlueUpRequest {
    pub(crate) id: Option<CureId>,
    pub(crate) joint: Option<JointId>,
    pub(crate) job: Option<JobId>,
    pub(crate) step: Option<StepId>,
    pub(crate) material: Option<MaterialId>,
    pub(crate) lot: Option<LotId>,
    /// How much was taken from that lot: {"ml": 5} or {"g": 5}.
    #[schema(value_type = Option<crate::twins::Amount>)]
    pub(crate) used: Option<Amount>,
    pub(crate) mix: Option<MixId>,
    pub(crate) zone: ZoneId,
    #[serde(default)]
    pub(crate) clamps: Vec<ClampId>,
    pub(crate) started_at: Option<DateTime<Utc>>,
    pub(crate) minutes_ago: Option<f64>,
    pub(crate) gap_um: Option<f64>,
    #[schema(value_type = Option<crate::twins::Porosity>)]
    pub(crate) porosity: Option<Porosity>,
    /// Temperature of the faces, °C, if it was measured; that of the air if not.
    pub(crate) surface_temp_c: Option<f64>,
}

/// A new id: a letter for the kind and twelve characters nobody has used.
pub(crate) fn new_id<K: facts::Kind>(letter: char) -> facts::Id<K> {
    let random = uuid::Uuid::now_v7().simple().to_string();
    let id = format!("{letter}-{}{}", &random[6..12], &random[26..32]);
    facts::Id::new(id).expect("a letter and hex digits make an id")
}

impl State {
    /// The fact a glue-up is, in the rule now in force.
    ///
    /// # Errors
    /// What is missing, unknown or out of range.
    pub(crate) fn glue_up(&self, request: GlueUpRequest) -> Result<CureBegun, Problem> {
        let now_ms = self.now().ms();
        let when = When { at: request.started_at, minutes_ago: request.minutes_ago };
        let (joint, material, known) = {
            let bench = self.bench();
            let step = step_of(&bench, request.job.as_ref(), request.step.as_ref());
            let joint = request.joint.or_else(|| step.and_then(|step| step.joint.clone()));
            let joint = joint.ok_or_else(|| missing("joint"))?;
            let material = request.material.or_else(|| step.and_then(|step| step.material.clone()));
            let known =
                bench.joints().get(&joint).cloned().ok_or_else(|| unknown("joint", joint.as_str(), "joints"))?;
            (joint, material.ok_or_else(|| missing("material"))?, known)
        };
        let gap_um = request.gap_um.unwrap_or(known.gap_um);
        let gap_um = within("gap_um", gap_um, 0.0, 5000.0, "µm", "a good fit is about 100 µm")?;
        let state = JointState { gap_um, film_um: 0.0, porosity: request.porosity.unwrap_or(known.porosity) };
        let begun = CureBegun {
            id: request.id.unwrap_or_else(|| new_id('g')),
            cure_kind: CureKind::GlueUp,
            instrument: known.instrument,
            job: request.job,
            step: request.step,
            joint: Some(joint),
            surface: None,
            material,
            // Filled in from the rule below.
            rule_version: rules::Rule::version_of(""),
            mode: String::new(),
            lot: request.lot,
            used: request.used,
            zone: request.zone,
            clamps: request.clamps,
            started_at: instant(when.ms(now_ms)?),
            joint_state: state,
            milestones: vec![],
            bearing: None,
            limits: vec![],
            findings: vec![],
            coat: None,
            mix: request.mix,
        };
        self.cure(begun, request.surface_temp_c)
    }

    /// Adds what the rule in force says, and what surface, bottle and pot say.
    pub(crate) fn cure(&self, mut begun: CureBegun, surface_temp_c: Option<f64>) -> Result<CureBegun, Problem> {
        let surface_temp_c = surface_temp_c.map(TempC::new).transpose();
        let surface_temp_c = surface_temp_c.map_err(|e| Problem::from(e).about("surface_temp_c"))?.map(TempC::get);
        let started_ms = begun.started_at.timestamp_millis();
        let (version, air, lot) = {
            let bench = self.bench();
            let version = bench.in_force().get(&begun.material).cloned();
            let version = version.ok_or_else(|| unknown("material", begun.material.as_str(), "materials"))?;
            let air = bench.air_at(begun.zone.as_str(), started_ms);
            let air = air.ok_or_else(|| unknown("zone", begun.zone.as_str(), "zones"))?;
            (version, air, begun.lot.as_ref().and_then(|lot| bench.lots().get(lot)).cloned())
        };
        let rule = self.rulebook.rule(&version)?;
        let surface = Surface::new(air, surface_temp_c);
        let retarded = begun.coat.as_ref().and_then(|laid| retarded(&rule, laid.retarder_parts));
        let touching = retarded.map_or(surface.air(), |retarder| retarder.air(surface.air()));
        let said = self.shared.meters.timed("application", || rule.application(touching, &begun.joint_state))?;
        begun.rule_version = version;
        begun.mode = said.mode;
        begun.milestones = said.milestones;
        begun.bearing = said.bearing;
        begun.limits = retarded.map_or_else(|| rule.limits.clone(), |retarder| retarder.limits(&rule.limits));
        begun.findings = said.findings;
        begun.findings.extend(surface.findings(begun.cure_kind));
        begun.findings.extend(lot.and_then(|lot| stale(&lot, rule.sheet.storage_days, begun.started_at)));
        begun.findings.extend(self.out_of_pot(&begun, &rule));
        Ok(begun)
    }
}

/// What the retarder in a coat does for it, if its finish may be retarded.
fn retarded(rule: &rules::Rule, parts: f64) -> Option<Retarder> {
    let sheet = rule.sheet.film.as_ref()?.retarder?;
    Retarder::new(&rule.limits, sheet.up_to_rh_pct, parts)
}

/// What to say of a bottle past its time.
pub(crate) fn stale(lot: &facts::LotAdded, storage_days: Option<f64>, at: DateTime<Utc>) -> Option<Finding> {
    let finding = |what: String| Finding {
        level: Level::Caution,
        what,
        mend: "try it on scrap first, or open a fresh one; the data sheet of the product decides".into(),
    };
    if let Some(best_before) = lot.best_before.filter(|best_before| at > *best_before) {
        let day = best_before.date_naive();
        return Some(finding(format!("lot \"{}\" was good until {day}", lot.id)));
    }
    let open_days = (at - lot.opened_at?).num_days();
    let keeps = storage_days.filter(|days| open_days as f64 > *days)?;
    Some(finding(format!(
        "lot \"{}\" has been open for {open_days} days; opened, this class keeps about {keeps:.0}",
        lot.id
    )))
}

pub(crate) fn step_of<'a>(
    bench: &'a clock::Bench,
    job: Option<&JobId>,
    step: Option<&StepId>,
) -> Option<&'a facts::Step> {
    let steps = &bench.jobs().get(job?)?.opened.steps;
    steps.iter().find(|of_job| Some(&of_job.id) == step)
}

pub(crate) fn missing(field: &str) -> Problem {
    Problem::new(Kind::Invalid, format!("{field} is missing"), "send it, or name a job step that has it").about(field)
}

pub(crate) fn unknown(what: &'static str, id: &str, route: &str) -> Problem {
    let detail = format!("there is no {what} \"{id}\"");
    Problem::new(Kind::UnknownReference, detail, format!("GET /api/v1/{route} lists what there is")).about(what)
}
