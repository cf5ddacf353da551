//! Formulas and nothing else: this crate must not know a material, a clock, a file or a shop.
//!
//! It is responsible for published equations in plain `f64`, each argument carrying its unit in its
//! name (`temp_c`, `rh_pct`, `film_um`, `age_h`), and for their inverses. It never reads a clock,
//! allocates a shared state, or wakes: it is called. Constants that belong to one glue or one
//! finish are arguments.
//!
//! A number outside an equation's range is an [`OutOfRange`] error that names the argument. No
//! function returns NaN or an infinity, and none moves a number into its range unasked.
//!
//! Every public function says its meaning, equation, arguments, range, source and departures.
//! Start reading at [`air::saturation_pressure_pa`]; the rest is written the same way. The tables
//! that the formulas are held against are in `tests/reference/`.
//!
//! | module | subject |
//! | --- | --- |
//! | [`air`] | moist air: vapour pressure, dew point, wet bulb |
//! | [`wood`] | moisture that wood comes to in that air, and how it moves |
//! | [`rate`] | how much faster a cure runs warm than cool, summed over a history |
//! | [`strength`] | strength against equivalent age |
//! | [`film`] | drying of wet films |
//! | [`surface`] | how far a surface is from sweating |
//! | [`plate`] | moisture soaking into a plate |
//! | [`strings`] | pitch, unit weight and tension of strings |
//! | [`statics`] | what their pull does to the joints of an instrument |
//! | [`line`](mod@line) | a straight line through measurements |

pub mod air;
pub mod film;
pub mod line;
pub mod plate;
mod range;
pub mod rate;
mod search;
pub mod statics;
pub mod strength;
pub mod strings;
pub mod surface;
pub mod wood;

pub use range::{OutOfRange, Result};
