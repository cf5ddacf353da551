//! The age a cure has gathered, sorted by the temperature at which it was gathered. From it the age under another
//! temperature response follows without the readings: each dose is multiplied by what its temperature is worth.

use std::collections::BTreeMap;

use crate::{
    Band, Bench, Climate, Cure, Law,
    ages::{Ages, AirOf, Past},
    forecast::STEP_MS,
};

/// Temperatures this near to each other are one dose, K. Their mean stands for them: at a response of e per 10 K the
/// age is wrong by less than one part in 10^4.
const BIN_K: f64 = 0.25;

/// Age gathered at one temperature.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dose {
    /// Air temperature, °C.
    pub temp_c: f64,
    /// Age gathered at it, reference hours.
    pub age_h: f64,
}

/// All a cure gathered up to an instant.
#[derive(Debug, Clone, PartialEq)]
pub struct Doses {
    /// Doses, coldest first; none where no age was gathered at all.
    pub doses: Vec<Dose>,
    /// How well the air was known.
    pub climate: Climate,
    /// Whether it lay in a zone before the first reading that is kept of it: then its set-point stood in.
    pub before_readings: bool,
}

impl Bench {
    /// What a cure, open or closed, has gathered by an instant under a law. The same sum as its clock makes.
    pub fn doses(&self, cure: &Cure, until_ms: i64, law: &Law) -> Doses {
        let mut bins: BTreeMap<i64, (f64, f64)> = BTreeMap::new();
        let (mut climate, mut before_readings) = (Climate::Recorded, false);
        let ends = cure.legs.iter().skip(1).map(|next| next.from_ms).chain([i64::MAX]);
        for (leg, end_ms) in cure.legs.iter().zip(ends).take_while(|(leg, _)| leg.from_ms < until_ms) {
            let end_ms = end_ms.min(until_ms);
            if !climate.is_assumed() {
                climate = self.climate_of(leg.zone, leg.from_ms, end_ms);
            }
            let first = self.zones[leg.zone].timeline.first();
            before_readings |= first.is_some_and(|(first_ms, _)| leg.from_ms < first_ms);
            self.gather(leg.zone, (leg.from_ms, end_ms), law, &mut bins);
        }
        let dose = |(age_h, warmth): (f64, f64)| Dose { temp_c: warmth / age_h, age_h };
        Doses {
            doses: bins.into_values().filter(|(age_h, _)| *age_h > 0.0).map(dose).collect(),
            climate,
            before_readings,
        }
    }

    /// Adds what was gathered in a zone from an instant to another, in steps no longer than the clock's own.
    fn gather(&self, zone: usize, (from_ms, end_ms): (i64, i64), law: &Law, bins: &mut BTreeMap<i64, (f64, f64)>) {
        let of_zone = &self.zones[zone];
        // Only the readings it lay in, so that a cure of last year does not cost the year since.
        let timeline = of_zone.timeline.cut(from_ms, end_ms);
        let set = of_zone.intended.set;
        let past = Past { timeline: &timeline, set, bridge_ms: self.settings.bridge_ms };
        let air = AirOf { past, outlook: of_zone.outlook(self.forecast.as_ref()) };
        let ages = Ages::new(law.clone(), from_ms, past);
        let mut before = (from_ms, ages.at(from_ms, Band::Middle, air));
        while before.0 < end_ms {
            let at_ms = (before.0 + STEP_MS).min(end_ms);
            let age_h = ages.at(at_ms, Band::Middle, air);
            let temp_c = of_zone.air_at(before.0 + (at_ms - before.0) / 2, self.forecast.as_ref()).temp_c;
            let bin = bins.entry((temp_c / BIN_K).floor() as i64).or_default();
            bin.0 += age_h - before.1;
            bin.1 += (age_h - before.1) * temp_c;
            before = (at_ms, age_h);
        }
    }
}
