//! Every integration test, in one binary: one link instead of twenty.
mod clock_laws;
mod forecast;
mod house;
mod materials;
mod physics_reference;
mod plans;
mod readme;
mod rule_host;
