//! The demo's strings: what each instrument is to be strung with, what that loads, and a set-up history. All invented.

use clock::{A4_HZ, family_of, usual_load, usual_strings};
use facts::{
    Cut, FacesOpen, Fact, InstrumentMoved, JointLoaded, PlateAdded, SetupMeasured, SpeciesGroup, StringsFitted,
};

use super::{INSTRUMENTS, JOINTS, id};

/// Hours at half tension, where the shop goes up in stages.
const STAGED: [(&str, f64); 2] = [("parlour", 12.0), ("twelve", 24.0)];

/// Steps that come before strings: job and step.
pub(super) const BEFORE: [(&str, &str); 5] =
    [("bridge", "clean"), ("crack", "cleat"), ("binding", "rub"), ("seam", "set-up"), ("head", "coat")];

/// Load paths of the joints that carry some; the others carry none.
const PATHS: [(&str, &str); 8] = [
    ("parlour-bridge", "bridge_foot"),
    ("parlour-crack", "top_crack"),
    ("classical-brace", "brace_end"),
    ("classical-seam", "back_seam"),
    ("twelve-neck", "neck_joint"),
    ("twelve-slots", "nut_slot"),
    ("violin-seam", "back_seam"),
    ("ukulele-head", "headstock"),
];

/// Set-ups of the parlour guitar over the years: years ago, action and saddle in mm.
const HISTORY: [(i64, f64, f64); 4] = [(14, 2.4, 6.2), (9, 2.6, 6.0), (4, 2.7, 5.4), (1, 2.9, 5.4)];
const YEAR_MS: i64 = 365 * 24 * 3_600_000;

/// Strings, loads, where each instrument is, and the classical guitar's top.
pub(super) fn furnish() -> Vec<Fact> {
    let mut facts = Vec::new();
    for (instrument, _, words) in INSTRUMENTS {
        let Some(family) = family_of(words) else { continue };
        let (scale_mm, strings) = usual_strings(family, None);
        let half_tension_h = STAGED.iter().find(|(staged, _)| *staged == instrument).map(|(_, hours)| *hours);
        let instrument = id(instrument);
        let fitted = StringsFitted { instrument, family, scale_mm, a4_hz: A4_HZ, strings, half_tension_h };
        facts.push(Fact::StringsFitted(fitted));
    }
    for (joint, of, ..) in JOINTS {
        let words = INSTRUMENTS.iter().find(|(instrument, ..)| *instrument == of).map_or("", |(.., words)| words);
        let path = PATHS.iter().find(|(loaded, _)| *loaded == joint).map_or("unloaded", |(_, path)| path);
        let usual = family_of(words).and_then(|family| usual_load(family, path));
        let Some((load, wood)) = usual else { continue };
        let (joint, starved, reopened, sound) = (id(joint), false, false, false);
        facts.push(Fact::JointLoaded(JointLoaded { joint, load, wood, starved, reopened, sound }));
    }
    for (instrument, ..) in INSTRUMENTS {
        facts.push(Fact::InstrumentMoved(InstrumentMoved { instrument: id(instrument), zone: id("bench") }));
    }
    facts.push(Fact::PlateAdded(PlateAdded {
        id: id("classical-top"),
        instrument: id("classical"),
        name: "top".into(),
        species: SpeciesGroup::Spruce,
        cut: Cut::Quarter,
        thickness_mm: 2.5,
        width_mm: 360.0,
        faces_open: FacesOpen::One,
        moisture_pct: Some(6.5),
    }));
    facts
}

/// What was measured in the years before.
pub(super) fn history(now_ms: i64) -> Vec<(Fact, i64)> {
    let setup = |(years, action_mm, saddle_mm)| {
        let (relief_mm, sigma_mm) = (Some(0.2), 0.1);
        let (action_mm, saddle_mm) = (Some(action_mm), Some(saddle_mm));
        let instrument = id("parlour");
        let measured = SetupMeasured { instrument, relief_mm, action_mm, saddle_mm, sigma_mm };
        (Fact::SetupMeasured(measured), now_ms - years * YEAR_MS)
    };
    HISTORY.into_iter().map(setup).collect()
}
