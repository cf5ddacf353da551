//! Why a fact is not admitted: each kind says what, where and how to mend it.

use facts::Invalid;

/// A fact that cannot be, and why. Nothing was changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refusal {
    /// A quantity or a time is out of range.
    #[error(transparent)]
    Invalid(#[from] Invalid),
    /// It names something that is not there.
    #[error("there is no {what} \"{id}\"")]
    Unknown {
        /// Which kind of thing.
        what: &'static str,
        /// The id given.
        id: String,
        /// How to mend it.
        mend: String,
    },
    /// Something of that id is there already.
    #[error("the {what} \"{id}\" is there already")]
    Exists {
        /// Which kind of thing.
        what: &'static str,
        /// The id given.
        id: String,
    },
    /// It contradicts what the bench knows.
    #[error("{what}")]
    Conflict {
        /// The contradiction.
        what: String,
        /// How to mend it.
        mend: String,
    },
}

impl Refusal {
    /// How to mend it, for the problem document.
    pub fn mend(&self) -> String {
        match self {
            Self::Invalid(invalid) => invalid.mend.clone(),
            Self::Unknown { mend, .. } | Self::Conflict { mend, .. } => mend.clone(),
            Self::Exists { .. } => "choose another id, or leave it out to be given one".into(),
        }
    }
}
