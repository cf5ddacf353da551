//! The fact: one thing said. Kinds are added, never changed; `tests/facts/` keeps a sample of each stored form.

use std::sync::Arc;

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};

use crate::{
    AlertId, Amount, ClampId, CoatExposed, CoatPlan, CureBegun, CureId, CureRuleChanged, DaySet, HygrometerCalibrated,
    InstrumentId, InstrumentMoved, JobId, JointId, JointLoaded, LotClosed, LotId, LotUsed, MaterialId, MixMade,
    NoteMade, ObservationId, ObservationMade, PhotoAdded, PlanId, PlateAdded, Porosity, RhPct, SetupMeasured,
    StageReached, StepId, StringsFitted, TempC, VersionId, Work, ZoneId,
};

/// One thing a person, a sensor or the clock said. Corrections are further facts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Fact {
    /// A zone was set up, or its set-point revised.
    ZoneSet(ZoneSet),
    /// An instrument came in.
    InstrumentAdded(InstrumentAdded),
    /// An instrument was put somewhere: its first place, or another.
    InstrumentMoved(InstrumentMoved),
    /// A plate of an instrument was named, so that its moisture can be followed.
    PlateAdded(PlateAdded),
    /// A job was opened, with its steps.
    JobOpened(JobOpened),
    /// A step without a cure of its own was done.
    StepDone {
        /// The job.
        job: JobId,
        /// The step done.
        step: StepId,
    },
    /// A job was closed; nothing more may be begun on it.
    JobClosed {
        /// The job.
        job: JobId,
    },
    /// A closed job was opened again: its cures go on as if it had not been closed.
    JobReopened {
        /// The job.
        job: JobId,
    },
    /// A joint was named.
    JointAdded(JointAdded),
    /// How the strings load a joint.
    JointLoaded(JointLoaded),
    /// The strings an instrument is to have.
    StringsFitted(StringsFitted),
    /// Strings were brought to half tension, to pitch, or looked at again.
    StageReached(StageReached),
    /// Relief, action and saddle were measured.
    SetupMeasured(SetupMeasured),
    /// A clamp entered the inventory.
    ClampAdded(ClampAdded),
    /// A clamp is out of use: broken, lent, or wanted elsewhere.
    ClampPutAway {
        /// The clamp.
        clamp: ClampId,
    },
    /// A clamp that was out of use is used again.
    ClampBroughtBack {
        /// The clamp.
        clamp: ClampId,
    },
    /// The hours of a day that is not as its weekday is.
    DaySet(DaySet),
    /// A rule's text came in force.
    RulePutInForce(RulePutInForce),
    /// A bottle was bought or opened.
    LotAdded(LotAdded),
    /// A bottle that stood sealed was opened.
    LotOpened {
        /// The bottle.
        lot: LotId,
    },
    /// Something was taken from a bottle.
    LotUsed(LotUsed),
    /// A bottle left the shelf: used up, or thrown out.
    LotClosed(LotClosed),
    /// A glue-up or a coat; shared, because the bench keeps it as long as it is asked about.
    CureBegun(Arc<CureBegun>),
    /// A cure was carried to another zone.
    CureMoved {
        /// The cure.
        cure: CureId,
        /// Where it is now.
        zone: ZoneId,
    },
    /// A cure goes by another version of its material's rule from now on, as if it had from its start.
    CureRuleChanged(Box<CureRuleChanged>),
    /// A coat that light cures got more of it.
    CoatExposed(CoatExposed),
    /// Clamps came off a glue-up.
    ClampsOff {
        /// The glue-up.
        cure: CureId,
        /// Which clamps.
        clamps: Vec<ClampId>,
    },
    /// A glue-up or coat was registered by mistake, or its joint taken apart again.
    CureWithdrawn {
        /// The cure.
        cure: CureId,
        /// Why, in the luthier's words.
        reason: String,
    },
    /// Something is to be told.
    AlertRaised(Box<AlertRaised>),
    /// Somebody has seen it.
    AlertAcknowledged {
        /// The alert.
        alert: AlertId,
    },
    /// Somebody wants to hear it again later.
    AlertSnoozed {
        /// The alert.
        alert: AlertId,
        /// When to tell it again.
        until: DateTime<Utc>,
    },
    /// A snoozed alert was told again.
    AlertRepeated {
        /// The alert.
        alert: AlertId,
    },
    /// Corrected readings made a told milestone untrue; it is armed again.
    AlertRetracted {
        /// The alert.
        alert: AlertId,
        /// What changed.
        because: String,
    },
    /// A hygrometer stood over saturated salts; its later readings are corrected by what it read there.
    HygrometerCalibrated(HygrometerCalibrated),
    /// Somebody will change the air of a zone: a heater on for the evening, the warm box at another temperature.
    AirPlanned(AirPlanned),
    /// A plan was called off; one under way ends then.
    PlanCancelled {
        /// The plan.
        plan: PlanId,
    },
    /// Something was written down about a job.
    NoteMade(NoteMade),
    /// A photo was added to a job.
    PhotoAdded(PhotoAdded),
    /// Something was mixed, and its working life began.
    MixMade(Box<MixMade>),
    /// Somebody looked how far a cure is.
    ObservationMade(ObservationMade),
    /// What was seen was written down wrongly, or says nothing about the material.
    ObservationWithdrawn {
        /// The observation.
        observation: ObservationId,
        /// Why, in the luthier's words.
        reason: String,
    },
    /// A step was added to a job that is open, as its own shop's script asks for.
    StepAdded {
        /// The job.
        job: JobId,
        /// The step.
        step: Step,
    },
}

/// A place with one climate: bench, booth, warm box.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ZoneSet {
    /// Its id.
    pub id: ZoneId,
    /// What the shop calls it.
    pub name: String,
    /// Temperature assumed while no sensor says otherwise.
    pub set_temp_c: TempC,
    /// Humidity assumed while no sensor says otherwise.
    pub set_rh_pct: RhPct,
}

/// A change of a zone's air for a time, as somebody means to make it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct AirPlanned {
    /// Its id.
    pub id: PlanId,
    /// Where.
    pub zone: ZoneId,
    /// When the heater or humidifier goes on.
    pub from: DateTime<Utc>,
    /// When it goes off again.
    pub until: DateTime<Utc>,
    /// Temperature it is set to.
    pub temp_c: TempC,
    /// Humidity it is set to; none where only the heat is changed and the water in the air stays what it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rh_pct: Option<RhPct>,
}

/// An instrument on the bench. Who owns it is not asked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InstrumentAdded {
    /// Its id.
    pub id: InstrumentId,
    /// What the shop calls it.
    pub name: String,
    /// Family in the trade's words, for example "steel-string guitar".
    #[serde(default)]
    pub family: String,
}

/// A job and its steps in order.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct JobOpened {
    /// Its id.
    pub id: JobId,
    /// The instrument it is for.
    pub instrument: InstrumentId,
    /// What is to be done.
    pub title: String,
    /// When it was promised.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub due_at: Option<DateTime<Utc>>,
    /// How much an hour of lateness of this job weighs beside one of another's, 1 to 100.
    #[serde(default = "one", skip_serializing_if = "is_one")]
    pub weight: u32,
    /// What to do, in order.
    #[serde(default)]
    pub steps: Vec<Step>,
}

fn one() -> u32 {
    1
}

#[expect(clippy::trivially_copy_pass_by_ref, reason = "serde asks with a reference")]
fn is_one(weight: &u32) -> bool {
    *weight == 1
}

/// What kind of work a step is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StepKind {
    /// Work at the bench.
    HandsOn,
    /// A joint is closed.
    GlueUp,
    /// A film is laid.
    Coat,
    /// Nothing but time.
    Wait,
    /// Something is looked at or measured.
    Check,
}

/// One step of a job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Step {
    /// Unique within the job.
    pub id: StepId,
    /// What kind of work.
    pub kind: StepKind,
    /// What to do.
    pub title: String,
    /// Steps that must be finished first.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub follows: Vec<StepId>,
    /// The joint it closes, if it is known already.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub joint: Option<JointId>,
    /// The material it will use, if it is known already.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub material: Option<MaterialId>,
    /// Whether it must be done before the instrument is strung up.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    pub before_strings: bool,
    /// What it asks of the shop.
    #[serde(default, skip_serializing_if = "Work::is_usual")]
    pub work: Work,
    /// How a coat is meant to be laid: proposed where it is registered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lay: Option<CoatPlan>,
}

/// A joint of an instrument and what is particular to it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct JointAdded {
    /// Its id.
    pub id: JointId,
    /// The instrument it belongs to.
    pub instrument: InstrumentId,
    /// What it is: "bridge", "top crack, bass side".
    pub name: String,
    /// Gap between the faces, µm.
    #[serde(default = "good_fit_um")]
    pub gap_um: f64,
    /// Uptake by the faces.
    #[serde(default)]
    pub porosity: Porosity,
}

/// Wood Handbook ch. 10 puts the best bond line of stiff resins at 80 to 150 µm; 100 stands for a good fit.
fn good_fit_um() -> f64 {
    100.0
}

/// A clamp, by name or number.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ClampAdded {
    /// Its id.
    pub id: ClampId,
    /// What is written on it.
    pub name: String,
    /// Cam, spool, deep-throat, caul set ...
    #[serde(default)]
    pub clamp_kind: String,
}

/// A rule's text as it came in force.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RulePutInForce {
    /// The material it is for.
    pub material: MaterialId,
    /// Hash of the text.
    pub version: VersionId,
    /// The file it came from, relative to the scripts folder.
    pub file: String,
    /// The whole text, so that an old cure can be computed for ever.
    pub text: String,
    /// Why it was put in force though its own expected values fail, if they do.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub override_reason: Option<String>,
}

/// A bottle, pot or tin.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct LotAdded {
    /// Its id.
    pub id: LotId,
    /// What is in it.
    pub material: MaterialId,
    /// What is written on it.
    #[serde(default)]
    pub label: String,
    /// When it was opened, if it was.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub opened_at: Option<DateTime<Utc>>,
    /// Last day its maker vouches for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub best_before: Option<DateTime<Utc>>,
    /// How much is in it when it is full.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub content: Option<Amount>,
    /// What was paid for it, in the shop's money.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cost: Option<f64>,
}

/// What an alert is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AlertKind {
    /// A milestone was reached or is about to close.
    Milestone,
    /// The day ahead.
    Digest,
    /// The air of a zone is out of the shop's band.
    Climate,
    /// A sensor gives no usable reading any more.
    SensorSilent,
    /// A hygrometer was last held against salts more than a year ago.
    CalibrationDue,
    /// A mix is about to gel.
    Mix,
    /// A shop script failed too often in a row and is not asked any more.
    HookSetAside,
    /// An instrument may be brought to the next stage of stringing up.
    StringUp,
    /// The machine's clock may be wrong: it leapt over weeks in which nothing was written down.
    ClockLeapt,
}

/// Something told, with the words it was told in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AlertRaised {
    /// Stable over every delivery.
    pub id: AlertId,
    /// What it is about.
    pub alert_kind: AlertKind,
    /// The cure, for a milestone.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub cure: Option<CureId>,
    /// The instrument, for an alert that is about one and about no cure.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<InstrumentId>,
    /// The stage, for a milestone.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub stage: String,
    /// When it came true.
    pub due_at: DateTime<Utc>,
    /// Told long after it came true, because the service was down.
    #[serde(default)]
    pub late: bool,
    /// One line: what is ready, on what.
    pub title: String,
    /// What to do next, and the caution that no estimate is a guarantee.
    pub body: String,
}
