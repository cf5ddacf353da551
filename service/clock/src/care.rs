//! Care for a sensor: whether a reading can be believed, judged from what the sensor said before.
//!
//! A reading that cannot be believed is held back with a reason, never dropped: a person releases or discards it. A
//! jump is held only until the next reading: if that says the same, the room did change, and both are taken. The
//! verdict is passed once, at the door; a journal that is replayed is not judged again.

use facts::{Invalid, RhPct, TempC};

use crate::{Air, Timeline};

const MINUTE_MS: i64 = 60_000;
const HOUR_MS: i64 = 60 * MINUTE_MS;

/// A jump no room makes: more than this at once, and this much more for each minute between. An opened door in winter
/// or a heated box stays below it. Common practice, no source.
const JUMP_K: (f64, f64) = (5.0, 1.0);
/// The same for relative humidity, %.
const JUMP_RH_PCT: (f64, f64) = (20.0, 2.0);
/// Readings further apart than this say nothing about jumps.
const NEAR_MS: i64 = HOUR_MS;
/// A value in °C this much warmer than it was, whose °F would be this near to what was, was sent in °F.
const UNIT_WARMER_K: f64 = 15.0;
const UNIT_NEAR_K: f64 = 5.0;
/// A value in °C that was turned from °F to °C all the same, and before that was this near to what was.
const UNIT_TWICE_K: f64 = 2.0;
/// How long the last reading tells what the room is like; after that the set-point does.
const RECENT_MS: i64 = 24 * HOUR_MS;
/// A stuck sensor has said the same at least so often.
const STUCK_READINGS: usize = 12;
/// A sensor that moved at half of its last so many readings does not come to rest by itself.
const HABIT: u32 = 24;
/// Furthest a run of equal readings is followed back.
const LONGEST_RUN: usize = 4096;

/// A reading as it came, in numbers nobody has checked.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// When the sensor took it, ms.
    pub at_ms: i64,
    /// Temperature, °C as it was said.
    pub temp_c: f64,
    /// Relative humidity, % as it was said.
    pub rh_pct: f64,
}

impl Sample {
    fn air(self) -> Air {
        Air { temp_c: self.temp_c, rh_pct: self.rh_pct }
    }
}

/// Why a reading is held back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// No workshop has such air.
    Impossible,
    /// It was probably sent in another unit.
    Unit,
    /// It was taken in the future.
    ClockAhead,
    /// It jumps; the next reading may say the same.
    Jump,
    /// It lies between two readings that agree, and agrees with neither.
    Spike,
    /// The sensor says the same for hours, and the room does not.
    Stuck,
}

impl Reason {
    /// The word it is filed under.
    pub fn word(self) -> &'static str {
        match self {
            Self::Impossible => "impossible",
            Self::Unit => "unit",
            Self::ClockAhead => "clock_ahead",
            Self::Jump => "jump",
            Self::Spike => "spike",
            Self::Stuck => "stuck",
        }
    }
}

/// A reading that is held back: why, which field, how to mend it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Doubt {
    /// Which kind of doubt.
    pub reason: Reason,
    /// The field it is about, as senders name it.
    pub field: &'static str,
    /// What is wrong, in a sentence.
    pub detail: String,
    /// How to mend it.
    pub mend: String,
}

/// What became of a reading.
#[derive(Debug, Clone, PartialEq)]
pub struct Judged {
    /// Why it is held back, if it is.
    pub doubt: Option<Doubt>,
    /// An earlier jump that this reading confirms: it is taken after all.
    pub cleared: Option<Sample>,
    /// It was taken before the last one that came.
    pub late: bool,
}

/// What is known around a reading that is judged.
pub struct Scene<'a> {
    /// What time it is, ms.
    pub now_ms: i64,
    /// How far ahead of now a reading may lie, ms.
    pub ahead_ms: i64,
    /// Temperature the zone is set to, for when the sensor has not spoken lately.
    pub set_temp_c: f64,
    /// How long the same value must last to be suspect, ms.
    pub stuck_ms: i64,
    /// What the sensor said so far.
    pub track: Option<&'a Timeline>,
    /// Whether another sensor of the zone noticed the room move between two instants.
    pub others_moved: &'a dyn Fn(i64, i64) -> bool,
}

/// What care remembers of one sensor in one zone.
#[derive(Debug, Clone, Default)]
pub struct Watch {
    last: Option<(i64, Air)>,
    /// When it last spoke, believed or stuck.
    heard_ms: i64,
    run_since_ms: i64,
    run: usize,
    /// One bit for each of the readings before the present run: whether it differed from the one before it.
    moved: u32,
    compared: u32,
    doubted: Option<Sample>,
}

impl Watch {
    /// What there is to remember of what a sensor said so far.
    pub fn of(track: Option<&Timeline>) -> Self {
        let mut watch = Self::default();
        let Some(track) = track.filter(|track| !track.is_empty()) else { return watch };
        let n = track.len();
        let last = track.get(n - 1).1;
        let run = (0..n).rev().take(LONGEST_RUN).take_while(|i| track.get(*i).1 == last).count();
        for i in n.saturating_sub(run + HABIT as usize + 1)..n {
            let (at_ms, air) = track.get(i);
            watch.accept(at_ms, air);
        }
        watch
    }

    /// A jump that waits for the next reading.
    pub fn doubted(&self) -> Option<Sample> {
        self.doubted
    }

    /// Remembers a jump that waited when this sensor was last judged.
    pub fn doubt(&mut self, doubted: Option<Sample>) {
        self.doubted = doubted.filter(|sample| self.last.is_none_or(|(last_ms, _)| sample.at_ms > last_ms));
    }

    /// Judges the next reading of the sensor and remembers it.
    pub fn judge(&mut self, sample: Sample, scene: &Scene<'_>) -> Judged {
        let late = self.last.is_some_and(|(last_ms, _)| sample.at_ms < last_ms);
        let doubt = ahead(sample, scene).or_else(|| self.unit(sample, scene)).or_else(|| impossible(sample));
        let held = |doubt| Judged { doubt: Some(doubt), cleared: None, late };
        if let Some(doubt) = doubt {
            return held(doubt);
        }
        if self.last.is_some_and(|(last_ms, _)| sample.at_ms <= last_ms) {
            let doubt = scene.track.and_then(|track| spike(sample, track));
            return Judged { doubt, cleared: None, late };
        }
        if let Some(doubt) = self.stuck(sample, scene) {
            self.heard_ms = sample.at_ms;
            return held(doubt);
        }
        let jumps = self.last.and_then(|last| jump(last, sample));
        let cleared = self.doubted.filter(|doubted| self.confirms(*doubted, sample, jumps.is_some()));
        if let (Some(jump), None) = (jumps, cleared) {
            self.doubted = Some(sample);
            return held(jump);
        }
        self.doubted = None;
        if let Some(doubted) = cleared {
            self.accept(doubted.at_ms, doubted.air());
        }
        self.accept(sample.at_ms, sample.air());
        Judged { doubt: None, cleared, late }
    }

    /// Whether an earlier jump is confirmed: a later reading is no jump from it, and nearer to it than to what was before.
    fn confirms(&self, doubted: Sample, sample: Sample, jumps: bool) -> bool {
        let far = |air: Air| {
            (sample.temp_c - air.temp_c).abs() / JUMP_K.0 + (sample.rh_pct - air.rh_pct).abs() / JUMP_RH_PCT.0
        };
        doubted.at_ms < sample.at_ms
            && jump((doubted.at_ms, doubted.air()), sample).is_none()
            && (jumps || self.last.is_none_or(|(_, last)| far(doubted.air()) < far(last)))
    }

    fn accept(&mut self, at_ms: i64, air: Air) {
        let same = self.last.is_some_and(|(last_ms, last)| last == air && at_ms - last_ms <= NEAR_MS);
        if same {
            self.run += 1;
        } else {
            if self.last.is_some() {
                // The run that ends moved once, at its beginning.
                let still = self.run.saturating_sub(1).min(31) as u32;
                self.moved = self.moved.checked_shl(still).unwrap_or(0) << 1 | 1;
                self.compared = (self.compared + still + 1).min(HABIT);
            }
            (self.run, self.run_since_ms) = (1, at_ms);
        }
        self.last = Some((at_ms, air));
        self.heard_ms = at_ms;
    }

    fn stuck(&self, sample: Sample, scene: &Scene<'_>) -> Option<Doubt> {
        let (_, last) = self.last?;
        let lasted_ms = sample.at_ms - self.run_since_ms;
        let same = last == sample.air() && sample.at_ms - self.heard_ms <= NEAR_MS;
        if !same || lasted_ms < scene.stuck_ms || self.run + 1 < STUCK_READINGS {
            return None;
        }
        let habit = (self.moved & ((1 << HABIT) - 1)).count_ones() * 2 >= HABIT && self.compared >= HABIT;
        let moved = (scene.others_moved)(self.run_since_ms, sample.at_ms);
        (habit || moved).then(|| Doubt {
            reason: Reason::Stuck,
            field: "temp_c",
            detail: format!(
                "the sensor has said {} °C and {} % for {:.1} h to the digit, while {}",
                sample.temp_c,
                sample.rh_pct,
                lasted_ms as f64 / HOUR_MS as f64,
                if moved { "another sensor of the zone moved" } else { "it used to move from reading to reading" }
            ),
            mend: "start the sensor again or change its battery; release the reading if the room did stand still"
                .into(),
        })
    }

    fn unit(&self, sample: Sample, scene: &Scene<'_>) -> Option<Doubt> {
        let Sample { at_ms, temp_c, .. } = sample;
        let recent = self.last.filter(|(last_ms, _)| (at_ms - last_ms).abs() <= RECENT_MS);
        let was_c = recent.map_or(scene.set_temp_c, |(_, air)| air.temp_c);
        let (as_if_f, before) = ((temp_c - 32.0) / 1.8, temp_c * 1.8 + 32.0);
        if was_c - temp_c > UNIT_WARMER_K && (before - was_c).abs() <= UNIT_TWICE_K {
            return Some(Doubt {
                reason: Reason::Unit,
                field: "temp_c",
                detail: format!(
                    "temp_c is {temp_c} °C where it was {was_c:.1} °C; that is {before:.1} °C taken for °F"
                ),
                mend: format!("if it was in °C, send {before:.1}"),
            });
        }
        if TempC::new(temp_c).is_err() || temp_c - was_c <= UNIT_WARMER_K || (as_if_f - was_c).abs() > UNIT_NEAR_K {
            return None;
        }
        Some(Doubt {
            reason: Reason::Unit,
            field: "temp_c",
            detail: format!("temp_c is {temp_c} °C where it was {was_c:.1} °C; {temp_c} °F is {as_if_f:.1} °C"),
            mend: format!("if it is °F, send {as_if_f:.1}, and set the sensor to °C"),
        })
    }
}

fn ahead(sample: Sample, scene: &Scene<'_>) -> Option<Doubt> {
    let ahead_ms = sample.at_ms - scene.now_ms;
    (ahead_ms > scene.ahead_ms).then(|| Doubt {
        reason: Reason::ClockAhead,
        field: "at",
        detail: format!("at is {} min in the future; expected a time that has been", ahead_ms / MINUTE_MS),
        mend: "check the clock of the phone or sensor and its offset from UTC".into(),
    })
}

fn impossible(sample: Sample) -> Option<Doubt> {
    let Invalid { what, given, expected, mend } =
        TempC::new(sample.temp_c).map(drop).and_then(|()| RhPct::new(sample.rh_pct).map(drop)).err()?;
    let other_unit = mend.contains("if this is");
    Some(Doubt {
        reason: if other_unit { Reason::Unit } else { Reason::Impossible },
        field: if what == "rh_pct" { "rh_pct" } else { "temp_c" },
        detail: format!("{what} is {given}; expected {expected}"),
        mend,
    })
}

/// A late reading between two that were near it and agree with one another, and not with it.
fn spike(sample: Sample, track: &Timeline) -> Option<Doubt> {
    let after = track.after(sample.at_ms);
    let before = track.after(sample.at_ms - 1).checked_sub(1)?;
    let (before, after) = (track.get(before), (after < track.len()).then(|| track.get(after))?);
    let next = Sample { at_ms: after.0, temp_c: after.1.temp_c, rh_pct: after.1.rh_pct };
    if jump(before, next).is_some() {
        return None;
    }
    let doubt = jump(before, sample)?;
    jump((sample.at_ms, sample.air()), next)?;
    Some(Doubt { reason: Reason::Spike, ..doubt })
}

/// Whether a reading is further from an earlier one than any room gets in that time.
fn jump((from_ms, from): (i64, Air), to: Sample) -> Option<Doubt> {
    let apart_ms = to.at_ms - from_ms;
    if !(0..=NEAR_MS).contains(&apart_ms) {
        return None;
    }
    let minutes = apart_ms as f64 / MINUTE_MS as f64;
    let beyond = |by: f64, (at_once, a_minute): (f64, f64)| by.abs() > at_once + a_minute * minutes;
    let doubt = |field, was: f64, is: f64, unit: &str| Doubt {
        reason: Reason::Jump,
        field,
        detail: format!("{field} jumps from {was} to {is} {unit} in {minutes:.0} min, which no room does"),
        mend: "it is taken if the sensor's next reading says the same; otherwise release or discard it".into(),
    };
    if beyond(to.temp_c - from.temp_c, JUMP_K) {
        return Some(doubt("temp_c", from.temp_c, to.temp_c, "°C"));
    }
    beyond(to.rh_pct - from.rh_pct, JUMP_RH_PCT).then(|| doubt("rh_pct", from.rh_pct, to.rh_pct, "%"))
}

#[cfg(test)]
mod tests;
