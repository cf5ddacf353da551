//! Drying of wet films: how much faster in dry warm air, how much slower when laid on thick, and how long what is
//! trapped in the coats beneath holds the next one up.
//!
//! Two stages: while it is wet, evaporation from the surface limits ([`evaporation_factor`] for water, [`solvent_factor`]
//! for solvents, [`draught_factor`] for moving air); once its surface has set, diffusion through the film does ([`Coats`]).
//! Everything about evaporation is a ratio to a climate and a thickness at which the time is known. Published formulas for
//! the evaporation itself disagree by 2 to 7 times in still air, so none is offered.

mod coats;
mod cure_depth;
mod factor;
mod solvent;
mod two_stage;

pub use coats::Coats;
pub use cure_depth::{cure_depth_um, cure_exposure_mj_cm2};
pub use factor::{evaporation_factor, wet_film_drying_factor};
pub use solvent::{Solvent, draught_factor, solvent_factor, vapour_pressure_of_pa};
pub use two_stage::two_stage_drying_h;
