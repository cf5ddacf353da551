//! One version of a rule: its text compiled, what it says of the material, and the laws sampled from it.

use std::{
    collections::HashMap,
    sync::{Arc, Mutex, PoisonError},
};

use facts::{Bearing, Finding, JointState, Limit, TargetAge, VersionId};
use rhai::Dynamic;
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};

use clock::{Air, Law};

use crate::{
    ExpectedRow, Fault, Host, MaterialSheet, apart,
    bearing::{STRING_UP, least_wait},
    contract::{FindingSheet, MilestoneSheet, air_map, joint_map, read},
    deadline, expected,
    fitted::Fitted,
    host::{Compiled, LIMITS, as_rate},
    many::Parting,
    table::RateTable,
};

/// Milestones of so many different joints are remembered; far more than a shop has joints open.
const REMEMBERED: usize = 512;

/// Temperatures asked about in a loop of one call: enough that what a call costs by itself does not count, and few enough that
/// an ordinary script keeps the limits of one call over all of them.
const LOT_TEMPS: usize = 23;

/// A rule that may be put in force: it keeps the contract and meets its own expected values.
pub struct Rule {
    /// Hash of its text.
    pub version: VersionId,
    /// What it says of the material.
    pub sheet: MaterialSheet,
    /// The airs that spoil it, as the clock watches them.
    pub limits: Vec<Limit>,
    host: Arc<Host>,
    script: Compiled,
    /// What was fitted at the bench and accepted.
    fitted: Option<Fitted>,
    /// Laws of the sheet by mode, sampled when first needed.
    laws: Mutex<HashMap<String, Law>>,
    /// Answers of `mode` and `milestones` for joints asked about lately; both are pure functions of the joint.
    answers: Mutex<HashMap<[u64; 3], ForJoint>>,
}

#[derive(Clone)]
struct ForJoint {
    mode: String,
    milestones: Arc<[TargetAge]>,
    /// The least wait before strings as the sheet has it; what follows from it is in `bearing`.
    least: Option<TargetAge>,
    bearing: Option<Bearing>,
}

/// What a rule says of one application: everything a glue-up or coat takes into its fact.
#[derive(Debug, Clone, PartialEq)]
pub struct Application {
    /// The law it cures by; empty when the rule has one law only.
    pub mode: String,
    /// Its milestones.
    pub milestones: Vec<TargetAge>,
    /// What it needs before strings, if it bears load.
    pub bearing: Option<Bearing>,
    /// What was found at application.
    pub findings: Vec<Finding>,
}

impl Rule {
    /// The version id of a text: the first 16 hex digits of its SHA-256.
    pub fn version_of(text: &str) -> VersionId {
        let hash = Sha256::digest(text.as_bytes());
        let hex: String = hash.iter().take(8).map(|byte| format!("{byte:02x}")).collect();
        VersionId::new(hex).expect("hex digits make a version id")
    }

    /// Compiles a text and reads its `material()`. Enough to go on with cures of a version that was in force.
    ///
    /// # Errors
    /// A [`Fault`] with file, line and column.
    pub fn compile(host: &Arc<Host>, file: &str, text: &str) -> Result<Self, Fault> {
        let script = host.compile(file, text)?;
        for (function, arities) in [("material", 0..=0), ("rate", 1..=2), ("milestones", 1..=1), ("expected", 0..=0)] {
            let given = script.functions.get(function);
            if !given.is_some_and(|n| arities.contains(n)) {
                return Err(Fault::whole(
                    file,
                    format!("there is no fn {function} with {} argument(s)", arities.start()),
                    "scripts/README.md shows the functions every rule has",
                ));
            }
        }
        for (function, arity) in [("mode", 1), ("strength", 2), ("checks", 2), ("fitted", 0)] {
            if script.functions.get(function).is_some_and(|n| *n != arity) {
                return Err(Fault::whole(
                    file,
                    format!("fn {function} takes {arity} argument(s)"),
                    "scripts/README.md shows the functions a rule may have",
                ));
            }
        }
        if (script.functions["rate"] == 2) != script.functions.contains_key("mode") {
            return Err(Fault::whole(
                file,
                "fn rate(air, mode) and fn mode(joint) go together",
                "give both, or neither with fn rate(air)",
            ));
        }
        let sheet: MaterialSheet = ask(host, &script, "material", vec![])?;
        if sheet.creep_hold_h.is_some_and(|hours| !(0.0..=24.0 * 366.0).contains(&hours)) {
            return Err(Fault::whole(file, "creep_hold_h must be 0 to 8784", "48 is usual for a glue that creeps"));
        }
        let fitted = match script.functions.contains_key("fitted") {
            true => Some(ask(host, &script, "fitted", vec![])?),
            false => None,
        };
        let limits = sheet.limits.iter().map(|limit| limit.limit()).collect::<Result<_, _>>();
        let limits = limits.map_err(|what| Fault::whole(file, what, "correct the limit in material()"))?;
        let film = sheet.film.as_ref().map_or(Ok(()), crate::FilmSheet::check);
        let mix = sheet.mix.as_ref().map_or(Ok(()), |mix| mix.check(sheet.working_life_min));
        film.and(mix).map_err(|what| Fault::whole(file, what, "correct film or mix in material()"))?;
        Ok(Self {
            version: Self::version_of(text),
            sheet,
            limits,
            host: host.clone(),
            script,
            fitted,
            laws: Mutex::default(),
            answers: Mutex::default(),
        })
    }

    /// Compiles a text and holds it against everything a rule must keep before it may be put in force: a rate of 1
    /// at its reference, a rate for every air of a workshop, milestones, strength, checks, and its own expected values.
    ///
    /// # Errors
    /// A [`Fault`] that names the line, the air or the expected row.
    pub fn check(host: &Arc<Host>, file: &str, text: &str) -> Result<Self, Fault> {
        let (rule, rows) = Self::judged(host, file, text)?;
        match rows.iter().find(|row| !row.met) {
            Some(row) => Err(rule.fault(row.said())),
            None => Ok(rule),
        }
    }

    /// The same, but what becomes of the expected values is for the caller to judge.
    ///
    /// # Errors
    /// A [`Fault`] that names the line or the air, or says that a row cannot be run at all.
    pub fn judged(host: &Arc<Host>, file: &str, text: &str) -> Result<(Self, Vec<ExpectedRow>), Fault> {
        apart::run(file, || {
            let rule = Self::compile(host, file, text)?;
            let rows = deadline::within(LIMITS.judging, || rule.judge())?;
            Ok((rule, rows))
        })
    }

    fn judge(&self) -> Result<Vec<ExpectedRow>, Fault> {
        self.sheet.check().map_err(|what| self.fault(what))?;
        let joint = JointState { gap_um: 100.0, film_um: 100.0, porosity: facts::Porosity::Normal };
        let reference = Air { temp_c: self.sheet.reference.temp_c, rh_pct: self.sheet.reference.rh_pct };
        let of_joint = self.for_joint(&joint)?;
        let rate = self.rate(reference, &of_joint.mode)?;
        if of_joint.mode.is_empty() && (rate - 1.0).abs() > 0.01 {
            return Err(Fault::whole(
                &self.script.file,
                format!("rate is {rate:.4} at the reference air; it must be 1"),
                "divide by the value at the reference, or correct the reference in material()",
            ));
        }
        if let Some(fitted) = &self.fitted {
            fitted.check(&of_joint.milestones).map_err(|what| self.fault(what))?;
        }
        self.law(&of_joint.mode)?;
        if let Some(mix) = &self.sheet.mix {
            self.law(&mix.mode)?;
        }
        self.application(reference, &joint)?;
        for age_h in of_joint.milestones.iter().map(|m| m.likely_h).chain([0.0]) {
            self.strength(age_h, &joint)?;
        }
        expected::run(self)
    }

    /// The law of one mode, with what was fitted.
    ///
    /// # Errors
    /// A [`Fault`] that names the first air for which the script has no rate.
    pub fn law(&self, mode: &str) -> Result<Law, Fault> {
        let law = self.sheet_law(mode)?;
        let Some(fitted) = self.fitted.clone().filter(|fitted| (fitted.per_10_k - 1.0).abs() > 0.0) else {
            return Ok(law);
        };
        let reference = self.sheet.reference;
        Ok(Arc::new(move |air| law(air) * fitted.warmth(air, &reference)))
    }

    /// The law of one mode as the sheet has it, sampled once.
    ///
    /// # Errors
    /// A [`Fault`] that names the first air for which the script has no rate.
    pub fn sheet_law(&self, mode: &str) -> Result<Law, Fault> {
        let mut laws = self.laws.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(law) = laws.get(mode) {
            return Ok(law.clone());
        }
        let table = apart::run(&self.script.file, || {
            deadline::within(LIMITS.judging, || RateTable::sample(|temps, rhs| self.rates(temps, rhs, mode)))
        })?;
        let law: Law = Arc::new(move |air| table.rate(air));
        laws.insert(mode.into(), law.clone());
        Ok(law)
    }

    /// What the rule says of this joint or coat, applied in this air.
    ///
    /// # Errors
    /// A [`Fault`] when the script fails on it.
    pub fn application(&self, air: Air, joint: &JointState) -> Result<Application, Fault> {
        apart::run(&self.script.file, || self.applied(air, joint))
    }

    fn applied(&self, air: Air, joint: &JointState) -> Result<Application, Fault> {
        let ForJoint { mode, milestones, bearing, .. } = self.for_joint(joint)?;
        let findings = match self.script.functions.contains_key("checks") {
            false => Vec::new(),
            true => {
                let sheets: Vec<FindingSheet> = self.ask("checks", vec![air_map(air), joint_map(joint)])?;
                sheets.into_iter().map(Finding::from).collect()
            }
        };
        let milestones = milestones.iter().map(|target| self.with_fit(target)).collect();
        Ok(Application { mode, milestones, bearing, findings })
    }

    /// Share of full strength at an age, 0 to 1; none when the rule bears no load.
    ///
    /// # Errors
    /// A [`Fault`] when the script fails or answers outside 0 to 1.
    pub fn strength(&self, age_h: f64, joint: &JointState) -> Result<Option<f64>, Fault> {
        if !self.script.functions.contains_key("strength") {
            return Ok(None);
        }
        let slower = self.fitted.as_ref().map_or(1.0, Fitted::slower);
        let share: f64 = self.ask("strength", vec![(age_h / slower).into(), joint_map(joint)])?;
        match (0.0..=1.0).contains(&share) {
            true => Ok(Some(share)),
            false => Err(self.fault(format!("strength({age_h}) is {share}; it must be 0 to 1"))),
        }
    }

    /// The mode and target age the sheet gives a stage of this joint or coat; none where it has no such stage.
    ///
    /// # Errors
    /// A [`Fault`] when the script fails on it.
    pub fn sheet_target(&self, joint: &JointState, stage: &str) -> Result<Option<(String, TargetAge)>, Fault> {
        let ForJoint { mode, milestones, least, .. } = self.for_joint(joint)?;
        let least = least.as_ref().filter(|_| stage == STRING_UP);
        let found = milestones.iter().find(|target| target.stage == stage).or(least);
        Ok(found.map(|target| (mode, target.clone())))
    }

    /// The target age of a stage of this joint or coat, with what was fitted; none where it has no such stage.
    ///
    /// # Errors
    /// A [`Fault`] when the script fails on it.
    pub fn target(&self, joint: &JointState, stage: &str) -> Result<Option<TargetAge>, Fault> {
        Ok(self.sheet_target(joint, stage)?.map(|(_, target)| self.with_fit(&target)))
    }

    fn with_fit(&self, target: &TargetAge) -> TargetAge {
        self.fitted.as_ref().map_or_else(|| target.clone(), |fitted| fitted.target(target.clone()))
    }

    /// A least wait that was not fitted itself is put later with the strength, and never sooner.
    fn least_with_fit(&self, least: &TargetAge) -> TargetAge {
        let by = self.fitted.as_ref().map_or(1.0, Fitted::slower).max(1.0);
        match self.with_fit(least) {
            same if same == *least => TargetAge {
                earliest_h: least.earliest_h * by,
                likely_h: least.likely_h * by,
                safe_h: least.safe_h * by,
                ..same
            },
            fitted => fitted,
        }
    }

    fn for_joint(&self, joint: &JointState) -> Result<ForJoint, Fault> {
        let key = [joint.gap_um.to_bits(), joint.film_um.to_bits(), joint.porosity as u64];
        let remembered = |answers: &HashMap<_, ForJoint>| answers.get(&key).cloned();
        if let Some(answer) = remembered(&self.answers.lock().unwrap_or_else(PoisonError::into_inner)) {
            return Ok(answer);
        }
        let mode = match self.script.functions.contains_key("mode") {
            false => String::new(),
            true => self.ask("mode", vec![joint_map(joint)])?,
        };
        let sheets: Vec<MilestoneSheet> = self.ask("milestones", vec![joint_map(joint)])?;
        let targets: Result<Vec<_>, _> = sheets.into_iter().map(MilestoneSheet::target).collect();
        let mut milestones = targets.map_err(|what| self.fault(what))?;
        let twice = |i: usize| milestones[..i].iter().any(|other| other.stage == milestones[i].stage);
        if milestones.is_empty() || milestones.len() > 24 || (0..milestones.len()).any(twice) {
            return Err(self.fault("milestones must be 1 to 24 stages, each once".into()));
        }
        let least = least_wait(&mut milestones);
        let fitted: Vec<_> = milestones.iter().map(|target| self.with_fit(target)).collect();
        let bearing = self.bearing(joint, &fitted, least.as_ref().map(|least| self.least_with_fit(least)))?;
        let answer = ForJoint { mode, milestones: milestones.into(), least, bearing };
        let mut answers = self.answers.lock().unwrap_or_else(PoisonError::into_inner);
        if answers.len() >= REMEMBERED {
            answers.clear();
        }
        answers.insert(key, answer.clone());
        Ok(answer)
    }

    /// The rate the script itself gives in one air; a law is a table of these.
    ///
    /// # Errors
    /// A [`Fault`] when the script fails on it, or answers with something else than a number from 0 up.
    pub fn rate(&self, air: Air, mode: &str) -> Result<f64, Fault> {
        let args = [air_map(air)].into_iter().chain(self.given(mode).map(Into::into)).collect();
        let answer = self.host.call(&self.script, "rate", args)?;
        as_rate(&answer).ok_or_else(|| {
            let (temp_c, rh_pct) = (air.temp_c, air.rh_pct);
            let at = format!("at {temp_c:.1} °C and {rh_pct:.1} % RH");
            self.fault(format!("rate is {answer} {at}; it must be a number from 0 up"))
        })
    }

    /// The rates at each of these temperatures in each of these humidities, in that order: in one call, or in one for each
    /// side where they part at a comparison; those that cannot be asked about together in other ways.
    fn rates(&self, temps: &[f64], rhs: &[f64], mode: &str) -> Result<Vec<f64>, Fault> {
        let parting = match self.host.rates_of_many(&self.script, temps, rhs, self.given(mode)) {
            Ok(rates) => return Ok(rates),
            Err(parting) => parting,
        };
        let (temps_at, rhs_at) = match parting {
            Some(Parting::Temps(at)) => (at, 0),
            Some(Parting::Rhs(at)) => (0, at),
            Some(Parting::Both) if temps.len() >= rhs.len() => (temps.len() / 2, 0),
            Some(Parting::Both) => (0, rhs.len() / 2),
            None => (0, 0),
        };
        if (1..temps.len()).contains(&temps_at) {
            let (colder, warmer) = temps.split_at(temps_at);
            return Ok([self.rates(colder, rhs, mode)?, self.rates(warmer, rhs, mode)?].concat());
        }
        if (1..rhs.len()).contains(&rhs_at) {
            let (drier, damper) = rhs.split_at(rhs_at);
            let halves = (self.rates(temps, drier, mode)?, self.rates(temps, damper, mode)?);
            return Ok(side_by_side(halves.0.chunks(drier.len()), halves.1.chunks(damper.len())));
        }
        self.rates_along(temps, rhs, mode)
    }

    /// The same, some temperatures in a call, and one in a call where that is no answer: for the fault of whichever air has
    /// no rate; and from then on one by one, because the limit of one call then holds all of them.
    fn rates_along(&self, temps: &[f64], rhs: &[f64], mode: &str) -> Result<Vec<f64>, Fault> {
        let mut along = true;
        let mut rates = Vec::with_capacity(temps.len() * rhs.len());
        for temps in temps.chunks(LOT_TEMPS) {
            let mut of_rh = |rh_pct: f64| {
                let at_once = || self.host.rates_along(&self.script, temps, rh_pct, self.given(mode));
                if let Some(rates) = along.then(at_once).flatten() {
                    return Ok(rates);
                }
                along = false;
                temps.iter().map(|temp_c| self.rate(Air { temp_c: *temp_c, rh_pct }, mode)).collect()
            };
            let by_rh = rhs.iter().map(|rh_pct| of_rh(*rh_pct)).collect::<Result<Vec<Vec<f64>>, Fault>>()?;
            rates.extend((0..temps.len()).flat_map(|t| by_rh.iter().map(move |of_rh| of_rh[t])));
        }
        Ok(rates)
    }

    /// The mode as `rate` takes it: not at all where the rule has one law only.
    fn given<'m>(&self, mode: &'m str) -> Option<&'m str> {
        (self.script.functions["rate"] == 2).then_some(mode)
    }

    pub(crate) fn milestone(&self, joint: &JointState, stage: &str) -> Result<(String, f64, f64), Fault> {
        let found = self.sheet_target(joint, stage)?;
        let (mode, of_stage) = found.ok_or_else(|| self.fault(format!("there is no stage \"{stage}\"")))?;
        Ok((mode, of_stage.likely_h, of_stage.floor_h))
    }

    pub(crate) fn ask<T: DeserializeOwned>(&self, function: &str, args: Vec<Dynamic>) -> Result<T, Fault> {
        ask(&self.host, &self.script, function, args)
    }

    pub(crate) fn fault(&self, what: String) -> Fault {
        Fault::whole(&self.script.file, what, "correct the script and save it")
    }
}

/// Rows of one table and of another, each with that beside it.
fn side_by_side<'r>(left: impl Iterator<Item = &'r [f64]>, right: impl Iterator<Item = &'r [f64]>) -> Vec<f64> {
    left.zip(right).flat_map(|(left, right)| [left, right].concat()).collect()
}

fn ask<T: DeserializeOwned>(host: &Host, script: &Compiled, function: &str, args: Vec<Dynamic>) -> Result<T, Fault> {
    let answer = host.call(script, function, args)?;
    read(&answer).map_err(|what| {
        Fault::whole(
            &script.file,
            format!("fn {function} answered in another shape: {what}"),
            "scripts/README.md shows what each function gives back",
        )
    })
}
