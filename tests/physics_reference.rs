//! The physics crate against published tables and other people's programs.
//!
//! Each test says whose numbers they are and how well they agree; a failure names the worst cell.
//! The tables, and the scripts that made the computed ones, are in `reference/`.

mod air;
mod cure;
mod film;
mod plate;
mod table;
mod wood;
