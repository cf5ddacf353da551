//! Moist air: what the room's thermometer and hygrometer say about water vapour.
//!
//! Humidity here is over ice below 0.01 °C and over water above it, as in the ASHRAE tables. Most
//! electronic sensors report humidity over (supercooled) water even in frost; between 0 and −5 °C
//! their reading is up to 5 % of itself lower than the one meant here.

mod dew_point;
mod salt;
mod saturation;
mod vapour;
mod wet_bulb;

pub use dew_point::{dew_point_c, dew_point_of_pressure_c};
pub use salt::{SaturatedSalt, salt_rh_pct};
pub use saturation::saturation_pressure_pa;
pub use vapour::{absolute_humidity_g_m3, humidity_ratio, rh_pct_at, vapour_pressure_pa, vpd_pa};
pub use wet_bulb::wet_bulb_c;

use crate::range::{Result, within};

/// Standard atmospheric pressure at sea level, in pascals.
///
/// Source: ISO 2533:1975, standard atmosphere; ASHRAE Handbook, Fundamentals (2017), ch. 1. Give it
/// where the shop has no barometer: 5 % less air pressure, some 400 m of height, moves the wet
/// bulb by about 0.1 K.
pub const STANDARD_PRESSURE_PA: f64 = 101_325.0;

/// Air pressures at which people work, 0.3 to 1.2 bar. Common practice, no source: a number outside
/// is a barometer read in hectopascals or bars.
fn air_pressure(pressure_pa: f64) -> Result<f64> {
    within("pressure_pa", pressure_pa, 30_000.0, 120_000.0, "Pa")
}
