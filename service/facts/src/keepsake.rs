//! What is kept with a job for whoever works on it next: words and photos.

use serde::{Deserialize, Serialize};

use crate::{JobId, PhotoId};

/// Something written down about a job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NoteMade {
    /// The job.
    pub job: JobId,
    /// The words, 1 to 2000 characters; lines are kept.
    pub text: String,
}

/// A photo of a job; the picture itself lies in a folder beside the journal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PhotoAdded {
    /// The job.
    pub job: JobId,
    /// SHA-256 of the picture as it was kept, in lower-case hex; the file is named for it.
    pub photo: PhotoId,
    /// What it shows, in the luthier's words; may be empty.
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub shows: String,
    /// Width as kept, pixels.
    pub width_px: u32,
    /// Height as kept, pixels.
    pub height_px: u32,
}
