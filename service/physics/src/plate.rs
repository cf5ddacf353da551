//! Moisture soaking into, or out of, a plate: a top, a brace, a film.
//!
//! A published diffusion coefficient of wood is good to a factor of 2 or 3, and so is every time
//! computed from it.

mod fourier;
mod sorption;

pub use fourier::{Faces, fourier_number, hours_to_fraction};
pub use sorption::{centre_fraction, sorbed_fraction};
