//! Every integration test, in one binary: one link instead of twenty.
mod browser;
mod climate;
mod clock_laws;
mod crash;
mod facts;
mod finish;
mod forecast;
mod hostile;
mod house;
mod http;
mod intake;
mod materials;
mod physics_reference;
mod plans;
mod readme;
mod rule_host;
mod wood;
