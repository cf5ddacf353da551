//! What may be said of strings and of the joints they load.

use facts::{Invalid, JointLoaded, Stage, StageReached, StringsFitted};

use super::{conflict, unknown};
use crate::{Bench, Pulls, Refusal, stress};

/// Most one string may pull, N: a double bass's hardest pulls some 350. Common practice, no source.
const MOST_N: f64 = 1000.0;
/// Most all may pull, N: as far as the statics go.
const MOST_TOTAL_N: f64 = 10_000.0;

/// Their numbers must be those of strings, and so must their pull: a weight in the wrong unit or a note in the wrong octave
/// is seen there first.
pub(super) fn admit_strings(fitted: &StringsFitted) -> Result<(), Refusal> {
    fitted.check()?;
    let pulls = Pulls::of(fitted);
    let refused = |what: String, given_n: f64, most_n: f64| {
        Refusal::Invalid(Invalid {
            what,
            given: format!("a pull of {given_n:.0} N"),
            expected: format!("at most {most_n:.0} N"),
            mend: "look at the note's octave (E4 is a guitar's first string), the gauge, and unit_kg_m in kg/m".into(),
        })
    };
    if let Some(place) = pulls.each_n.iter().position(|n| *n > MOST_N) {
        return Err(refused(format!("strings[{place}]"), pulls.each_n[place], MOST_N));
    }
    match pulls.total_n() {
        total_n if total_n > MOST_TOTAL_N => Err(refused("strings".into(), total_n, MOST_TOTAL_N)),
        _ => Ok(()),
    }
}

impl Bench {
    /// Its measures must be those of a joint; what they make of any pull is the same.
    pub(super) fn admit_load(&self, loaded: &JointLoaded) -> Result<(), Refusal> {
        if !self.joints.contains_key(&loaded.joint) {
            return Err(unknown("joint", loaded.joint.as_str(), "joints"));
        }
        let pulls = Pulls { each_n: vec![100.0] };
        let refused = |e: physics::OutOfRange| {
            let unit = if e.unit.is_empty() { String::new() } else { format!(" {}", e.unit) };
            let mend = match e.given <= 0.0 {
                true => "a joint without an area carries nothing: measure its glued faces with a rule, in millimetres",
                false => "measure it with a rule or a protractor, where it is drawn: /load-paths.svg",
            };
            Refusal::Invalid(Invalid {
                what: e.argument.into(),
                given: format!("{}{unit}", e.given),
                expected: format!("{} to {}{unit}", e.min, e.max),
                mend: mend.into(),
            })
        };
        stress(&loaded.load, &pulls).map(drop).map_err(refused)
    }

    pub(super) fn admit_stage(&self, reached: &StageReached, at_ms: i64) -> Result<(), Refusal> {
        let id = reached.instrument.as_str();
        self.known_instrument(id)?;
        let Some(strung) = self.strings.get(&reached.instrument) else {
            let mend = format!("POST /api/v1/instruments/{id}/strings with its family, or its strings, first");
            return Err(conflict(format!("nobody has said which strings \"{id}\" is to have"), mend));
        };
        if strung.stages.contains_key(&reached.stage) {
            let what = format!("\"{id}\" was brought to {} already", reached.stage.word().replace('_', " "));
            return Err(conflict(what, "nothing needs recording; POST its strings again to begin anew"));
        }
        if reached.stage == Stage::Rechecked && !strung.stages.contains_key(&Stage::FullPitch) {
            return Err(conflict(format!("\"{id}\" is not at pitch yet"), "record full_pitch first"));
        }
        match strung.stages.iter().find(|(stage, _)| **stage > reached.stage) {
            Some((later, _)) => Err(conflict(
                format!("\"{id}\" was brought to {} already", later.word().replace('_', " ")),
                "stages are recorded in order: half_tension, full_pitch, rechecked",
            )),
            None if at_ms < strung.at_ms => Err(conflict(
                format!("\"{id}\" had no strings planned at that time"),
                "send the time of this stage; it comes after the strings were said",
            )),
            None => Ok(()),
        }
    }
}
