//! What a fact lays hold of: facts that lay hold of the same thing go into different commits.

use facts::{CureKind, Fact};

/// What a fact lays hold of: two facts that share one are not admitted in one breath, because the first may void
/// the second.
pub fn claims(fact: &Fact) -> Vec<(&'static str, &str)> {
    match fact {
        Fact::ZoneSet(set) => vec![("zone", set.id.as_str())],
        Fact::InstrumentAdded(added) => vec![("instrument", added.id.as_str())],
        Fact::InstrumentMoved(moved) => vec![("instrument", moved.instrument.as_str())],
        Fact::PlateAdded(added) => vec![("plate", added.id.as_str())],
        Fact::JobOpened(opened) => vec![("job", opened.id.as_str())],
        Fact::StepDone { job, .. } | Fact::JobClosed { job } | Fact::JobReopened { job } => vec![("job", job.as_str())],
        Fact::JointAdded(added) => vec![("joint", added.id.as_str())],
        Fact::JointLoaded(loaded) => vec![("joint", loaded.joint.as_str())],
        Fact::StringsFitted(fitted) => vec![("instrument", fitted.instrument.as_str())],
        Fact::StageReached(reached) => vec![("instrument", reached.instrument.as_str())],
        Fact::SetupMeasured(measured) => vec![("instrument", measured.instrument.as_str())],
        Fact::ClampAdded(added) => vec![("clamp", added.id.as_str())],
        Fact::ClampPutAway { clamp } | Fact::ClampBroughtBack { clamp } => vec![("clamp", clamp.as_str())],
        // What is said last of a day holds.
        Fact::DaySet(_) => vec![],
        Fact::RulePutInForce(rule) => vec![("material", rule.material.as_str())],
        Fact::LotAdded(lot) => vec![("lot", lot.id.as_str())],
        Fact::LotOpened { lot } => vec![("lot", lot.as_str())],
        Fact::LotUsed(used) => vec![("lot", used.lot.as_str())],
        Fact::LotClosed(closed) => vec![("lot", closed.lot.as_str())],
        Fact::CureBegun(begun) => {
            let clamps = begun.clamps.iter().map(|clamp| ("clamp", clamp.as_str()));
            let job = begun.job.iter().map(|job| ("job", job.as_str()));
            // Whether a coat may go on hangs on the coat beneath it.
            let coated = (begun.cure_kind == CureKind::Coat).then_some(("coats of", begun.instrument.as_str()));
            // A bottle may leave the shelf.
            let lot = begun.used.and(begun.lot.as_ref()).map(|lot| ("lot", lot.as_str()));
            clamps.chain(lot).chain(job).chain(coated).chain([("cure", begun.id.as_str())]).collect()
        }
        Fact::CureRuleChanged(change) => vec![("cure", change.cure.as_str())],
        Fact::CoatExposed(exposed) => vec![("cure", exposed.cure.as_str())],
        Fact::CureMoved { cure, .. } | Fact::ClampsOff { cure, .. } | Fact::CureWithdrawn { cure, .. } => {
            vec![("cure", cure.as_str())]
        }
        Fact::AlertRaised(raised) => vec![("alert", raised.id.as_str())],
        Fact::AlertAcknowledged { alert }
        | Fact::AlertSnoozed { alert, .. }
        | Fact::AlertRepeated { alert }
        | Fact::AlertRetracted { alert, .. } => vec![("alert", alert.as_str())],
        Fact::HygrometerCalibrated(calibrated) => vec![("sensor", calibrated.sensor.as_str())],
        Fact::ObservationMade(made) => vec![("observation", made.id.as_str()), ("cure", made.cure.as_str())],
        Fact::ObservationWithdrawn { observation, .. } => vec![("observation", observation.as_str())],
        Fact::StepAdded { job, .. } => vec![("job", job.as_str())],
        // The zone too: two plans for the same time there do not go together.
        Fact::AirPlanned(said) => vec![("plan", said.id.as_str()), ("zone", said.zone.as_str())],
        Fact::PlanCancelled { plan } => vec![("plan", plan.as_str())],
        Fact::NoteMade(made) => vec![("job", made.job.as_str())],
        Fact::PhotoAdded(added) => vec![("job", added.job.as_str())],
        Fact::MixMade(made) => vec![("mix", made.id.as_str())],
    }
}
