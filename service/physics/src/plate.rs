//! Moisture soaking into, or out of, a plate: a top, a brace, a film.
//!
//! In steady air Crank's series answers at once; in air that changes, [`Sheet`] is stepped through it.
//! A published diffusion coefficient of wood is good to a factor of 2 or 3, and so is every time
//! computed from it.

mod exchange;
mod fourier;
mod sheet;
mod sorption;

pub use exchange::{EXCHANGE_BAND, Exchange, wood_exchange};
pub use fourier::{Faces, fourier_number, hours_to_fraction};
pub use sheet::Sheet;
pub use sorption::{centre_fraction, sorbed_fraction};
