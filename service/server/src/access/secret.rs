//! Secrets of tokens and sessions: 256 random bits, so that they cannot be guessed and a plain hash hides them as well as
//! a slow one would. A token begins with a word of its own, by which programs that look for leaked secrets find it.

use sha2::{Digest, Sha256};

use crate::keys;

/// How every token begins; 64 hexadecimal digits follow.
pub(super) const PREFIX: &str = "bclk_";

/// A new secret of a token.
pub(super) fn new_token() -> String {
    format!("{PREFIX}{}", new_session())
}

/// A new secret of a session.
pub(super) fn new_session() -> String {
    hex(&keys::random::<32>())
}

/// What is kept of a secret.
pub(crate) fn id_of(secret: &str) -> String {
    hex(&Sha256::digest(secret))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
