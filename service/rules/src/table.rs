//! A law as a table: a rule in force is sampled once over every air a workshop can have, so that the integrator
//! never calls a script, and a script that fails somewhere is found before it is in force.

use clock::Air;
use facts::TempC;

/// Steps of the table. Straight lines between steps 0.5 K apart miss an Arrhenius law of 80 kJ/mol by 0.04 %.
/// A threshold in a script becomes a ramp one step wide: put it on a whole or half degree, or on a multiple of 2.5 %.
const TEMP_STEP_C: f64 = 0.5;
const RH_STEP_PCT: f64 = 2.5;
/// No workshop has perfectly dry air, and formulas with a logarithm of RH have no value there.
const LEAST_RH_PCT: f64 = 1.0;
const TEMPS: usize = ((TempC::RANGE.1 - TempC::RANGE.0) / TEMP_STEP_C) as usize + 1;
const RHS: usize = (100.0 / RH_STEP_PCT) as usize + 1;
/// Rates by temperature and humidity.
pub(crate) struct RateTable(Vec<f64>);

impl RateTable {
    /// Samples the rates at every step: `rates_of` these temperatures, each in all these humidities, in that order.
    pub(crate) fn sample<E>(rates_of: impl FnOnce(&[f64], &[f64]) -> Result<Vec<f64>, E>) -> Result<Self, E> {
        let temps: [f64; TEMPS] = std::array::from_fn(|t| TempC::RANGE.0 + t as f64 * TEMP_STEP_C);
        let rhs: [f64; RHS] = std::array::from_fn(|h| (h as f64 * RH_STEP_PCT).max(LEAST_RH_PCT));
        rates_of(&temps, &rhs).map(Self)
    }

    /// The rate in an air, bilinear between samples. Airs beyond the table are held at its edge; readings cannot be.
    pub(crate) fn rate(&self, air: Air) -> f64 {
        let place = |value: f64, step: f64, n: usize| {
            let at = (value / step).clamp(0.0, (n - 1) as f64);
            let low = (at as usize).min(n - 2);
            (low, at - low as f64)
        };
        let (t, t_part) = place(air.temp_c - TempC::RANGE.0, TEMP_STEP_C, TEMPS);
        let (h, h_part) = place(air.rh_pct, RH_STEP_PCT, RHS);
        let at = |t: usize, h: usize| self.0[t * RHS + h];
        let along = |t: usize| at(t, h) + (at(t, h + 1) - at(t, h)) * h_part;
        along(t) + (along(t + 1) - along(t)) * t_part
    }
}
