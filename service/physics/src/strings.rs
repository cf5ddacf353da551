//! Strings: pitch, unit weight, tension, and the inches that gauges are sold in.
//!
//! Start reading at [`tension_n`]; [`plain_kg_m`] and [`wound_kg_m`] give it the unit weight,
//! [`equal_temperament_hz`] the frequency.

mod inch;
mod pitch;
mod tension;
mod weight;

pub use inch::{mm_from_inches, mm_from_thousandths};
pub use pitch::equal_temperament_hz;
pub use tension::{NEWTONS_PER_POUND, stress_mpa, tension_n, tension_ratio};
pub use weight::{STEEL_KG_M3, plain_kg_m, wound_kg_m};
