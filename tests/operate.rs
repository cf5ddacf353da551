//! Operating the service: the command line, taking everything along and putting it back, stopping, measuring, installing.
//! Most of it runs the real program.
#![expect(clippy::unwrap_used, reason = "a test ends where something is not as it must be")]

mod command_line;
mod image;
mod install;
mod measures;
mod restore;
mod shelf;
mod stop;
mod whole;
