//! Fitting a rule to the bench: the likelihood against scipy, the intervals against simulated truth, and the whole way
//! from observations to a draft that is taken.
mod coverage;
mod over_http;
mod overlay;
mod reference;
