//! Twins of what `facts` and `rules` hold, for the description of the API alone: those crates know nothing of HTTP. Answers
//! are held against them by `tests/described`.

mod rule;
mod shop;
mod strings;

pub(crate) use rule::*;
pub(crate) use shop::*;
pub(crate) use strings::*;
