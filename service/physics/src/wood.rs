//! Wood in the room's air: the moisture it comes to, how far it swells or shrinks with it, and what that
//! does to a crack.

mod crack;
mod equilibrium;
mod movement;

pub use crack::{crack_closes_mm, total_shrinkage_pct};
pub use equilibrium::{emc_pct, rh_pct_for_emc};
pub use movement::{change_coefficient, size_change, size_change_wide};
