//! Settings of the way in: who is asked for a token, and how often one may ask.

use std::num::NonZeroU32;

use serde::Deserialize;

/// The way in.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Access {
    /// Whether requests from this machine need a token, too.
    pub login_here: bool,
    /// How many requests a second each token may make; five seconds' worth at once.
    pub requests_per_s: NonZeroU32,
}

impl Default for Access {
    fn default() -> Self {
        Self { login_here: false, requests_per_s: NonZeroU32::new(200).expect("it is not zero") }
    }
}
