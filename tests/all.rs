//! Every integration test, in one binary: one link instead of twenty.
mod clock_laws;
mod house;
mod intake;
mod materials;
mod physics_reference;
mod readme;
mod rule_host;
