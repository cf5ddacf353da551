//! Settings of the way in: who is asked for a token, and how often one may ask.

use serde::{Deserialize, Serialize};

/// The way in.
#[derive(Debug, Clone, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Access {
    /// Whether requests from this machine itself need a token too.
    pub login_here: bool,
    /// How many requests a second each token may make; five seconds' worth at once.
    #[schema(minimum = 1, maximum = 100000)]
    pub requests_per_s: u32,
}

impl Default for Access {
    fn default() -> Self {
        Self { login_here: false, requests_per_s: 200 }
    }
}
