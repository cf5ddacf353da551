//! Secrets the service makes for itself at its first start and keeps beside the database: the key that push messages are
//! signed with (RFC 8292) and the one that calendar addresses are made from. Readable by nobody but the service.

use std::{
    fs::OpenOptions,
    io::{Read, Write},
    os::unix::fs::OpenOptionsExt,
    path::Path,
};

use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use hmac::{Hmac, KeyInit, Mac};
use p256::{SecretKey, elliptic_curve::sec1::ToSec1Point};
use sha2::Sha256;

/// The secrets of one shop.
pub(crate) struct Keys {
    /// Signs push messages; browsers hold the public half from the day they subscribe, so it must stay.
    pub(crate) push: SecretKey,
    calendar: [u8; 32],
}

impl Keys {
    /// Reads the secrets, making those that are not there yet.
    pub(crate) fn open(folder: &Path) -> std::io::Result<Self> {
        let unreadable = |name: &str| {
            let what = format!("{name} holds no key; restore it, or remove it and have every browser subscribe again");
            std::io::Error::new(std::io::ErrorKind::InvalidData, what)
        };
        let push = kept(folder, "push-key", || secret_key().to_bytes().into())?;
        let push = SecretKey::from_slice(&push).map_err(|_| unreadable("push-key"))?;
        Ok(Self { push, calendar: kept(folder, "calendar-key", random)? })
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

/// A key kept in a file of its own; made when it is not there.
fn kept(folder: &Path, name: &str, make: impl FnOnce() -> [u8; 32]) -> std::io::Result<[u8; 32]> {
    let path = folder.join(name);
    match std::fs::File::open(&path) {
        Ok(mut file) => {
            let mut text = String::new();
            file.read_to_string(&mut text)?;
            let wrong = || std::io::Error::new(std::io::ErrorKind::InvalidData, format!("{name} is no 32 bytes"));
            let bytes = URL_SAFE_NO_PAD.decode(text.trim()).map_err(|_| wrong())?;
            bytes.try_into().map_err(|_| wrong())
        }
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            let key = make();
            // Under another name until it is whole: half a key would stop every later start.
            let part = folder.join(format!("{name}.part"));
            let mut file = OpenOptions::new().write(true).create(true).truncate(true).mode(0o600).open(&part)?;
            file.write_all(URL_SAFE_NO_PAD.encode(key).as_bytes())?;
            file.sync_all()?;
            std::fs::rename(&part, &path)?;
            Ok(key)
        }
        Err(e) => Err(e),
    }
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
