//! The air as the wood of one instrument felt it: moisture contents it was drawn to, zone after zone, and those to come.

use facts::{InstrumentId, PlateAdded, ZoneId};

use super::{Start, Stay, WHOLE_HOUR_MS, emc_pct, memory_ms};
use crate::{Bench, Climate, STEP_MS};

/// Air older than this is taken by the hour: what a plate has half forgotten needs no minutes.
const FINE_MS: i64 = 7 * 24 * WHOLE_HOUR_MS;
/// How far ahead a plate is run, hours: 60 days. Past the outlook its last day is repeated.
const AHEAD_H: i64 = 60 * 24;
/// Places within a step at which the air is looked at.
const LOOKS: i64 = 3;

/// A stretch of air, by the moisture content it draws wood to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Felt {
    pub(super) from_ms: i64,
    pub(super) to_ms: i64,
    pub(super) emc_pct: f64,
}

/// A plate with where its run begins.
#[derive(Debug, Clone)]
pub(super) struct Begun {
    pub(super) plate: PlateAdded,
    pub(super) start: Start,
    pub(super) from_ms: i64,
    pub(super) moisture_pct: f64,
}

/// The wood of one instrument at an instant, with all the air it needs to be run.
#[derive(Debug, Clone)]
pub struct Wood {
    /// Where the instrument is.
    pub zone: ZoneId,
    /// Since when, ms.
    pub since_ms: i64,
    /// The instant it was asked about, ms.
    pub now_ms: i64,
    /// How well the air its plates were run through is known.
    pub climate: Climate,
    /// Moisture content that the air of its zone draws wood to now, %.
    pub emc_now_pct: f64,
    /// The same, the mean over the last week there.
    pub emc_week_pct: f64,
    pub(super) plates: Vec<Begun>,
    /// Air from the earliest begin of a plate to now.
    pub(super) past: Vec<Felt>,
    /// Air to come, hour by hour: the middle of the outlook. Its edges are not followed, because a plate answers to days of
    /// air, over which no edge is held, and its own coefficients are known far worse.
    pub(super) ahead_pct: Vec<f64>,
}

impl Wood {
    /// Its plates, in order of id.
    pub fn plates(&self) -> impl Iterator<Item = &PlateAdded> {
        self.plates.iter().map(|begun| &begun.plate)
    }
}

impl Bench {
    /// The wood of an instrument; none while nobody has said where it is.
    pub fn wood(&self, instrument: &InstrumentId, now_ms: i64) -> Option<Wood> {
        let stays = self.stays.get(instrument)?;
        let (first, last) = (stays.first()?, stays.last()?);
        let of_instrument = self.plates.values().filter(|plate| plate.added.instrument == *instrument);
        let plates: Vec<_> = of_instrument.map(|plate| self.begun(plate, stays, first.from_ms, now_ms)).collect();
        let from_ms = plates.iter().map(|begun| begun.from_ms).min().unwrap_or(now_ms);
        let mut wood = Wood {
            zone: self.zones[last.zone].set.id.clone(),
            since_ms: last.from_ms,
            now_ms,
            climate: Climate::Recorded,
            emc_now_pct: self.emc_at(last.zone, now_ms),
            emc_week_pct: self.emc_of_week(last.zone, now_ms),
            plates,
            past: Vec::new(),
            ahead_pct: Vec::new(),
        };
        let ends = stays.iter().skip(1).map(|next| next.from_ms).chain([now_ms]);
        for (stay, end_ms) in stays.iter().zip(ends).filter(|(_, end_ms)| *end_ms >= from_ms) {
            let (from_ms, to_ms) = (stay.from_ms.max(from_ms), end_ms.min(now_ms));
            self.feel(stay.zone, from_ms, to_ms, now_ms, &mut wood.past);
            if !wood.climate.is_assumed() {
                wood.climate = self.climate_of(stay.zone, from_ms, to_ms);
            }
        }
        let hour = |h: i64| self.emc_mean(last.zone, now_ms + h * WHOLE_HOUR_MS, WHOLE_HOUR_MS);
        wood.ahead_pct = (0..AHEAD_H).map(hour).collect();
        Some(wood)
    }

    /// Where the run of a plate begins: where its moisture was said, else where its instrument first was, but no further
    /// back than it remembers.
    fn begun(&self, plate: &super::Plate, stays: &[Stay], first_ms: i64, now_ms: i64) -> Begun {
        let said = plate.added.moisture_pct;
        let known_ms = said.map_or(first_ms, |_| plate.at_ms.max(first_ms)).min(now_ms);
        let remembered_ms = now_ms - memory_ms(&plate.added);
        let from_ms = known_ms.max(remembered_ms);
        let start = match said {
            _ if from_ms > known_ms => Start::Forgotten,
            Some(_) => Start::Measured,
            None => Start::Assumed,
        };
        let stay = stays.partition_point(|stay| stay.from_ms <= from_ms).max(1) - 1;
        let moisture_pct = match (start, said) {
            (Start::Measured, Some(said_pct)) => said_pct,
            _ => self.emc_of_week(stays[stay].zone, from_ms),
        };
        Begun { plate: plate.added.clone(), start, from_ms, moisture_pct }
    }

    fn feel(&self, zone: usize, from_ms: i64, to_ms: i64, now_ms: i64, felt: &mut Vec<Felt>) {
        let mut at_ms = from_ms;
        while at_ms < to_ms {
            let step_ms = if at_ms < now_ms - FINE_MS { WHOLE_HOUR_MS } else { STEP_MS };
            let end_ms = (at_ms + step_ms).min(to_ms);
            felt.push(Felt { from_ms: at_ms, to_ms: end_ms, emc_pct: self.emc_mean(zone, at_ms, end_ms - at_ms) });
            at_ms = end_ms;
        }
    }

    fn emc_at(&self, zone: usize, at_ms: i64) -> f64 {
        let air = self.zones[zone].air_at(at_ms, self.forecast.as_ref()).held_physical();
        emc_pct(air.temp_c, air.rh_pct)
    }

    fn emc_mean(&self, zone: usize, from_ms: i64, span_ms: i64) -> f64 {
        let look = |i: i64| self.emc_at(zone, from_ms + span_ms * (2 * i + 1) / (2 * LOOKS));
        (0..LOOKS).map(look).sum::<f64>() / LOOKS as f64
    }

    /// Mean over the week before an instant, by the hour; over what was recorded of it, if that is less.
    fn emc_of_week(&self, zone: usize, at_ms: i64) -> f64 {
        let first_ms = self.zones[zone].timeline.first().map_or(at_ms, |(first_ms, _)| first_ms);
        let hours = ((at_ms - first_ms) / WHOLE_HOUR_MS).clamp(0, FINE_MS / WHOLE_HOUR_MS);
        if hours == 0 {
            return self.emc_at(zone, at_ms);
        }
        (1..=hours).map(|h| self.emc_mean(zone, at_ms - h * WHOLE_HOUR_MS, WHOLE_HOUR_MS)).sum::<f64>() / hours as f64
    }
}
