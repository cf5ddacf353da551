//! Wood in the room's air: the moisture it comes to, and how far it swells or shrinks with it.

mod equilibrium;
mod movement;

pub use equilibrium::{emc_pct, rh_pct_for_emc};
pub use movement::{change_coefficient, size_change, size_change_wide};
