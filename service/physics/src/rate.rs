//! How fast a cure runs at one temperature against another, and what a history of temperatures adds
//! up to.
//!
//! A rate here is a pure factor: 1 at the reference temperature, 2 where an hour does the work of
//! two. A single activation energy means something for a reaction, such as an epoxy; a glue that
//! sets by losing water needs the drying terms of [`film`](crate::film) and
//! [`plate`](crate::plate).

mod degree;
mod history;
mod law;

pub use degree::autocatalytic_degree;
pub use history::{equivalent_age_h, temperature_time_factor_c_h};
pub use law::{activation_from_two_times, arrhenius, q10};

/// Molar gas constant, J/(mol K). Exact since the SI of 2019 (product of two defining constants),
/// cut to ten digits. Source: CODATA 2018.
pub const GAS_CONSTANT: f64 = 8.314462618;

/// 0 °C in kelvin. Source: definition of the Celsius scale.
pub const KELVIN_AT_0_C: f64 = 273.15;

/// 1/T in 1/K of a temperature in °C.
fn per_kelvin(temp_c: f64) -> f64 {
    1.0 / (temp_c + KELVIN_AT_0_C)
}

/// An apparent activation energy, kJ/mol. Negative where warmth slows a process; the published
/// cures compared here lie from 33 to 147.
fn activation(activation_kj_mol: f64) -> crate::Result<f64> {
    crate::range::within("activation_kj_mol", activation_kj_mol, -200.0, 500.0, "kJ/mol")
}
