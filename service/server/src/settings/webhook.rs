//! Settings of webhooks: receivers of alerts over HTTP.

use std::{collections::BTreeSet, path::PathBuf};

use ipnet::IpNet;
use serde::{Deserialize, Serialize};

use super::{Secret, SettingsError, people, wrong};
use crate::alerts::{channel::signing_key, reach};

/// Somebody to be told of alerts over HTTP.
#[derive(Debug, Clone, Default, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Webhook {
    /// Name in the outbox; must not change while deliveries wait.
    pub name: String,
    /// Where to, `https://host/path`.
    pub url: String,
    /// Secret the signature is made with, at least sixteen characters.
    #[serde(default)]
    #[schema(value_type = String, format = Password)]
    pub secret: Secret,
    /// File that holds the secret instead.
    #[serde(default)]
    pub secret_file: Option<PathBuf>,
    /// The secret before this one, while the receiver learns the new one: messages are signed with both.
    #[serde(default)]
    #[schema(value_type = String, format = Password)]
    pub secret_before: Secret,
}

/// Each has a name of its own, an address, and a secret that cannot be guessed.
pub(super) fn check(webhooks: &mut [Webhook], allow_private: &[IpNet]) -> Result<(), SettingsError> {
    let mut names = BTreeSet::new();
    for (i, hook) in webhooks.iter_mut().enumerate() {
        let key = |name: &str| format!("webhooks[{i}].{name}");
        if hook.name.is_empty() {
            return Err(wrong(&key("name"), "is empty", "give the receiver a name of its own"));
        }
        if !names.insert(hook.name.clone()) {
            let what = format!("\"{}\" stands twice; only the first would be told", hook.name);
            return Err(wrong(&key("name"), what, "give the receiver a name of its own"));
        }
        if people::is_way(&hook.name) {
            let what = format!("\"{}\" means another way of being told", hook.name);
            return Err(wrong(&key("name"), what, "give the receiver a name of its own"));
        }
        if let Err(what) = reach::target(&hook.url, allow_private) {
            let mend = "write https://host/path; alerts.allow_private names networks of your own that may be reached";
            return Err(wrong(&key("url"), what, mend));
        }
        if let Some(file) = &hook.secret_file {
            let secret = std::fs::read_to_string(file)
                .map_err(|e| wrong(&key("secret_file"), e.to_string(), "make the file readable"))?;
            hook.secret = secret.trim().into();
        }
        for (name, secret) in [("secret", &hook.secret), ("secret_before", &hook.secret_before)] {
            if name == "secret_before" && secret.is_empty() {
                continue;
            }
            if secret.len() < 16 {
                return Err(wrong(&key(name), "has fewer than 16 characters", "make a long random one"));
            }
            if signing_key(secret).is_none() {
                let mend = "copy it whole: whsec_ and then base64, or a text of your own without whsec_";
                return Err(wrong(&key(name), "begins with whsec_ and is no base64 after that", mend));
            }
        }
    }
    Ok(())
}
