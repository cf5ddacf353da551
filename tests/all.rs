//! Every integration test, in one binary: one link instead of twenty.
mod physics_reference;
