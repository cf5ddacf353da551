//! From what a luthier says of a coat to the fact it is: the film it makes, what the coats beneath still hold, whether the
//! window to recoat was open, and when its closing is to be told.

use chrono::{DateTime, Utc};
use clock::{Bench, Later, Law, RecoatWindow, harden_later, set_later};
use facts::{
    Amount, CoatBeneath, CoatExposed, CoatLaid, CureBegun, CureId, CureKind, Finding, InstrumentId, JobId, JointState,
    Level, LotId, MaterialId, Meets, Method, MixId, Porosity, StepId, TargetAge, ZoneId, within,
};
use rules::{FilmSheet, Rule};
use serde::Deserialize;

use crate::{
    alerts::words::broken,
    compose::{When, missing, new_id, step_of},
    now::instant,
    problem::{Kind, Problem},
    state::State,
};

/// Air over a film in a room nobody fans, m/s. Common practice, no source.
const STILL_AIR_M_S: f64 = 0.1;
/// Minutes the next coat takes to prepare where nobody says. Common practice, no source.
const PREPARE_MIN: f64 = 30.0;

/// Thinnest wet film that is no slip of the unit, µm: a mist coat is twice as thick. Common practice, no source.
const LEAST_WET_UM: f64 = 5.0;

/// A coat as it is registered.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct CoatRequest {
    pub(crate) id: Option<CureId>,
    pub(crate) instrument: Option<InstrumentId>,
    pub(crate) surface: String,
    pub(crate) job: Option<JobId>,
    pub(crate) step: Option<StepId>,
    pub(crate) material: Option<MaterialId>,
    pub(crate) lot: Option<LotId>,
    /// How much was taken from that lot: {"ml": 5} or {"g": 5}.
    #[schema(value_type = Option<crate::twins::Amount>)]
    pub(crate) used: Option<Amount>,
    pub(crate) mix: Option<MixId>,
    pub(crate) zone: ZoneId,
    pub(crate) started_at: Option<DateTime<Utc>>,
    pub(crate) minutes_ago: Option<f64>,
    /// Wet film, µm, if it was measured.
    #[serde(alias = "wet_film_um")]
    pub(crate) film_um: Option<f64>,
    /// Passes, and what a litre covers in one: the wet film where it was not measured.
    pub(crate) passes: Option<f64>,
    pub(crate) spread_m2_l: Option<f64>,
    #[schema(value_type = Option<crate::twins::Method>)]
    pub(crate) method: Option<Method>,
    /// Parts to one of finish, by volume.
    #[serde(default)]
    pub(crate) thinner_parts: f64,
    #[serde(default)]
    pub(crate) retarder_parts: f64,
    /// Whether the coat beneath was abraded first.
    pub(crate) abraded: Option<bool>,
    /// Exposure of a film that light cures, mJ/cm².
    pub(crate) exposure_mj_cm2: Option<f64>,
    /// Air moved over it, m/s.
    pub(crate) air_m_s: Option<f64>,
    /// How long the next coat takes to prepare, minutes.
    pub(crate) prepare_min: Option<f64>,
    #[schema(value_type = Option<crate::twins::Porosity>)]
    pub(crate) porosity: Option<Porosity>,
    /// Temperature of the surface, °C, if it was measured; that of the air if not.
    pub(crate) surface_temp_c: Option<f64>,
}

impl CoatRequest {
    /// A coat on a surface of which nothing more is said.
    pub(crate) fn on(surface: &str, zone: ZoneId) -> Self {
        Self {
            surface: surface.into(),
            zone,
            id: None,
            instrument: None,
            job: None,
            step: None,
            material: None,
            lot: None,
            used: None,
            mix: None,
            started_at: None,
            minutes_ago: None,
            film_um: None,
            passes: None,
            spread_m2_l: None,
            method: None,
            thinner_parts: 0.0,
            retarder_parts: 0.0,
            abraded: None,
            exposure_mj_cm2: None,
            air_m_s: None,
            prepare_min: None,
            porosity: None,
            surface_temp_c: None,
        }
    }

    /// Its wet film, µm; 0 where nobody said anything of it.
    fn wet_film_um(&self) -> Result<f64, Problem> {
        let wet_um = match (self.film_um, self.passes, self.spread_m2_l) {
            (Some(film_um), None, None) => film_um,
            (None, Some(passes), Some(spread_m2_l)) => {
                let passes = within("passes", passes, 0.5, 50.0, "", "a double pass counts as two")?;
                let mend = "one litre covers 5 m² as a flood coat and 50 m² as a mist";
                1000.0 * passes / within("spread_m2_l", spread_m2_l, 1.0, 200.0, "m²/l", mend)?
            }
            (None, None, None) => return Ok(0.0),
            (None, ..) => {
                let (what, mend) = ("passes and spread_m2_l go together", "send both, or film_um");
                return Err(Problem::new(Kind::Invalid, what, mend).about("spread_m2_l"));
            }
            (Some(_), ..) => {
                let what = "both film_um and passes are given";
                return Err(Problem::new(Kind::Invalid, what, "send one of them").about("film_um"));
            }
        };
        Ok(within("film_um", wet_um, LEAST_WET_UM, 2000.0, "µm", "a wet coat is 50 to 150 µm; 0.1 mm are 100 µm")?)
    }

    /// How it was laid, without the film.
    fn laid(&self) -> Result<CoatLaid, Problem> {
        let by_volume = "parts to one of finish, by volume: a tenth is 0.1";
        let exposure = |value| within("exposure_mj_cm2", value, 0.0, 1e5, "mJ/cm²", "the lamp's data sheet says it");
        Ok(CoatLaid {
            method: self.method,
            abraded: self.abraded,
            thinner_parts: within("thinner_parts", self.thinner_parts, 0.0, 5.0, "", by_volume)?,
            retarder_parts: within("retarder_parts", self.retarder_parts, 0.0, 1.0, "", by_volume)?,
            exposure_mj_cm2: self.exposure_mj_cm2.map(exposure).transpose()?,
            wants_mj_cm2: None,
            film: None,
            beneath: vec![],
        })
    }
}

impl State {
    /// The fact a coat is, in the rule now in force.
    ///
    /// # Errors
    /// What is missing, unknown or out of range.
    pub(crate) fn coat(&self, request: CoatRequest) -> Result<CureBegun, Problem> {
        let now_ms = self.now().ms();
        let when = When { at: request.started_at, minutes_ago: request.minutes_ago };
        let (film_um, laid) = (request.wet_film_um()?, request.laid()?);
        let still = "a fan across the room makes about 0.5 m/s";
        let air_m_s = within("air_m_s", request.air_m_s.unwrap_or(STILL_AIR_M_S), 0.0, 5.0, "m/s", still)?;
        let prepare = request.prepare_min.unwrap_or(PREPARE_MIN);
        let prepare_min = within("prepare_min", prepare, 0.0, 1440.0, "min", "30 is usual")?;
        if request.surface.trim().is_empty() {
            return Err(missing("surface"));
        }
        let (instrument, material) = {
            let bench = self.bench();
            let step = step_of(&bench, request.job.as_ref(), request.step.as_ref());
            let of_job = request.job.as_ref().and_then(|job| bench.jobs().get(job));
            let instrument = request.instrument.or_else(|| of_job.map(|job| job.opened.instrument.clone()));
            let material = request.material.or_else(|| step.and_then(|step| step.material.clone()));
            (instrument.ok_or_else(|| missing("instrument"))?, material.ok_or_else(|| missing("material"))?)
        };
        let begun = CureBegun {
            id: request.id.unwrap_or_else(|| new_id('c')),
            cure_kind: CureKind::Coat,
            instrument,
            job: request.job,
            step: request.step,
            joint: None,
            surface: Some(request.surface.trim().into()),
            material,
            rule_version: Rule::version_of(""),
            mode: String::new(),
            lot: request.lot,
            used: request.used,
            zone: request.zone,
            clamps: vec![],
            started_at: instant(when.ms(now_ms)?),
            joint_state: JointState { gap_um: 0.0, film_um, porosity: request.porosity.unwrap_or_default() },
            milestones: vec![],
            bearing: None,
            limits: vec![],
            findings: vec![],
            coat: Some(laid),
            mix: request.mix,
        };
        let mut begun = self.cure(begun, request.surface_temp_c)?;
        let rule = self.rulebook.rule(&begun.rule_version)?;
        let bench = self.bench();
        if let Some(sheet) = &rule.sheet.film {
            let law = rule.law(&begun.mode)?;
            film(&bench, &mut begun, sheet, &law, air_m_s);
        }
        let ahead_h = self.reference_h(&bench, &rule, &begun.mode, &begun.zone, prepare_min / 60.0);
        for milestone in begun.milestones.iter_mut().filter(|m| m.meets == Meets::Closes) {
            milestone.ahead_h = ahead_h.min(milestone.earliest_h);
        }
        let said = on_what(self, &bench, &begun);
        begun.findings.extend(said);
        Ok(begun)
    }

    /// The fact that more light on a coat is: what was found of it before, with what was said of its light put right.
    ///
    /// # Errors
    /// No such coat, or an exposure out of range.
    pub(crate) fn exposed(&self, cure: &CureId, exposure_mj_cm2: f64) -> Result<CoatExposed, Problem> {
        let mend = "the lamp's data sheet says it";
        let exposure_mj_cm2 = within("exposure_mj_cm2", exposure_mj_cm2, 0.1, 1e5, "mJ/cm²", mend)?;
        let begun = {
            let bench = self.bench();
            let cure = bench.cure(cure.as_str()).ok_or_else(|| Problem::not_found("coat", cure.as_str()))?;
            cure.begun.clone()
        };
        let rule = self.rulebook.rule(&begun.rule_version)?;
        let sheet = rule.sheet.film.as_ref();
        let mut findings = begun.findings.clone();
        if let (Some(laid), Some((sheet, exposure))) = (&begun.coat, sheet.and_then(|s| Some((s, s.exposure?)))) {
            let wet_um = if begun.joint_state.film_um > 0.0 { begun.joint_state.film_um } else { sheet.usual_wet_um };
            let before = said_of_light(laid.exposure_mj_cm2, exposure, wet_um);
            findings.retain(|finding| Some(finding) != before.as_ref());
            let sum = laid.exposure_mj_cm2.unwrap_or(0.0) + exposure_mj_cm2;
            findings.extend(said_of_light(Some(sum), exposure, wet_um));
        }
        Ok(CoatExposed { cure: cure.clone(), exposure_mj_cm2, findings })
    }

    /// What so many hours on the wall are worth at most on a rule's clock in a zone, as far as is foreseen.
    pub(crate) fn reference_h(&self, bench: &Bench, rule: &Rule, mode: &str, zone: &ZoneId, hours: f64) -> f64 {
        let Ok(law) = rule.law(mode) else { return hours };
        let foreseen = bench.outlook(zone.as_str()).map(|outlook| outlook.steps.iter().map(|step| law(step.air)));
        hours * foreseen.map_or(1.0, |rates| rates.fold(0.0, f64::max))
    }
}

/// The film a coat makes, what lies beneath it, and what both do to its target ages.
fn film(bench: &Bench, begun: &mut CureBegun, sheet: &FilmSheet, law: &Law, air_m_s: f64) {
    let wet_um = if begun.joint_state.film_um > 0.0 { begun.joint_state.film_um } else { sheet.usual_wet_um };
    let surface = begun.surface.clone().unwrap_or_default();
    let beneath = bench.beneath(&begun.instrument, &surface, begun.started_at.timestamp_millis());
    let Some(laid) = &begun.coat else { return };
    let (retarder_parts, given_mj_cm2) = (laid.retarder_parts, laid.exposure_mj_cm2);
    let extra = 1.0 + laid.thinner_parts + laid.retarder_parts;
    let (solids, thinned) = (sheet.solids_pct / 100.0, sheet.solids_pct / 100.0 / extra);
    let dry_um = (wet_um * thinned).max(0.1);
    let coat = CoatBeneath {
        dry_um,
        solvent_um: dry_um * sheet.trapped_pct / 100.0,
        diffusion_um2_h: sheet.diffusion_um2_h,
        sets_h: sheet.sets_h,
    };
    // More to leave in a film as thick, slower where it is retarded, faster in a draught.
    let more = if solids < 1.0 { (1.0 - thinned) / (1.0 - solids) } else { 1.0 };
    let retarded = sheet.retarder.map_or(1.0, |retarder| 1.0 + (retarder.slows - 1.0) * retarder_parts / 0.1);
    let draught = physics::film::draught_factor(air_m_s, STILL_AIR_M_S).unwrap_or(1.0);
    set_later(&mut begun.milestones, more * retarded / draught);
    let alone = begun.milestones.clone();
    let Later { carried_um, later_h } = harden_later(&mut begun.milestones, coat, &beneath);
    if carried_um >= 0.05 && later_h >= 0.1 {
        let by = later_on_the_wall_h(bench, begun, law, &alone).map(|hours| format!(", by about {hours:.0} h"));
        begun.findings.push(Finding {
            level: Level::Note,
            what: format!(
                "The coats beneath still hold {carried_um:.1} µm of solvent: the stack hardens later{}.",
                by.unwrap_or_default()
            ),
            mend: "fewer coats a day leave less of it behind".into(),
        });
    }
    if sheet.retarder.is_none() && retarder_parts > 0.0 {
        begun.findings.push(caution(
            "This finish is not made to be retarded.",
            "warm it and dry the air instead; the product's data sheet decides",
        ));
    }
    if let Some(exposure) = sheet.exposure {
        begun.findings.extend(said_of_light(given_mj_cm2, exposure, wet_um));
    }
    if let Some(laid) = &mut begun.coat {
        laid.wants_mj_cm2 = sheet.exposure.map(|exposure| wanted_mj_cm2(exposure, wet_um));
        laid.film = Some(coat);
        laid.beneath = beneath;
    }
}

/// How much later the last stage comes than by its own target age, hours on the wall in the air that is foreseen; none where
/// that never brings it.
fn later_on_the_wall_h(bench: &Bench, begun: &CureBegun, law: &Law, alone: &[TargetAge]) -> Option<f64> {
    let last = |stages: &[TargetAge]| stages.iter().max_by(|a, b| a.likely_h.total_cmp(&b.likely_h)).cloned();
    let targets = [last(alone)?, last(&begun.milestones)?];
    let times = bench.foreseen(begun.zone.as_str(), law, begun.started_at.timestamp_millis(), &targets);
    let likely_ms = |i: usize| times.get(i)?[1];
    Some((likely_ms(1)? - likely_ms(0)?) as f64 / 3.6e6)
}

/// Exposure that hardens the whole of a film, mJ/cm²; more than any lamp gives where no formula reaches.
fn wanted_mj_cm2(sheet: rules::ExposureSheet, wet_um: f64) -> f64 {
    let wanted = physics::film::cure_exposure_mj_cm2(wet_um, sheet.critical_mj_cm2, sheet.penetration_um);
    wanted.unwrap_or(f64::MAX).min(f64::MAX)
}

/// What to say of the exposure of a film that light cures.
fn said_of_light(given_mj_cm2: Option<f64>, sheet: rules::ExposureSheet, wet_um: f64) -> Option<Finding> {
    let Some(given) = given_mj_cm2 else {
        let mend = "say it once it has had it: without light it stays wet, and no time of it is told";
        return Some(caution("Nobody said how much light it got.", mend));
    };
    let depth_um = physics::film::cure_depth_um(given, sheet.critical_mj_cm2, sheet.penetration_um).unwrap_or(0.0);
    (depth_um < wet_um).then(|| Finding {
        level: Level::Defect,
        what: format!("{given:.0} mJ/cm² harden {depth_um:.0} µm of its {wet_um:.0} µm: beneath it is wet."),
        mend: "expose it again before anything goes over it, or fill in thinner layers".into(),
    })
}

/// What to say of the coat this one is laid on.
fn on_what(state: &State, bench: &Bench, begun: &CureBegun) -> Vec<Finding> {
    let at_ms = begun.started_at.timestamp_millis();
    let surface = begun.surface.as_deref().unwrap_or_default();
    let Some(top) = bench.top_coat(&begun.instrument, surface, at_ms) else { return vec![] };
    let abraded = begun.coat.as_ref().and_then(|coat| coat.abraded);
    let mut said = Vec::new();
    if let (RecoatWindow::Closed(closed_ms), Some(false)) = (bench.recoat_window(top, at_ms), abraded) {
        said.push(Finding {
            level: Level::Defect,
            what: format!("The window to recoat closed {}, and it was not abraded.", state.rfc3339(closed_ms)),
            mend: "it may peel: test its hold on an edge, and abrade before any further coat".into(),
        });
    }
    for (limit, since_ms, air) in bench.broken_limits(top, at_ms) {
        let what = format!("The coat beneath, {}.", broken(state, limit, since_ms, air));
        said.push(caution(&what, "what is wrong with it is locked in by this one: look at it first, and mend it"));
    }
    if top.waits_for_light() {
        said.push(Finding {
            level: Level::Defect,
            what: "The coat beneath has not had its light: it is wet.".into(),
            mend: "take this one off, expose the one beneath, and lay it again".into(),
        });
        return said;
    }
    let milestones = bench.milestones(top, at_ms);
    let opens = milestones.iter().find(|m| m.target.stage == "recoat_opens").filter(|_| top.is_open());
    if let Some(opens) = opens.filter(|opens| opens.likely_ms.is_none_or(|ms| ms > at_ms)) {
        let ready = opens.likely_ms.map_or_else(|| "not in this air".into(), |ms| state.rfc3339(ms));
        said.push(caution(
            &format!("The coat beneath was not ready for it (likely {ready})."),
            "it may wrinkle or trap solvent: give this one longer than it asks for",
        ));
    }
    said
}

fn caution(what: &str, mend: &str) -> Finding {
    Finding { level: Level::Caution, what: what.into(), mend: mend.into() }
}
