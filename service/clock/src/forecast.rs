//! The seam of the forecast: what is expected of a zone's air, and what a forecast is given to go by.

use crate::{Air, Intended, Timeline};

/// Minutes between two steps of an outlook.
pub const STEP_MS: i64 = 15 * 60_000;
/// Steps of an outlook: 72 h. It is longer where a plan reaches past its second day. Past its end the last day is
/// repeated, and a day with a plan in it must not be.
pub const STEPS: usize = 288;
/// Steps of a day.
pub(crate) const DAY_STEPS: usize = 96;
pub(crate) const DAY_MS: i64 = DAY_STEPS as i64 * STEP_MS;

/// Heat of evaporation of water over the gas constant of its vapour, 2.5 MJ/kg over 461.5 J/(kg K), in kelvin: by
/// Clausius and Clapeyron saturation pressure rises by this over T² per kelvin.
const CLAPEYRON_K: f64 = 5417.0;

/// Expected air at one step and how far it may lie to either side (80 % band).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// The likeliest air.
    pub air: Air,
    /// Half width of the band in temperature, K.
    pub spread_k: f64,
    /// Half width of the band in relative humidity, % RH.
    pub spread_rh_pct: f64,
}

impl Expected {
    /// From temperature, °C, and vapour pressure, Pa, each with the half width of its band. Relative humidity follows
    /// from both; so does its band, the two taken as independent, which makes it rather too wide than too narrow.
    pub(crate) fn of_vapour(temp_c: f64, vapour_pa: f64, spread_k: f64, spread_pa: f64) -> Self {
        let (coldest, warmest) = facts::TempC::RANGE;
        let temp_c = temp_c.clamp(coldest, warmest);
        let saturation_pa = physics::air::saturation_pressure_pa(temp_c).expect("a workshop's temperature");
        let air = Air { temp_c, rh_pct: 100.0 * vapour_pa / saturation_pa }.held_physical();
        let per_k = air.rh_pct * CLAPEYRON_K / (temp_c + physics::rate::KELVIN_AT_0_C).powi(2);
        let spread_rh_pct = (100.0 * spread_pa / saturation_pa).hypot(per_k * spread_k);
        Self { air, spread_k, spread_rh_pct }
    }

    /// The airs to ask a law for its slowest and fastest rate: the middle and the four corners of the band.
    /// No law is assumed to rise or fall with either quantity.
    pub(crate) fn corners(&self) -> [Air; 5] {
        let corner = |k: f64, rh: f64| {
            Air { temp_c: self.air.temp_c + k * self.spread_k, rh_pct: self.air.rh_pct + rh * self.spread_rh_pct }
                .held_physical()
        };
        [self.air, corner(-1.0, -1.0), corner(-1.0, 1.0), corner(1.0, -1.0), corner(1.0, 1.0)]
    }
}

/// The air expected from an instant on, one entry per [`STEP_MS`], at least [`STEPS`] + 1 of them.
#[derive(Debug, Clone)]
pub struct Outlook {
    /// Where it begins: the last reading; in a zone without a sensor the first plan, before which the first entry
    /// holds.
    pub from_ms: i64,
    /// One entry per step; the first is the last reading itself.
    pub steps: Vec<Expected>,
}

impl Outlook {
    /// What is expected at an instant; past the end the last day is repeated.
    pub fn expected_at(&self, at_ms: i64) -> Expected {
        let last = self.steps.len() - 1;
        let past = ((at_ms - self.from_ms).max(0)) as f64 / STEP_MS as f64;
        let beyond = (past - last as f64).max(0.0) / DAY_STEPS as f64;
        let within = past - beyond.ceil() * DAY_STEPS as f64;
        let step = (within as usize).min(last - 1);
        let (here, next, part) = (self.steps[step], self.steps[step + 1], within - step as f64);
        let between = |from: f64, to: f64| from + (to - from) * part;
        Expected {
            air: here.air.towards(next.air, part),
            spread_k: between(here.spread_k, next.spread_k),
            spread_rh_pct: between(here.spread_rh_pct, next.spread_rh_pct),
        }
    }

    /// The likeliest air at an instant.
    pub fn air_at(&self, at_ms: i64) -> Air {
        self.expected_at(at_ms).air
    }
}

/// A way to foresee the air of a zone.
pub trait Forecast: Send + Sync {
    /// Looks ahead from the last reading, given what the shop means the air to be.
    fn outlook(&self, history: &Timeline, intended: &Intended) -> Outlook;
}
