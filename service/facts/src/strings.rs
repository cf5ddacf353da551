//! Strings as they are meant to be fitted, how far stringing up has come, and set-up as it was measured.

use serde::{Deserialize, Serialize};

use crate::{InstrumentId, Invalid, Note, within};

/// Families of instruments, by what their strings load.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Family {
    /// Guitar with six steel strings and a glued bridge.
    SteelStringGuitar,
    /// Guitar with nylon strings.
    ClassicalGuitar,
    /// Guitar with six courses of two steel strings.
    TwelveStringGuitar,
    /// Mandolin: four courses of two, held at the tail.
    Mandolin,
    /// Ukulele.
    Ukulele,
    /// Five-string banjo.
    Banjo,
    /// Violin.
    Violin,
    /// Viola.
    Viola,
    /// Cello.
    Cello,
    /// Double bass.
    DoubleBass,
    /// Bass guitar.
    BassGuitar,
}

/// One string.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StringFitted {
    /// What it is tuned to.
    pub note: Note,
    /// Outside diameter, mm.
    pub gauge_mm: f64,
    /// Whether it has a winding: then its gauge says little of its weight.
    pub wound: bool,
    /// Mass per length, kg/m; worked out once, so that the pull it was judged by never changes.
    pub unit_kg_m: f64,
    /// Its sounding length, mm: the scale length but for a short fifth string and the like.
    pub length_mm: f64,
}

/// The strings an instrument is to have. A later fact of the same instrument takes its place, and begins anew.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct StringsFitted {
    /// The instrument.
    pub instrument: InstrumentId,
    /// Its family, for defaults of its joints.
    pub family: Family,
    /// Scale length, mm.
    pub scale_mm: f64,
    /// What A4 is tuned to, Hz.
    pub a4_hz: f64,
    /// The strings, from the highest course down, as a set is sold.
    pub strings: Vec<StringFitted>,
    /// Hours at half tension before full pitch; none to go to pitch at once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub half_tension_h: Option<f64>,
}

impl StringsFitted {
    /// Whether its numbers can be those of a stringed instrument, a unit mixed up being the likeliest fault.
    ///
    /// # Errors
    /// Names the number, its range, and the unit it may have been in.
    pub fn check(&self) -> Result<(), Invalid> {
        scale(self.scale_mm)?;
        within("a4_hz", self.a4_hz, 350.0, 500.0, "Hz", "440 Hz is usual, 415 Hz for old pitch")?;
        within("strings", self.strings.len() as f64, 1.0, 24.0, "strings", "give each string its note and gauge")?;
        for string in &self.strings {
            gauge(string.gauge_mm)?;
            let sounding = "the part that sounds, nut to saddle, in millimetres";
            within("length_mm", string.length_mm, 150.0, 1500.0, "mm", sounding)?;
            let weight = "in kg/m: a 0.30 mm steel string has 0.00057";
            within("unit_kg_m", string.unit_kg_m, 1e-5, 0.1, "kg/m", weight)?;
        }
        let hold = "12 to 24 hours are usual; leave it out to go to pitch at once";
        self.half_tension_h.map_or(Ok(0.0), |h| within("half_tension_h", h, 0.0, 24.0 * 14.0, "h", hold)).map(drop)
    }
}

/// A scale length that an instrument can have, from a soprano ukulele's to a double bass's: 150 to 1500 mm.
///
/// # Errors
/// Works out what the number would be if it were in inches or centimetres.
pub fn scale(scale_mm: f64) -> Result<f64, Invalid> {
    let mend = match scale_mm {
        9.0..=50.0 => format!("if this is in inches, send scale_in {scale_mm} ({:.1} mm)", scale_mm * 254.0 / 10.0),
        50.0..=130.0 => format!("if this is in centimetres, send scale_mm {}", scale_mm * 10.0),
        _ => "measure from nut to saddle, in millimetres; a guitar has about 648".into(),
    };
    within("scale_mm", scale_mm, 150.0, 1500.0, "mm", &mend)
}

/// A gauge that a string can have: 0.15 to 4.5 mm.
///
/// # Errors
/// Works out what the number would be if it were in inches or thousandths of one.
pub fn gauge(gauge_mm: f64) -> Result<f64, Invalid> {
    let mend = match gauge_mm {
        0.005..=0.15 => {
            let mm = gauge_mm * 254.0 / 10.0;
            format!("is this in inches? then send gauge_in {gauge_mm} ({mm:.3} mm)")
        }
        5.0..=180.0 => {
            let mm = gauge_mm * 254.0 / 10_000.0;
            format!("is this in thousandths of an inch? then send gauge_thou {gauge_mm} ({mm:.3} mm)")
        }
        _ => "a first string has about 0.25 to 0.35 mm, a double bass's lowest about 2.8".into(),
    };
    within("gauge_mm", gauge_mm, 0.15, 4.5, "mm", &mend)
}

/// How far stringing up has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// Half the tension: six semitones below pitch, since tension goes with the square of the frequency.
    HalfTension,
    /// At pitch.
    FullPitch,
    /// Looked at again a day after.
    Rechecked,
}

impl Stage {
    /// As it stands in ids and answers.
    pub fn word(self) -> &'static str {
        match self {
            Self::HalfTension => "half_tension",
            Self::FullPitch => "full_pitch",
            Self::Rechecked => "rechecked",
        }
    }
}

/// Strings were brought so far.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StageReached {
    /// The instrument.
    pub instrument: InstrumentId,
    /// How far.
    pub stage: Stage,
}

/// Set-up as it was measured, usually at pitch.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SetupMeasured {
    /// The instrument.
    pub instrument: InstrumentId,
    /// Hollow of the fingerboard under the strings, mm; negative for a hump.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub relief_mm: Option<f64>,
    /// Height of the lowest string above the twelfth fret, or above the end of a fretless board, mm.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub action_mm: Option<f64>,
    /// How far the saddle stands out of the bridge, mm: what is left to take off.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub saddle_mm: Option<f64>,
    /// How far off the figures may be, mm (one standard deviation).
    #[serde(default = "careful_mm")]
    pub sigma_mm: f64,
}

/// What a careful hand reads with a string action gauge. Common practice, no source.
fn careful_mm() -> f64 {
    0.1
}

impl SetupMeasured {
    /// Whether its numbers can be those of a set-up, and there is one at all.
    ///
    /// # Errors
    /// Names the number and its range.
    pub fn check(&self) -> Result<(), Invalid> {
        let gauge = "in millimetres, at pitch";
        let given = |what, value: Option<f64>, least, most| {
            value.map_or(Ok(0.0), |mm| within(what, mm, least, most, "mm", gauge)).map(drop)
        };
        given("relief_mm", self.relief_mm, -3.0, 5.0)?;
        given("action_mm", self.action_mm, 0.0, 20.0)?;
        given("saddle_mm", self.saddle_mm, 0.0, 30.0)?;
        within("sigma_mm", self.sigma_mm, 0.01, 2.0, "mm", "0.1 for a careful hand")?;
        if [self.relief_mm, self.action_mm, self.saddle_mm].iter().all(Option::is_none) {
            return Err(Invalid {
                what: "relief_mm".into(),
                given: "nothing".into(),
                expected: "at least one of relief_mm, action_mm, saddle_mm".into(),
                mend: gauge.into(),
            });
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::{gauge, scale};

    #[test]
    fn a_gauge_in_the_wrong_unit_is_suspected_and_asked_about() {
        let of = |mm: f64| gauge(mm).expect_err("no gauge").mend;
        assert!(of(0.012).contains("gauge_in 0.012 (0.305 mm)"), "{}", of(0.012));
        assert!(of(12.0).contains("gauge_thou 12 (0.305 mm)"), "{}", of(12.0));
        assert!(gauge(0.0).is_err() && gauge(f64::NAN).is_err() && gauge(0.3048).is_ok());
    }

    #[test]
    fn a_scale_length_of_nothing_or_in_inches_is_refused() {
        assert!(scale(25.5).expect_err("inches").mend.contains("scale_in 25.5 (647.7 mm)"));
        assert!(scale(64.8).expect_err("centimetres").mend.contains("648"));
        assert!(scale(0.0).is_err() && scale(f64::NAN).is_err() && scale(648.0).is_ok());
    }
}
