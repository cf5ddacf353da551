//! Safe to string: what the load asks of each joint, what has developed, what else holds strings back, the stages and their
//! alerts, and what is said of it over HTTP.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

mod creep;
mod holds;
mod http;
mod input;
mod setups;
mod stages;
