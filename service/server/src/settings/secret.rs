//! A secret of the settings: known to who needs it, and shown to nobody by mistake.

use std::{fmt, ops::Deref};

use serde::{Deserialize, Serialize};

/// A password, or what a signature is made with.
#[derive(Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Secret(String);

impl Deref for Secret {
    type Target = str;

    fn deref(&self) -> &str {
        &self.0
    }
}

impl From<&str> for Secret {
    fn from(text: &str) -> Self {
        Self(text.into())
    }
}

/// Says nothing of it, not even how long it is.
impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("(secret)")
    }
}
