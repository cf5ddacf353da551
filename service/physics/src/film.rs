//! Drying of wet films: how much faster in dry warm air, and how much slower when laid on thick.
//!
//! Everything here is a ratio to a climate and a thickness at which the time is known. Published
//! formulas for the evaporation itself disagree by 2 to 7 times in still air, so none is offered.

mod factor;
mod two_stage;

pub use factor::{evaporation_factor, wet_film_drying_factor};
pub use two_stage::two_stage_drying_h;
