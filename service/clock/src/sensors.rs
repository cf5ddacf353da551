//! The sensors of a zone, and how what they say becomes the one series its clocks run on.
//!
//! The series has a point wherever any sensor of the zone spoke. Its air there is the mean of what each sensor last
//! said within the window, hygrometers corrected by their last calibration before they said it. Where sensors differ
//! by more than the tolerance, the point keeps what each said: a clock goes by the slower, and the times say so. All of
//! this follows from the set of readings alone, in whatever order they came.

use std::collections::BTreeMap;

use facts::{HygrometerCalibrated, Reading, SensorId};

use crate::{Air, Timeline, timeline::Change};

/// How sensors of one zone are combined.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Combining {
    pub(crate) window_ms: i64,
    pub(crate) apart_k: f64,
    pub(crate) apart_rh_pct: f64,
}

/// A calibration and from when on it corrects.
#[derive(Debug, Clone, PartialEq)]
pub struct Calibration {
    /// When the hygrometer was read over the salts, ms; readings from then on are corrected.
    pub from_ms: i64,
    /// What it read and what follows.
    pub calibrated: HygrometerCalibrated,
}

/// Calibrations of each sensor, oldest first.
pub(crate) type Calibrations = BTreeMap<SensorId, Vec<Calibration>>;

/// What one sensor said in one zone.
pub(crate) struct Track {
    pub(crate) sensor: Option<SensorId>,
    /// As it was read, uncorrected.
    pub(crate) raw: Timeline,
}

impl Track {
    /// What it last said within the window before an instant, corrected.
    fn last(&self, at_ms: i64, window_ms: i64, calibrations: &Calibrations) -> Option<Air> {
        let (said_ms, raw) = self.raw.get(self.raw.after(at_ms).checked_sub(1)?);
        if at_ms - said_ms > window_ms {
            return None;
        }
        let of_sensor = self.sensor.as_ref().and_then(|sensor| calibrations.get(sensor));
        let calibration = of_sensor.and_then(|all| all.iter().rfind(|calibration| calibration.from_ms <= said_ms));
        Some(calibration.map_or(raw, |Calibration { calibrated, .. }| {
            let rh_pct = calibrated.gain * raw.rh_pct + calibrated.offset_rh_pct;
            Air { rh_pct, ..raw }.held_physical()
        }))
    }
}

/// The sensors of a zone in order of id. Empty as long as no reading of the zone names its sensor: the series is what
/// was said then, and is not kept twice.
#[derive(Default)]
pub(crate) struct Sensors {
    tracks: Vec<Track>,
}

impl Sensors {
    /// What each sensor said; none while the series itself is all there is.
    pub(crate) fn tracks(&self) -> &[Track] {
        &self.tracks
    }

    /// Takes a reading in and brings the series up to date.
    pub(crate) fn put(
        &mut self,
        reading: &Reading,
        series: &mut Timeline,
        combining: Combining,
        calibrations: &Calibrations,
    ) -> Change {
        let (at_ms, air) = (reading.at.timestamp_millis(), Air::new(reading.temp_c, reading.rh_pct));
        if reading.sensor.is_none() && self.tracks.is_empty() {
            return series.put(at_ms, air, None);
        }
        if self.tracks.is_empty() && !series.is_empty() {
            self.tracks.push(Track { sensor: None, raw: series.clone() });
        }
        let track = match self.tracks.binary_search_by(|track| track.sensor.cmp(&reading.sensor)) {
            Ok(i) => i,
            Err(i) => {
                self.tracks.insert(i, Track { sensor: reading.sensor.clone(), raw: Timeline::default() });
                i
            }
        };
        if self.tracks[track].raw.put(at_ms, air, None) == Change::Nothing {
            return Change::Nothing;
        }
        self.combine(at_ms, at_ms + combining.window_ms, series, combining, calibrations)
    }

    /// Makes the points of a stretch of the series anew.
    pub(crate) fn combine(
        &self,
        from_ms: i64,
        to_ms: i64,
        series: &mut Timeline,
        combining: Combining,
        calibrations: &Calibrations,
    ) -> Change {
        let spoken = self.tracks.iter().flat_map(|track| track.raw.between(from_ms, to_ms));
        let mut instants: Vec<i64> = spoken.map(|(at_ms, _)| at_ms).collect();
        instants.sort_unstable();
        instants.dedup();
        let mut first = Change::Nothing;
        for at_ms in instants {
            let said: Vec<Air> =
                self.tracks.iter().filter_map(|t| t.last(at_ms, combining.window_ms, calibrations)).collect();
            let apart = are_apart(&said, combining);
            let change = series.put(at_ms, mean(&said), apart.then(|| said.into_boxed_slice()));
            if first == Change::Nothing {
                first = change;
            }
        }
        first
    }

    pub(crate) fn forget_before(&mut self, at_ms: i64) {
        for track in &mut self.tracks {
            track.raw.forget_before(at_ms);
        }
    }
}

fn mean(said: &[Air]) -> Air {
    let n = said.len() as f64;
    let sum = |of: fn(&Air) -> f64| said.iter().map(of).sum::<f64>();
    // One sensor's word is kept to the digit: (a + 0) / 1 is a.
    Air { temp_c: sum(|air| air.temp_c) / n, rh_pct: sum(|air| air.rh_pct) / n }
}

fn are_apart(said: &[Air], combining: Combining) -> bool {
    let spread = |of: fn(&Air) -> f64| {
        let (least, most) = said.iter().map(of).fold((f64::MAX, f64::MIN), |(l, m), v| (l.min(v), m.max(v)));
        most - least
    };
    said.len() > 1
        && (spread(|air| air.temp_c) > combining.apart_k || spread(|air| air.rh_pct) > combining.apart_rh_pct)
}
