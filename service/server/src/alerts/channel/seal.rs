//! Message encryption for Web Push (RFC 8291, content encoding aes128gcm of RFC 8188) and the sender's voluntary
//! identification (RFC 8292): what a push service carries, only the browser can read.

use aes_gcm::{Aes128Gcm, KeyInit, aead::Aead};
use base64::{Engine, engine::general_purpose::URL_SAFE_NO_PAD};
use hkdf::Hkdf;
use p256::{
    PublicKey, SecretKey,
    ecdsa::{Signature, SigningKey, signature::Signer},
    elliptic_curve::sec1::ToSec1Point,
};
use serde_json::json;
use sha2::Sha256;

/// Size of the one record; push services take no larger body (RFC 8030 section 7.2).
const RECORD: u32 = 4096;
/// Longest plain text: a record without the header (86), the delimiter (1) and the tag (16).
pub(crate) const LONGEST: usize = RECORD as usize - 86 - 1 - 16;

/// What a browser gave when it subscribed.
pub(crate) struct Browser {
    public: PublicKey,
    auth: [u8; 16],
}

impl Browser {
    /// Reads the two keys of a subscription; says which is wrong.
    pub(crate) fn read(p256dh: &str, auth: &str) -> Result<Self, (&'static str, &'static str)> {
        // Some browsers pad, some do not.
        let bytes = |text: &str| URL_SAFE_NO_PAD.decode(text.trim_end_matches('=')).ok();
        let point = bytes(p256dh).filter(|point| point.len() == 65);
        let public = point.and_then(|point| PublicKey::from_sec1_bytes(&point).ok());
        let public = public.ok_or(("keys.p256dh", "is no uncompressed point on P-256 in base64url"))?;
        let auth = bytes(auth).and_then(|auth| auth.try_into().ok());
        Ok(Self { public, auth: auth.ok_or(("keys.auth", "is no 16 bytes in base64url"))? })
    }

    /// The body of a push message: salt, record size and `own` public key, then the sealed record.
    pub(crate) fn seal(&self, plain: &[u8], own: &SecretKey, salt: &[u8; 16]) -> Vec<u8> {
        let theirs = self.public.to_sec1_point(false);
        let ours = own.public_key().to_sec1_point(false);
        let shared = p256::ecdh::diffie_hellman(own.to_nonzero_scalar(), self.public.as_affine());
        let info = [b"WebPush: info\0", theirs.as_bytes(), ours.as_bytes()].concat();
        let ikm: [u8; 32] = derive(&self.auth, shared.raw_secret_bytes(), &info);
        let key: [u8; 16] = derive(salt, &ikm, b"Content-Encoding: aes128gcm\0");
        let nonce: [u8; 12] = derive(salt, &ikm, b"Content-Encoding: nonce\0");
        // 2 ends the last record.
        let record = [plain, &[2]].concat();
        let sealed = Aes128Gcm::new(&key.into()).encrypt(&nonce.into(), record.as_slice());
        let sealed = sealed.expect("a record is far shorter than the cipher takes");
        let header = [salt.as_slice(), &RECORD.to_be_bytes(), &[65], ours.as_bytes()].concat();
        [header, sealed].concat()
    }
}

fn derive<const N: usize>(salt: &[u8], ikm: &[u8], info: &[u8]) -> [u8; N] {
    let mut out = [0; N];
    Hkdf::<Sha256>::new(Some(salt), ikm).expand(info, &mut out).expect("at most 32 bytes are asked for");
    out
}

/// The `Authorization` header by which a push service knows who sends: a token signed with ES256, good until `until_s`
/// (seconds since 1970; at most 24 hours ahead) for the origin of the endpoint.
pub(crate) fn authorization(key: &SecretKey, public: &str, origin: &str, contact: &str, until_s: i64) -> String {
    let mut claims = json!({"aud": origin, "exp": until_s});
    if !contact.is_empty() {
        claims["sub"] = contact.into();
    }
    let part = |value: serde_json::Value| URL_SAFE_NO_PAD.encode(value.to_string());
    let signed = format!("{}.{}", part(json!({"typ": "JWT", "alg": "ES256"})), part(claims));
    let signature: Signature = SigningKey::from(key).sign(signed.as_bytes());
    format!("vapid t={signed}.{}, k={public}", URL_SAFE_NO_PAD.encode(signature.to_bytes()))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(text: &str) -> SecretKey {
        SecretKey::from_slice(&URL_SAFE_NO_PAD.decode(text).expect("base64url")).expect("a key")
    }

    /// RFC 8291, section 5 and appendix A.
    #[test]
    fn a_sealed_message_is_that_of_the_published_example() {
        let browser = Browser::read(
            "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4",
            "BTBZMqHH6r4Tts7J_aSIgg",
        );
        let browser = browser.unwrap_or_else(|_| panic!("the keys of the example"));
        let own = key("yfWPiYE-n46HLnH0KqZOF1fJJU3MYrct3AELtAQ-oRw");
        let salt = URL_SAFE_NO_PAD.decode("DGv6ra1nlYgDCS1FRnbzlw").expect("base64url");
        let salt = salt.try_into().expect("16 bytes");
        let sealed = browser.seal(b"When I grow up, I want to be a watermelon", &own, &salt);
        assert_eq!(
            URL_SAFE_NO_PAD.encode(sealed),
            "DGv6ra1nlYgDCS1FRnbzlwAAEABBBP4z9KsN6nGRTbVYI_c7VJSPQTBtkgcy27mlmlMoZIIgDll6e3vCYLocInmYWAmS6TlzAC8wEqKK6PBru3jl7A_yl95bQpu6cVPTpK4Mqgkf1CXztLVBSt2Ks3oZwbuwXPXLWyouBWLVWGNWQexSgSxsj_Qulcy4a-fN"
        );
    }

    #[test]
    fn the_longest_message_just_fits_into_what_a_push_service_takes() {
        let other = key("q1dXpw3UpT5VOmu_cf_v6ih07Aems3njxI-JWgLcM94");
        let public = URL_SAFE_NO_PAD.encode(other.public_key().to_sec1_point(false).as_bytes());
        let browser = Browser::read(&format!("{public}="), "BTBZMqHH6r4Tts7J_aSIgg==");
        let browser = browser.unwrap_or_else(|_| panic!("padding is taken"));
        assert_eq!(browser.seal(&[b'x'; LONGEST], &other, &[0; 16]).len(), 4096);
    }

    #[test]
    fn keys_that_are_none_are_named() {
        let good = "BCVxsr7N_eNgVRqvHtD0zTZsEc6-VV-JvLexhqUzORcxaOzi6-AYWXvTBHm4bjyPjs7Vd8pZGH6SRpkNtoIAiw4";
        let off_curve = good.replace("sr7N", "sr7M");
        for (p256dh, auth, field) in [
            (off_curve.as_str(), "BTBZMqHH6r4Tts7J_aSIgg", "keys.p256dh"),
            ("", "BTBZMqHH6r4Tts7J_aSIgg", "keys.p256dh"),
            (good, "BTBZMqHH", "keys.auth"),
            (good, "not base64!", "keys.auth"),
        ] {
            assert_eq!(Browser::read(p256dh, auth).err().map(|(field, _)| field), Some(field));
        }
    }
}
