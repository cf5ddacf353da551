//! Secrets the service makes for itself at its first start and keeps in the database, where every instance that serves the
//! shop finds the same: the key that push messages are signed with (RFC 8292) and the one that calendar addresses are made
//! from.

use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use hmac::{Hmac, KeyInit, Mac};
use p256::{SecretKey, elliptic_curve::sec1::ToSec1Point};
use sha2::Sha256;
use store::Database;

use crate::{
    problem::{Kind, Problem},
    run::StartError,
};

/// What the key of push messages is kept under.
pub(crate) const PUSH: &str = "push-key";
/// What the key of calendar addresses is kept under.
pub(crate) const CALENDAR: &str = "calendar-key";

/// The secrets of one shop.
pub(crate) struct Keys {
    /// Signs push messages; browsers hold the public half from the day they subscribe, so it must stay.
    pub(crate) push: SecretKey,
    calendar: [u8; 32],
}

impl Keys {
    /// Reads the secrets, making those that are not there yet.
    ///
    /// # Errors
    /// When the database fails, or what is kept there is no key.
    pub(crate) fn of(database: &mut dyn Database) -> Result<Self, StartError> {
        let push = kept(database, PUSH, || secret_key().to_bytes().into())?;
        let push = SecretKey::from_slice(&push).map_err(|_| no_key(PUSH))?;
        Ok(Self { push, calendar: kept(database, CALENDAR, random)? })
    }

    /// The public half of the push key as browsers take it: an uncompressed point, base64url.
    pub(crate) fn push_public(&self) -> String {
        URL_SAFE_NO_PAD.encode(self.push.public_key().to_sec1_point(false).as_bytes())
    }

    /// The part of a calendar's address that nobody can guess: 160 bits of an HMAC over whose it is.
    pub(crate) fn calendar_secret(&self, whose: &str) -> String {
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.calendar).expect("HMAC takes a key of any length");
        mac.update(format!("calendar of {whose}").as_bytes());
        mac.finalize().into_bytes().iter().take(20).map(|byte| format!("{byte:02x}")).collect()
    }
}

/// A key as it is kept; made where there is none.
fn kept(database: &mut dyn Database, name: &str, make: impl FnOnce() -> [u8; 32]) -> Result<[u8; 32], StartError> {
    if database.file(name)?.is_none() {
        // Where another instance makes one in the same moment, the first stays and is everybody's.
        database.keep_file(name, &make())?;
    }
    let bytes = database.file(name)?.unwrap_or_default();
    bytes.try_into().map_err(|_| no_key(name).into())
}

fn no_key(name: &str) -> Problem {
    let mend = "restore the shop from a copy";
    Problem::new(Kind::Internal, format!("what the database keeps as {name} is no key"), mend)
}

/// Bytes nobody can foresee, from the same source as TLS takes them.
pub(crate) fn random<const N: usize>() -> [u8; N] {
    let mut bytes = [0; N];
    let source = rustls::crypto::ring::default_provider().secure_random;
    source.fill(&mut bytes).expect("the system has randomness");
    bytes
}

/// A new private key on P-256.
pub(crate) fn secret_key() -> SecretKey {
    loop {
        // One in 2^32 is no scalar of the curve.
        if let Ok(key) = SecretKey::from_slice(&random::<32>()) {
            return key;
        }
    }
}
