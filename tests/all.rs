//! Every integration test, in one binary: one link instead of twenty.
mod materials;
mod physics_reference;
mod rule_host;
