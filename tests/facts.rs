//! The stored form of facts: one sample of every kind as it stands in a journal. Samples are added, never changed: what
//! was once written must be read for ever.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

use std::{
    collections::{BTreeMap, BTreeSet},
    path::PathBuf,
};

use facts::{Fact, Reading};
use serde_json::Value;

/// The name of a kind in the journal. A new kind does not compile until it has a place here, and then it needs a sample.
fn kind(fact: &Fact) -> &'static str {
    match fact {
        Fact::ZoneSet(_) => "zone_set",
        Fact::InstrumentAdded(_) => "instrument_added",
        Fact::InstrumentMoved(_) => "instrument_moved",
        Fact::PlateAdded(_) => "plate_added",
        Fact::JobOpened(_) => "job_opened",
        Fact::StepDone { .. } => "step_done",
        Fact::JobClosed { .. } => "job_closed",
        Fact::JobReopened { .. } => "job_reopened",
        Fact::JointAdded(_) => "joint_added",
        Fact::JointLoaded(_) => "joint_loaded",
        Fact::StringsFitted(_) => "strings_fitted",
        Fact::StageReached(_) => "stage_reached",
        Fact::SetupMeasured(_) => "setup_measured",
        Fact::ClampAdded(_) => "clamp_added",
        Fact::ClampPutAway { .. } => "clamp_put_away",
        Fact::ClampBroughtBack { .. } => "clamp_brought_back",
        Fact::DaySet(_) => "day_set",
        Fact::RulePutInForce(_) => "rule_put_in_force",
        Fact::LotAdded(_) => "lot_added",
        Fact::LotOpened { .. } => "lot_opened",
        Fact::LotUsed(_) => "lot_used",
        Fact::LotClosed(_) => "lot_closed",
        Fact::CureBegun(_) => "cure_begun",
        Fact::CureMoved { .. } => "cure_moved",
        Fact::CureRuleChanged(_) => "cure_rule_changed",
        Fact::CoatExposed(_) => "coat_exposed",
        Fact::ClampsOff { .. } => "clamps_off",
        Fact::CureWithdrawn { .. } => "cure_withdrawn",
        Fact::AlertRaised(_) => "alert_raised",
        Fact::AlertAcknowledged { .. } => "alert_acknowledged",
        Fact::AlertSnoozed { .. } => "alert_snoozed",
        Fact::AlertRepeated { .. } => "alert_repeated",
        Fact::AlertRetracted { .. } => "alert_retracted",
        Fact::HygrometerCalibrated(_) => "hygrometer_calibrated",
        Fact::AirPlanned(_) => "air_planned",
        Fact::PlanCancelled { .. } => "plan_cancelled",
        Fact::NoteMade(_) => "note_made",
        Fact::PhotoAdded(_) => "photo_added",
        Fact::MixMade(_) => "mix_made",
        Fact::ObservationMade(_) => "observation_made",
        Fact::ObservationWithdrawn { .. } => "observation_withdrawn",
        Fact::StepAdded { .. } => "step_added",
    }
}

/// Every kind there is.
const KINDS: &[&str] = &[
    "zone_set",
    "instrument_added",
    "instrument_moved",
    "plate_added",
    "job_opened",
    "step_done",
    "job_closed",
    "job_reopened",
    "joint_added",
    "joint_loaded",
    "strings_fitted",
    "stage_reached",
    "setup_measured",
    "clamp_added",
    "clamp_put_away",
    "clamp_brought_back",
    "day_set",
    "rule_put_in_force",
    "lot_added",
    "lot_opened",
    "lot_used",
    "lot_closed",
    "cure_begun",
    "cure_moved",
    "cure_rule_changed",
    "coat_exposed",
    "clamps_off",
    "cure_withdrawn",
    "alert_raised",
    "alert_acknowledged",
    "alert_snoozed",
    "alert_repeated",
    "alert_retracted",
    "hygrometer_calibrated",
    "air_planned",
    "plan_cancelled",
    "note_made",
    "photo_added",
    "mix_made",
    "observation_made",
    "observation_withdrawn",
    "step_added",
];

/// Every stored sample: its file and its text.
fn samples() -> BTreeMap<String, String> {
    let folder = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("facts");
    let mut samples = BTreeMap::new();
    for version in std::fs::read_dir(folder).unwrap() {
        for file in std::fs::read_dir(version.unwrap().path()).unwrap() {
            let path = file.unwrap().path();
            let name = path.components().rev().take(2).map(|part| part.as_os_str().to_string_lossy().into_owned());
            let name: Vec<_> = name.collect();
            samples.insert(format!("{}/{}", name[1], name[0]), std::fs::read_to_string(path).unwrap());
        }
    }
    samples
}

fn is_reading(file: &str) -> bool {
    file.ends_with("/reading.json")
}

#[test]
fn every_stored_sample_still_reads_and_writes_back_to_what_it_was() {
    for (file, text) in samples() {
        let stored: Value = serde_json::from_str(&text).unwrap_or_else(|e| panic!("{file}: {e}"));
        let written = if is_reading(&file) {
            let reading: Reading = serde_json::from_str(&text).unwrap_or_else(|e| panic!("{file}: {e}"));
            serde_json::to_value(&reading).unwrap()
        } else {
            let fact: Fact = serde_json::from_str(&text).unwrap_or_else(|e| panic!("{file}: {e}"));
            // `v1/zone_set.json`, or `v1/cure_begun.coat.json` for another sample of the same kind.
            assert_eq!(file.split(['/', '.']).nth(1), Some(kind(&fact)), "{file}");
            serde_json::to_value(&fact).unwrap()
        };
        assert_eq!(written, stored, "{file}");
    }
}

#[test]
fn every_kind_of_fact_has_a_sample() {
    let samples = samples();
    let there: BTreeSet<&str> = samples.keys().filter_map(|file| file.split(['/', '.']).nth(1)).collect();
    let missing: Vec<_> = KINDS.iter().chain(&["reading"]).filter(|kind| !there.contains(*kind)).collect();
    assert!(missing.is_empty(), "no sample of {missing:?}; add one to the newest folder of tests/facts");
    let unknown: Vec<_> = there.iter().filter(|kind| !KINDS.contains(kind) && **kind != "reading").collect();
    assert!(unknown.is_empty(), "{unknown:?} is no kind; name it in KINDS");
}

/// Facts of the journal begin with their kind: the journal's own column is taken from there.
#[test]
fn the_kind_of_a_fact_is_written_first() {
    for (file, text) in samples().into_iter().filter(|(file, _)| !is_reading(file)) {
        let fact: Fact = serde_json::from_str(&text).unwrap();
        let written = serde_json::to_string(&fact).unwrap();
        assert!(written.starts_with(&format!("{{\"kind\":\"{}\",", kind(&fact))), "{file}: {written}");
    }
}
