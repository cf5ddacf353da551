//! What may be said: each fact is held against the bench before it is committed. A fact that passes is never
//! refused later; one that does not changes nothing.

mod clamps;
mod coat;
mod day;
mod jobs;
mod lots;
mod strings;

use facts::{AirPlanned, CureBegun, CureId, CureKind, Fact, InstrumentMoved, Invalid, PlateAdded, Reading, ZoneId};

use crate::{AlertState, Bench, Refusal};

/// Longest a glue-up may lie in the past when it is registered: readings are kept about that long.
const OLDEST_MS: i64 = 366 * 24 * 3_600_000;
/// Longest an alert may be put off.
const LONGEST_SNOOZE_MS: i64 = 30 * 24 * 3_600_000;
/// How far from now a planned change of the air may begin or end: nobody knows when the booth is heated in a month.
const PLAN_REACH_MS: i64 = 14 * 24 * 3_600_000;

pub(crate) fn unknown(what: &'static str, id: &str, route: &str) -> Refusal {
    Refusal::Unknown {
        what,
        id: id.into(),
        mend: format!("GET /api/v1/{route} lists what there is; add it first if it is new"),
    }
}

pub(crate) fn conflict(what: impl Into<String>, mend: impl Into<String>) -> Refusal {
    Refusal::Conflict { what: what.into(), mend: mend.into() }
}

impl Bench {
    /// Whether a fact that happened at `happened_ms` may be said at `now_ms`.
    ///
    /// # Errors
    /// A [`Refusal`] with what is wrong and how to mend it.
    pub fn admit(&self, fact: &Fact, happened_ms: i64, now_ms: i64) -> Result<(), Refusal> {
        let when = if let Fact::CureBegun(_) = fact { "started_at" } else { "at" };
        self.not_ahead(when, happened_ms, now_ms)?;
        spoken(fact)?;
        match fact {
            Fact::ZoneSet(_) | Fact::RulePutInForce(_) => Ok(()),
            Fact::InstrumentAdded(added) => new("instrument", &added.id, self.instruments.contains_key(&added.id)),
            Fact::InstrumentMoved(moved) => self.admit_instrument_move(moved, happened_ms, now_ms),
            Fact::PlateAdded(added) => self.admit_plate(added, happened_ms, now_ms),
            Fact::JobOpened(opened) => self.admit_job(opened),
            Fact::StepDone { job, step } => self.open_job(job.as_str(), Some(step.as_str())),
            Fact::JobClosed { job } => self.open_job(job.as_str(), None),
            Fact::JobReopened { job } => match self.known_job(job.as_str())?.closed {
                true => Ok(()),
                false => Err(conflict(format!("job \"{job}\" is open"), "nothing needs recording")),
            },
            Fact::JointAdded(added) => {
                self.known_instrument(added.instrument.as_str())?;
                facts::within("gap_um", added.gap_um, 0.0, 5000.0, "µm", "a good fit is about 100 µm")?;
                new("joint", &added.id, self.joints.contains_key(&added.id))
            }
            Fact::JointLoaded(loaded) => self.admit_load(loaded),
            Fact::StringsFitted(fitted) => {
                self.known_instrument(fitted.instrument.as_str())?;
                self.not_ancient("at", happened_ms, now_ms)?;
                strings::admit_strings(fitted)
            }
            Fact::StageReached(reached) => self.admit_stage(reached, happened_ms),
            Fact::SetupMeasured(measured) => {
                self.known_instrument(measured.instrument.as_str())?;
                Ok(measured.check()?)
            }
            Fact::ClampAdded(added) => new("clamp", &added.id, self.clamps.contains_key(&added.id)),
            Fact::ClampPutAway { clamp } => self.admit_put_away(clamp),
            Fact::ClampBroughtBack { clamp } => match self.known_clamp(clamp)?.away {
                true => Ok(()),
                false => Err(conflict(format!("clamp \"{clamp}\" is in use"), "nothing needs recording")),
            },
            Fact::DaySet(set) => day::admit_day(set, now_ms),
            Fact::LotAdded(lot) => self.admit_lot(lot, now_ms),
            Fact::LotOpened { lot } => self.admit_lot_opened(lot),
            Fact::LotUsed(used) => self.admit_lot_used(used),
            Fact::LotClosed(closed) => self.admit_lot_closed(closed),
            Fact::CureBegun(begun) => self.admit_cure(begun, now_ms),
            Fact::MixMade(made) => self.admit_mix(made, happened_ms, now_ms),
            Fact::CureMoved { cure, zone } => self.admit_move(cure, zone.as_str(), happened_ms),
            Fact::ClampsOff { cure, clamps } => self.admit_clamps_off(cure, clamps),
            Fact::CureRuleChanged(change) => {
                match self.open_cure(&change.cure)?.begun.rule_version == change.rule_version {
                    true => Err(conflict(
                        format!("\"{}\" goes by version {} already", change.cure, change.rule_version),
                        "nothing needs recording",
                    )),
                    false => Ok(()),
                }
            }
            Fact::CoatExposed(exposed) => self.admit_exposure(exposed, happened_ms),
            Fact::CureWithdrawn { cure, .. } => self.open_cure(cure).map(drop),
            Fact::AlertRaised(raised) => new("alert", &raised.id, self.alerts.contains_key(&raised.id)),
            Fact::AlertSnoozed { alert, until } => {
                self.standing_alert(alert.as_str())?;
                let ahead_ms = until.timestamp_millis() - now_ms;
                if (1..=LONGEST_SNOOZE_MS).contains(&ahead_ms) {
                    return Ok(());
                }
                Err(Invalid {
                    what: "until".into(),
                    given: until.to_rfc3339(),
                    expected: "a time from now to 30 days ahead".into(),
                    mend: "send minutes, for example {\"minutes\": 30}".into(),
                }
                .into())
            }
            Fact::AlertAcknowledged { alert } | Fact::AlertRetracted { alert, .. } => {
                self.standing_alert(alert.as_str())
            }
            Fact::AlertRepeated { alert } => self.snoozed_alert(alert.as_str()),
            Fact::HygrometerCalibrated(calibrated) => {
                self.not_ancient("at", happened_ms, now_ms)?;
                let sensor = Some(&calibrated.sensor);
                let spoke = self.zones().any(|zone| self.sensor(zone.id.as_str(), sensor).is_some());
                spoke.then_some(()).ok_or_else(|| Refusal::Unknown {
                    what: "sensor",
                    id: calibrated.sensor.to_string(),
                    mend: "send a reading that names it first; GET /api/v1/zones/{id}/sensors lists those that spoke"
                        .into(),
                })
            }
            Fact::ObservationMade(made) => self.admit_observation(made, happened_ms, now_ms),
            Fact::ObservationWithdrawn { observation, .. } => self.standing_observation(observation).map(drop),
            Fact::StepAdded { job, step } => self.admit_step(job, step),
            Fact::AirPlanned(said) => self.admit_plan(said, now_ms),
            Fact::PlanCancelled { plan } => {
                let known = self.plans.get(plan).ok_or_else(|| unknown("plan", plan.as_str(), "zones/{id}/plans"))?;
                if known.cancelled_ms.is_none() && known.until_ms() > now_ms {
                    return Ok(());
                }
                let was = if known.cancelled_ms.is_some() { "was called off already" } else { "is over" };
                Err(conflict(format!("plan \"{plan}\" {was}"), "nothing needs recording"))
            }
            Fact::NoteMade(made) => self.admit_note(made),
            Fact::PhotoAdded(added) => self.admit_photo(added),
        }
    }

    /// Whether a reading may be taken.
    ///
    /// # Errors
    /// An unknown zone, or a time in the future.
    pub fn admit_reading(&self, reading: &Reading, now_ms: i64) -> Result<(), Refusal> {
        let at_ms = reading.at.timestamp_millis();
        self.admit_offer(&reading.zone, at_ms, now_ms)?;
        self.not_ahead("at", at_ms, now_ms)
    }

    /// Whether a reading nobody has checked can be laid to a zone and a time at all.
    ///
    /// # Errors
    /// An unknown zone, or a time too long ago for anything to rest on it.
    pub fn admit_offer(&self, zone: &ZoneId, at_ms: i64, now_ms: i64) -> Result<(), Refusal> {
        self.known_zone(zone.as_str())?;
        self.not_ancient("at", at_ms, now_ms)
    }

    fn admit_instrument_move(&self, moved: &InstrumentMoved, at_ms: i64, now_ms: i64) -> Result<(), Refusal> {
        self.known_instrument(moved.instrument.as_str())?;
        self.known_zone(moved.zone.as_str())?;
        self.not_ancient("at", at_ms, now_ms)?;
        let here_ms = self.place(moved.instrument.as_str()).map(|(_, since_ms)| since_ms);
        in_order(moved.instrument.as_str(), here_ms, at_ms)
    }

    fn admit_plate(&self, added: &PlateAdded, at_ms: i64, now_ms: i64) -> Result<(), Refusal> {
        self.known_instrument(added.instrument.as_str())?;
        self.not_ancient("at", at_ms, now_ms)?;
        added.check()?;
        new("plate", &added.id, self.plates.contains_key(&added.id))
    }

    fn admit_plan(&self, said: &AirPlanned, now_ms: i64) -> Result<(), Refusal> {
        self.known_zone(said.zone.as_str())?;
        new("plan", &said.id, self.plans.contains_key(&said.id))?;
        let (from_ms, until_ms) = (said.from.timestamp_millis(), said.until.timestamp_millis());
        let invalid = |what: &str, given: chrono::DateTime<chrono::Utc>, expected: &str, mend: &str| {
            let (what, given) = (what.into(), given.to_rfc3339());
            Refusal::Invalid(Invalid { what, given, expected: expected.into(), mend: mend.into() })
        };
        if from_ms < now_ms - PLAN_REACH_MS {
            return Err(invalid("from", said.from, "a time within the last 14 days", "check the day and the offset"));
        }
        if until_ms <= from_ms.max(now_ms) || until_ms > now_ms + PLAN_REACH_MS {
            let expected = "a time after from and now, at most 14 days ahead";
            return Err(invalid("until", said.until, expected, "what the air has been is said by readings"));
        }
        let of_zone = self.plans.values().filter(|other| other.said.zone == said.zone);
        match of_zone.into_iter().find(|other| other.from_ms() < until_ms && from_ms < other.until_ms()) {
            Some(other) => Err(conflict(
                format!("plan \"{}\" has the air of \"{}\" in that time", other.id(), said.zone),
                "cancel that plan first, or choose a time before or after it",
            )),
            None => Ok(()),
        }
    }

    fn admit_cure(&self, begun: &CureBegun, now_ms: i64) -> Result<(), Refusal> {
        self.not_ancient("started_at", begun.started_at.timestamp_millis(), now_ms)?;
        new("glue-up or coat", &begun.id, self.cure_of.contains_key(&begun.id))?;
        self.known_instrument(begun.instrument.as_str())?;
        self.known_material(begun.material.as_str())?;
        self.known_zone(begun.zone.as_str())?;
        if let Some(joint) = &begun.joint {
            let known = self.joints.get(joint).ok_or_else(|| unknown("joint", joint.as_str(), "joints"))?;
            if known.instrument != begun.instrument {
                return Err(conflict(
                    format!("joint \"{joint}\" belongs to \"{}\", not to \"{}\"", known.instrument, begun.instrument),
                    "name a joint of this instrument",
                ));
            }
        }
        if begun.cure_kind == CureKind::GlueUp && begun.joint.is_none() {
            return Err(conflict("a glue-up without a joint", "name the joint; POST /api/v1/joints adds one"));
        }
        if let Some(job) = &begun.job {
            self.open_job(job.as_str(), begun.step.as_ref().map(|step| step.as_str()))?;
            let of = &self.jobs[job].opened.instrument;
            if *of != begun.instrument {
                return Err(conflict(
                    format!("job \"{job}\" is for \"{of}\", not for \"{}\"", begun.instrument),
                    "name the job's own instrument, or leave the job out",
                ));
            }
        } else if begun.step.is_some() {
            return Err(conflict("a step without its job", "send \"job\" together with \"step\""));
        }
        if let Some(lot) = &begun.lot {
            let known = self.lots.get(lot).ok_or_else(|| unknown("lot", lot.as_str(), "lots"))?;
            if known.material != begun.material {
                return Err(conflict(
                    format!("lot \"{lot}\" holds {}, not {}", known.material, begun.material),
                    "name a lot of this material, or leave it out",
                ));
            }
        }
        match (&begun.lot, begun.used) {
            (Some(lot), Some(used)) => self.admit_amount(lot, used)?,
            (None, Some(_)) => {
                return Err(conflict("an amount was used of no lot", "send \"lot\" together with \"used\""));
            }
            (_, None) => {}
        }
        self.admit_mixed(begun)?;
        self.admit_recoat(begun)?;
        self.admit_clamps(begun)
    }

    fn admit_move(&self, cure: &CureId, zone: &str, at_ms: i64) -> Result<(), Refusal> {
        let known = self.open_cure(cure)?;
        self.known_zone(zone)?;
        in_order(cure.as_str(), known.legs.last().map(|leg| leg.from_ms), at_ms)
    }

    pub(crate) fn open_job(&self, job: &str, step: Option<&str>) -> Result<(), Refusal> {
        let known = self.known_job(job)?;
        if known.closed {
            return Err(conflict(
                format!("job \"{job}\" is closed"),
                "open it again, or open a new job for further work",
            ));
        }
        match step {
            Some(step) if !known.opened.steps.iter().any(|s| s.id.as_str() == step) => {
                Err(unknown("step", step, &format!("jobs/{job}")))
            }
            _ => Ok(()),
        }
    }

    pub(crate) fn known_job(&self, job: &str) -> Result<&crate::Job, Refusal> {
        self.jobs.get(job).ok_or_else(|| unknown("job", job, "jobs"))
    }

    fn open_cure(&self, cure: &CureId) -> Result<&crate::Cure, Refusal> {
        let known = self.known_cure(cure)?;
        if known.closed {
            return Err(conflict(format!("\"{cure}\" is closed"), "nothing more can happen to it"));
        }
        Ok(known)
    }

    pub(crate) fn known_cure(&self, cure: &CureId) -> Result<&crate::Cure, Refusal> {
        self.cure(cure.as_str()).ok_or_else(|| unknown("glue-up or coat", cure.as_str(), "glue-ups"))
    }

    fn known_instrument(&self, id: &str) -> Result<(), Refusal> {
        self.instruments.contains_key(id).then_some(()).ok_or_else(|| unknown("instrument", id, "instruments"))
    }

    pub(crate) fn known_zone(&self, id: &str) -> Result<(), Refusal> {
        self.zone_of.contains_key(id).then_some(()).ok_or_else(|| unknown("zone", id, "zones"))
    }

    pub(crate) fn known_material(&self, id: &str) -> Result<(), Refusal> {
        self.in_force.contains_key(id).then_some(()).ok_or_else(|| Refusal::Unknown {
            what: "material",
            id: id.into(),
            mend: "GET /api/v1/materials lists those with a rule; a new one is a script in scripts/materials".into(),
        })
    }

    fn standing_alert(&self, id: &str) -> Result<(), Refusal> {
        let known = self.alerts.get(id).ok_or_else(|| unknown("alert", id, "alerts"))?;
        if known.state == AlertState::Retracted {
            return Err(conflict(
                format!("alert \"{id}\" was taken back, because it does not hold any more"),
                "nothing needs answering; a new alert tells it when it comes true",
            ));
        }
        Ok(())
    }

    /// An alert that is to be told again: once it was, it is not any more, whoever else comes to think so.
    fn snoozed_alert(&self, id: &str) -> Result<(), Refusal> {
        self.standing_alert(id)?;
        match self.alerts.get(id).map(|alert| alert.state) {
            Some(AlertState::Snoozed(_)) => Ok(()),
            _ => Err(conflict(format!("alert \"{id}\" was not put off"), "nothing needs telling again")),
        }
    }

    fn not_ahead(&self, what: &str, at_ms: i64, now_ms: i64) -> Result<(), Refusal> {
        if at_ms <= now_ms + self.settings.ahead_ms {
            return Ok(());
        }
        Err(Invalid {
            what: what.into(),
            given: format!("{} min in the future", (at_ms - now_ms) / 60_000),
            expected: "a time that has been".into(),
            mend: "check the clock of the phone or sensor and its offset from UTC".into(),
        }
        .into())
    }

    pub(crate) fn not_ancient(&self, what: &str, at_ms: i64, now_ms: i64) -> Result<(), Refusal> {
        if now_ms - at_ms <= OLDEST_MS {
            return Ok(());
        }
        Err(Invalid {
            what: what.into(),
            given: format!("{} days ago", (now_ms - at_ms) / 86_400_000),
            expected: "a time within the last 366 days".into(),
            mend: "check the year; a sensor without a set clock says 1970".into(),
        }
        .into())
    }
}

/// Longest name or sentence taken, characters.
const LONGEST: usize = 200;

/// What a fact puts into words must be words: something to read, no more than fits a label, no control characters.
fn spoken(fact: &Fact) -> Result<(), Refusal> {
    match fact {
        Fact::ZoneSet(set) => words("name", &set.name, 1),
        Fact::InstrumentAdded(added) => words("name", &added.name, 1).and(words("family", &added.family, 0)),
        Fact::JobOpened(opened) => {
            words("title", &opened.title, 1)?;
            opened.steps.iter().try_for_each(|step| words("steps.title", &step.title, 1))
        }
        Fact::JointAdded(added) => words("name", &added.name, 1),
        Fact::PlateAdded(added) => words("name", &added.name, 1),
        Fact::ClampAdded(added) => words("name", &added.name, 1).and(words("kind", &added.clamp_kind, 0)),
        Fact::LotAdded(lot) => words("label", &lot.label, 0),
        Fact::LotClosed(closed) => words("reason", &closed.reason, 0),
        Fact::CureBegun(begun) => begun.surface.iter().try_for_each(|surface| words("surface", surface, 1)),
        Fact::RulePutInForce(rule) => {
            rule.override_reason.iter().try_for_each(|reason| words("override_reason", reason, 1))
        }
        Fact::CureWithdrawn { reason, .. } | Fact::ObservationWithdrawn { reason, .. } => words("reason", reason, 1),
        Fact::ObservationMade(made) => words("note", &made.note, 0),
        Fact::StepAdded { step, .. } => words("step.title", &step.title, 1),
        _ => Ok(()),
    }
}

pub(crate) fn words(what: &str, text: &str, least: usize) -> Result<(), Refusal> {
    let length = text.trim().chars().count();
    if (least..=LONGEST).contains(&length) && !text.chars().any(char::is_control) {
        return Ok(());
    }
    Err(Invalid {
        what: what.into(),
        given: format!("{length} characters"),
        expected: format!("{least} to {LONGEST} characters without control characters"),
        mend: "say it in a few words".into(),
    }
    .into())
}

pub(crate) fn new<K>(what: &'static str, id: &facts::Id<K>, there: bool) -> Result<(), Refusal> {
    if there { Err(Refusal::Exists { what, id: id.to_string() }) } else { Ok(()) }
}

/// Moves are recorded in order: something cannot leave before it came.
fn in_order(what: &str, came_ms: Option<i64>, at_ms: i64) -> Result<(), Refusal> {
    if came_ms.is_none_or(|came_ms| at_ms >= came_ms) {
        return Ok(());
    }
    Err(conflict(
        format!("\"{what}\" is moved before it came to where it is"),
        "send the time of this move; moves are recorded in order",
    ))
}

fn join(ids: &[facts::ClampId]) -> String {
    ids.iter().map(|id| id.as_str()).collect::<Vec<_>>().join(", ")
}
