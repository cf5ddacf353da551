//! The gate: sorts offered readings into what is taken, known, held and refused. It changes nothing; what it says is
//! written in one piece by `State::take_in`.

use std::collections::{HashMap, HashSet};

use clock::{Air, Bench, Doubt, Sample, Scene, Watch};
use facts::{Reading, RhPct, SensorId, TempC};
use store::{HeldKey, HeldState, NewHeld};

use super::{Offer, Refused, Source, Tally};
use crate::{access, now::instant, state::State};

const MINUTE_MS: i64 = 60_000;
/// Another sensor saw the room move when it moved by this much: half a kelvin, or two percent.
const MOVED_K: f64 = 0.5;
const MOVED_RH_PCT: f64 = 2.0;

/// Readings sorted, ready to be written.
#[derive(Default)]
pub(crate) struct Sorted {
    pub(crate) readings: Vec<Reading>,
    pub(crate) held: Vec<NewHeld>,
    pub(crate) decided: Vec<(HeldKey, HeldState)>,
    pub(crate) tally: Tally,
}

/// One request's way in. For a file that comes in parts it lives over all of them, so that care sees the file whole.
pub(crate) struct Gate {
    by: &'static str,
    watches: HashMap<Source, Watch>,
    /// Rows whose jump waits for the next reading, to be taken back from the refused when it confirms them.
    waiting: HashMap<Source, usize>,
    /// Changes of the notes, kept until the readings are on disk.
    noted: Vec<(Source, Noted)>,
}

/// What is noted of one reading.
pub(super) enum Noted {
    Late,
    Corrected,
    Held(&'static str),
    /// How long after the sensor's own time it came, ms.
    Delay(i64),
}

impl Gate {
    /// A gate for readings that come `by` a way: http, csv, senml, mqtt.
    pub(crate) fn new(by: &'static str) -> Self {
        Self { by, watches: HashMap::new(), waiting: HashMap::new(), noted: Vec::new() }
    }

    pub(crate) fn by(&self) -> &'static str {
        self.by
    }

    /// Sorts readings as things stand. Judged in the order in which they were taken, whatever the order they came in.
    pub(crate) fn sort(&mut self, state: &State, offers: Vec<Offer>) -> Sorted {
        let (bench, now_ms) = (state.bench(), state.now().ms());
        let mut sorted = Sorted::default();
        let mut offers = self.attributed(&bench, offers, now_ms, &mut sorted.tally);
        let late = self.late(&bench, state, &offers);
        if self.by != "csv" {
            self.delays(&offers, now_ms);
        }
        offers.sort_by_key(|offer| offer.sample.at_ms);
        let stuck_ms = i64::from(state.settings.sensors.stuck_hours) * 60 * MINUTE_MS;
        let mut seen: HashMap<(Source, i64), Air> = HashMap::with_capacity(offers.len());
        for offer in offers {
            let Offer { row, source, sample, .. } = offer;
            let track = bench.sensor(source.0.as_str(), source.1.as_ref());
            let air = Air { temp_c: sample.temp_c, rh_pct: sample.rh_pct };
            let there = seen.get(&(source.clone(), sample.at_ms)).copied();
            let there = there.or_else(|| track.and_then(|track| track.exactly(sample.at_ms)));
            if there == Some(air) {
                sorted.tally.known += 1;
                continue;
            }
            let zone = source.0.as_str();
            let judged = self.watches.get_mut(&source).expect("every source has its watch").judge(
                sample,
                &Scene {
                    now_ms,
                    ahead_ms: AHEAD_MS,
                    set_temp_c: set_temp_c(&bench, zone),
                    stuck_ms,
                    track,
                    others_moved: &|from_ms, to_ms| moved(&bench, zone, source.1.as_ref(), from_ms, to_ms),
                },
            );
            if let Some(cleared) = judged.cleared {
                self.clear(&source, cleared, &mut sorted);
            }
            if let Some(doubt) = judged.doubt {
                self.hold(row, source, sample, doubt, &mut sorted);
                continue;
            }
            let Some(reading) = reading(&source, sample) else { continue };
            if late.contains(&row) {
                sorted.tally.late += 1;
                self.noted.push((source.clone(), Noted::Late));
            }
            if there.is_some() {
                sorted.tally.corrected += 1;
                self.noted.push((source.clone(), Noted::Corrected));
            }
            sorted.tally.taken += 1;
            seen.insert((source, sample.at_ms), air);
            sorted.readings.push(reading);
        }
        self.waiting.retain(|source, _| self.watches.get(source).is_some_and(|watch| watch.doubted().is_some()));
        sorted.tally.waiting = self.waiting.len();
        sorted
    }

    /// Holds a reading back, and says so.
    fn hold(&mut self, row: usize, source: Source, sample: Sample, doubt: Doubt, sorted: &mut Sorted) {
        let reason = doubt.reason.word();
        sorted.tally.refuse(Refused {
            row,
            field: Some(doubt.field.into()),
            detail: doubt.detail.clone(),
            mend: format!("{}; it is held: GET /api/v1/zones/{}/quarantine", doubt.mend, source.0),
            quarantined: Some(reason),
        });
        sorted.held.push(NewHeld {
            key: key(&source, sample),
            by: self.by.into(),
            reason: reason.into(),
            detail: doubt.detail,
            mend: doubt.mend,
        });
        if doubt.reason == clock::Reason::Jump {
            self.waiting.insert(source.clone(), row);
        }
        self.noted.push((source, Noted::Held(reason)));
    }

    /// Those that can be laid to a zone and a time; the others are refused, since nobody could release them.
    fn attributed(&self, bench: &Bench, offers: Vec<Offer>, now_ms: i64, tally: &mut Tally) -> Vec<Offer> {
        let who = access::current();
        let attribute = |offer: Offer| {
            let Offer { row, source, sample, .. } = &offer;
            if let Some(who) = who.as_ref().filter(|who| !who.reads(source.0.as_str())) {
                let detail = format!("zone \"{}\" is none of \"{}\"", source.0, who.name);
                let mend = "post to a zone of this token, or ask the owner for another".into();
                tally.refuse(Refused { row: *row, field: Some("zone".into()), detail, mend, quarantined: None });
                return None;
            }
            let refusal = bench.admit_offer(&source.0, sample.at_ms, now_ms).err();
            let refused = |field: &str, detail: String, mend: String| {
                let field = (!field.is_empty()).then(|| field.into());
                Refused { row: *row, field, detail, mend, quarantined: None }
            };
            let refused = match refusal {
                Some(refusal) => {
                    let problem = crate::problem::Problem::from(refusal);
                    refused(problem.field.as_deref().unwrap_or_default(), problem.detail, problem.mend)
                }
                None if !sample.temp_c.is_finite() => {
                    refused("temp_c", "temp_c is no number".into(), "leave the row out".into())
                }
                None if !sample.rh_pct.is_finite() => {
                    refused("rh_pct", "rh_pct is no number".into(), "leave the row out".into())
                }
                None => return Some(offer),
            };
            tally.refuse(refused);
            None
        };
        offers.into_iter().filter_map(attribute).collect()
    }

    /// Makes a watch for every source, and finds the rows that were taken before one that came earlier.
    fn late(&mut self, bench: &Bench, state: &State, offers: &[Offer]) -> HashSet<usize> {
        let mut newest: HashMap<&Source, i64> = HashMap::new();
        let mut late = HashSet::new();
        for offer in offers {
            let source = &offer.source;
            let newest_ms = newest.entry(source).or_insert_with(|| {
                let track = bench.sensor(source.0.as_str(), source.1.as_ref());
                self.watches.entry(source.clone()).or_insert_with(|| {
                    let mut watch = Watch::of(track);
                    watch.doubt(state.intake.doubted().get(source).copied());
                    watch
                });
                track.and_then(clock::Timeline::last).map_or(i64::MIN, |(last_ms, _)| last_ms)
            });
            if offer.sample.at_ms < *newest_ms {
                late.insert(offer.row);
            }
            *newest_ms = (*newest_ms).max(offer.sample.at_ms);
        }
        late
    }

    /// Notes how long after the sensor's own time its newest reading came.
    fn delays(&mut self, offers: &[Offer], now_ms: i64) {
        let mut newest: HashMap<&Source, i64> = HashMap::new();
        for offer in offers.iter().filter(|offer| offer.stamped) {
            let at_ms = newest.entry(&offer.source).or_insert(i64::MIN);
            *at_ms = (*at_ms).max(offer.sample.at_ms);
        }
        self.noted.extend(newest.into_iter().map(|(source, at_ms)| (source.clone(), Noted::Delay(now_ms - at_ms))));
    }

    /// An earlier jump was confirmed: it is taken after all, whether it is held on disk or stands in this request.
    fn clear(&mut self, source: &Source, cleared: Sample, sorted: &mut Sorted) {
        let key = key(source, cleared);
        let held = sorted.held.len();
        sorted.held.retain(|new| new.key != key);
        if held == sorted.held.len() {
            sorted.decided.push((key, HeldState::Released));
        }
        if let Some(row) = self.waiting.remove(source) {
            sorted.tally.refused.retain(|refused| refused.row != row);
            sorted.tally.cleared.push(row);
        }
        sorted.tally.taken += 1;
        sorted.readings.extend(reading(source, cleared));
    }

    /// What was sorted is on disk: remembers what waits and what is to be noted.
    pub(crate) fn remember(&mut self, state: &State) {
        {
            let mut doubted = state.intake.doubted();
            for (source, watch) in &self.watches {
                match watch.doubted() {
                    Some(sample) => drop(doubted.insert(source.clone(), sample)),
                    None => drop(doubted.remove(source)),
                }
            }
        }
        let mut notes = state.intake.notes();
        for (source, noted) in self.noted.drain(..) {
            notes.entry(source).or_default().note(noted);
        }
    }
}

/// How far ahead of now a reading may lie: sensors run a little fast. The bench forgives as much.
const AHEAD_MS: i64 = MINUTE_MS;

fn set_temp_c(bench: &Bench, zone: &str) -> f64 {
    bench.zone(zone).map_or(20.0, |set| set.set_temp_c.get())
}

/// Whether another sensor of the zone moved between two instants.
fn moved(bench: &Bench, zone: &str, sensor: Option<&SensorId>, from_ms: i64, to_ms: i64) -> bool {
    bench.sensors(zone).into_iter().filter(|(other, _)| *other != sensor).any(|(_, track)| {
        let spread = |of: fn(&Air) -> f64| {
            let all = track.between(from_ms, to_ms).map(|(_, air)| of(&air));
            let (least, most) = all.fold((f64::MAX, f64::MIN), |(least, most), v| (least.min(v), most.max(v)));
            most - least
        };
        spread(|air| air.temp_c) >= MOVED_K || spread(|air| air.rh_pct) >= MOVED_RH_PCT
    })
}

fn key(source: &Source, sample: Sample) -> HeldKey {
    let Sample { at_ms, temp_c, rh_pct } = sample;
    HeldKey { zone: source.0.clone(), sensor: source.1.clone(), at_ms, temp_c, rh_pct }
}

fn reading(source: &Source, sample: Sample) -> Option<Reading> {
    // Care held back what does not fit.
    let (temp_c, rh_pct) = (TempC::new(sample.temp_c).ok()?, RhPct::new(sample.rh_pct).ok()?);
    Some(Reading { zone: source.0.clone(), sensor: source.1.clone(), at: instant(sample.at_ms), temp_c, rh_pct })
}
