//! The wood of an instrument: what the air of the zones it has been in has made of its plates, and what comes next.
//!
//! Moisture in a plate depends on its own history, so there is no clock for it: each plate is run through the air by the
//! solver of `physics` when somebody asks. A plate forgets (8 relaxation times leave 1/3000 of where it began), so a
//! bounded stretch of air is enough, and a reading costs nothing however many instruments wait. [`Wood`] is taken out of
//! the bench whole, so that nobody waits for a solver. Start reading at `felt.rs`, then `run.rs`.

mod crack;
mod felt;
mod run;
mod species;

use facts::{FacesOpen, PlateAdded};
use physics::plate::{EXCHANGE_BAND, Faces, Sheet, wood_exchange};

pub use crack::{Closing, Gluing, STILL_PCT_A_DAY};
pub use felt::Wood;
pub use run::{Run, Start, Times, Waiting};
pub use species::{Movement, movement};

use crate::ages::{HOUR_MS, to_ms};

/// A plate as the bench keeps it.
#[derive(Debug, Clone)]
pub struct Plate {
    /// As it was added.
    pub added: PlateAdded,
    /// When that was, ms: its moisture, if it was said, is of then.
    pub at_ms: i64,
}

/// A stretch of an instrument in one zone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Stay {
    pub(crate) zone: usize,
    pub(crate) from_ms: i64,
}

/// The air a shop wants its instruments in. The defaults (40 to 55 %, 18 to 26 °C) are common practice, no source;
/// compare 40 to 55 % and 20 to 22 °C in the ASHRAE Handbook's advice for museums.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Target {
    /// Driest, % RH.
    pub rh_low_pct: f64,
    /// Dampest, % RH.
    pub rh_high_pct: f64,
    /// Temperature at which humidity is turned into moisture of wood and back, °C: the middle of the shop's band.
    pub temp_c: f64,
}

impl Target {
    /// Moisture content of wood at the dry and the damp edge of the band, %.
    pub fn moisture_pct(&self) -> (f64, f64) {
        (self.moisture_at_pct(self.rh_low_pct), self.moisture_at_pct(self.rh_high_pct))
    }

    /// Relative humidity in the middle of the band, %.
    pub fn middle_rh_pct(&self) -> f64 {
        f64::midpoint(self.rh_low_pct, self.rh_high_pct)
    }

    /// Moisture content in the middle of the band, %.
    pub fn middle_pct(&self) -> f64 {
        self.moisture_at_pct(self.middle_rh_pct())
    }

    /// Moisture content of wood that has lived at a relative humidity, %.
    pub fn moisture_at_pct(&self, rh_pct: f64) -> f64 {
        emc_pct(self.temp_c, rh_pct)
    }

    /// Relative humidity in which wood of this moisture would be in balance, %; 100 where it is wetter than any air.
    pub fn equivalent_rh_pct(&self, moisture_pct: f64) -> f64 {
        physics::wood::rh_pct_for_emc(self.temp_c, moisture_pct).unwrap_or(100.0)
    }
}

/// Moisture content that air brings wood to, %.
pub(crate) fn emc_pct(temp_c: f64, rh_pct: f64) -> f64 {
    physics::wood::emc_pct(temp_c, rh_pct).expect("the air of a workshop is inside the range of the equation")
}

/// The plate as the solver sees it.
fn sheet(plate: &PlateAdded, moisture_pct: f64) -> Sheet {
    let faces = match plate.faces_open {
        FacesOpen::One => Faces::One,
        FacesOpen::Both => Faces::Both,
    };
    Sheet::new(plate.thickness_mm / 1000.0, faces, moisture_pct).expect("its thickness and moisture were checked")
}

/// Relaxation times after which a plate's beginning counts for nothing.
const FORGOTTEN: f64 = 8.0;
/// Longest stretch of air a plate is run through. A thicker one begins in balance with the air of then, which is said.
const LONGEST_H: f64 = 120.0 * 24.0;

/// How much air behind it the slowest possible plate of these measures still feels, ms.
pub(crate) fn memory_ms(plate: &PlateAdded) -> i64 {
    let slow = wood_exchange(8.0).map(|exchange| exchange.times(1.0 / EXCHANGE_BAND));
    let relaxation_h = slow.and_then(|slow| sheet(plate, 8.0).relaxation_h(slow));
    to_ms(relaxation_h.map_or(LONGEST_H, |hours| (FORGOTTEN * hours).min(LONGEST_H)))
}

/// Milliseconds of an hour, whole.
const WHOLE_HOUR_MS: i64 = HOUR_MS as i64;
