//! Watching the air of each zone against the shop's band, with hysteresis and a delay, so that an opened door pages
//! nobody. Worked out anew from the readings each time: an excursion is named by when it began, and so is its alert.

use facts::{CureKind, ZoneId};

use crate::{Air, Bench, Cure, Timeline, zone::Zone};

/// When the air is worth a word.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirWatch {
    /// Temperature that is well, °C.
    pub temp_c: (f64, f64),
    /// Relative humidity that is well, %.
    pub rh_pct: (f64, f64),
    /// How far back inside ends an excursion: K and % RH.
    pub margin: (f64, f64),
    /// How long it must last before it is told, ms.
    pub delay_ms: i64,
    /// Fall within an hour that is fast: K and % RH.
    pub fall: (f64, f64),
    /// Least distance of a wet coat's surface from the dew point, K.
    pub dew_spread_k: f64,
}

impl Default for AirWatch {
    /// 18 to 26 °C and 40 to 55 % RH: common practice, no source; the humidity is what the ASHRAE handbook's museum
    /// chapter advises. Margins, delay and fall: common practice, no source. 3 K: ISO 8502-4 guidance.
    fn default() -> Self {
        Self {
            temp_c: (18.0, 26.0),
            rh_pct: (40.0, 55.0),
            margin: (0.5, 2.0),
            delay_ms: 20 * 60_000,
            fall: (5.0, 10.0),
            dew_spread_k: physics::surface::MIN_DEW_POINT_SPREAD_K,
        }
    }
}

/// What is wrong with the air.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Trouble {
    /// Colder than the band.
    Cold,
    /// Warmer than the band.
    Warm,
    /// Drier than the band.
    Dry,
    /// Damper than the band.
    Damp,
    /// Temperature falls fast.
    Cooling,
    /// Humidity falls fast.
    Drying,
    /// A coat is wet and the air is near its dew point.
    DewPoint,
}

/// Air out of its band for longer than the delay, and still so.
#[derive(Debug, Clone, PartialEq)]
pub struct Excursion {
    /// Where.
    pub zone: ZoneId,
    /// What is wrong.
    pub trouble: Trouble,
    /// Since when, ms.
    pub since_ms: i64,
    /// The last reading.
    pub air: Air,
}

/// How far back an excursion's beginning is looked for; one that is older began here as far as its name goes.
const LOOK_BACK_MS: i64 = 7 * 24 * 3_600_000;
const HOUR_MS: i64 = 3_600_000;

impl Bench {
    /// Every excursion that is on at `now_ms`. A zone whose sensor is silent has none: nobody knows its air.
    pub fn excursions(&self, now_ms: i64, watch: &AirWatch) -> Vec<Excursion> {
        self.zones.iter().flat_map(|zone| self.excursions_of(zone, now_ms, watch)).collect()
    }

    fn excursions_of(&self, zone: &Zone, now_ms: i64, watch: &AirWatch) -> Vec<Excursion> {
        let Some((last_ms, air)) = zone.timeline.last() else { return vec![] };
        if now_ms - last_ms > self.settings.bridge_ms {
            return vec![];
        }
        let AirWatch { temp_c, rh_pct, margin, .. } = *watch;
        let wet = self.cures_in(zone.set.id.as_str()).any(is_wet);
        let spread = |air: &Air| {
            physics::surface::dew_point_spread_k(air.temp_c, air.rh_pct, air.temp_c).unwrap_or(f64::INFINITY)
        };
        let fell = |of: fn(&Air) -> f64| {
            move |timeline: &Timeline, at_ms: i64, air: &Air| {
                // Against an hour ago and not the highest since: air that comes back after a door was open falls too.
                timeline.between(at_ms - HOUR_MS, at_ms).next().map_or(0.0, |(_, before)| of(&before) - of(air))
            }
        };
        let (cooled, dried) = (fell(|air| air.temp_c), fell(|air| air.rh_pct));
        // How far outside: above zero it is out, below minus the margin it is well again.
        type Measure<'a> = &'a dyn Fn(&Timeline, i64, &Air) -> f64;
        let rows: [(Trouble, Measure<'_>, f64); 7] = [
            (Trouble::Cold, &|_, _, air| temp_c.0 - air.temp_c, margin.0),
            (Trouble::Warm, &|_, _, air| air.temp_c - temp_c.1, margin.0),
            (Trouble::Dry, &|_, _, air| rh_pct.0 - air.rh_pct, margin.1),
            (Trouble::Damp, &|_, _, air| air.rh_pct - rh_pct.1, margin.1),
            (Trouble::Cooling, &|t, at_ms, air| cooled(t, at_ms, air) - watch.fall.0, watch.fall.0 / 2.0),
            (Trouble::Drying, &|t, at_ms, air| dried(t, at_ms, air) - watch.fall.1, watch.fall.1 / 2.0),
            (Trouble::DewPoint, &|_, _, air| if wet { watch.dew_spread_k - spread(air) } else { -1e9 }, 0.5),
        ];
        let on = |(trouble, measure, margin): (Trouble, Measure<'_>, f64)| {
            let since_ms = since(&zone.timeline, now_ms, measure, margin)?;
            let lasted = now_ms - since_ms >= watch.delay_ms;
            lasted.then(|| Excursion { zone: zone.set.id.clone(), trouble, since_ms, air })
        };
        rows.into_iter().filter_map(on).collect()
    }
}

/// Since when it has been out without having been well again, if it is out now.
fn since(timeline: &Timeline, now_ms: i64, measure: &dyn Fn(&Timeline, i64, &Air) -> f64, margin: f64) -> Option<i64> {
    let mut since_ms = None;
    for (at_ms, air) in timeline.between(now_ms - LOOK_BACK_MS, now_ms) {
        let out = measure(timeline, at_ms, &air);
        if out > 0.0 {
            since_ms.get_or_insert(at_ms);
        } else if out < -margin {
            since_ms = None;
        }
    }
    since_ms
}

/// A coat that has not come to its first stage yet.
fn is_wet(cure: &Cure) -> bool {
    cure.begun.cure_kind == CureKind::Coat && (0..cure.begun.milestones.len()).all(|m| cure.told(m).is_none())
}
