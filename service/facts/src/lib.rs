//! What a person or a sensor said, and when: the only things that are kept for ever.
//!
//! Responsible for: checked quantities, ids, the [`Fact`] and the envelope it is stored in.
//! Never knows: how a cure is computed, where facts are kept, what time it is.
//! Admission rule: a type enters only if it appears inside a stored fact; what can be derived lives in `clock`.
//! Start reading at `fact.rs`.

mod cure;
mod day;
mod entry;
mod fact;
mod film;
mod id;
mod keepsake;
mod load;
mod lot;
mod mix;
mod note;
mod observation;
mod plate;
mod quantity;
mod sensor;
mod strings;
mod work;

pub use cure::{
    Bearing, Bound, CureBegun, CureKind, CureRuleChanged, Finding, JointState, Level, Limit, Meets, Porosity, TargetAge,
};
pub use day::{DayHours, DaySet};
pub use entry::{Entry, Recorded};
pub use fact::{
    AirPlanned, AlertKind, AlertRaised, ClampAdded, Fact, InstrumentAdded, JobOpened, JointAdded, LotAdded,
    RulePutInForce, Step, StepKind, ZoneSet,
};
pub use film::{CoatBeneath, CoatExposed, CoatLaid, CoatPlan, Method};
pub use id::{
    AlertId, ClampId, CureId, Id, InstrumentId, JobId, JointId, Kind, LotId, MaterialId, MixId, ObservationId, PhotoId,
    PlanId, PlateId, SensorId, StepId, VersionId, ZoneId, kind,
};
pub use keepsake::{NoteMade, PhotoAdded};
pub use load::{JointLoaded, LoadPath};
pub use lot::{Amount, LotClosed, LotUsed};
pub use mix::{MixMade, MixPart};
pub use note::Note;
pub use observation::{ObservationMade, Observing};
pub use plate::{Cut, FacesOpen, InstrumentMoved, PlateAdded, SpeciesGroup};
pub use quantity::{Invalid, Reading, RhPct, TempC, within};
pub use sensor::{HygrometerCalibrated, Salt, SaltPoint};
pub use strings::{Family, SetupMeasured, Stage, StageReached, StringFitted, StringsFitted, gauge, scale};
pub use work::Work;
