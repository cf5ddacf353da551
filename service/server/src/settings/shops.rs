//! Several shops in one service: what each is called, by which names it is asked for, and its own settings above those of
//! the service. A service whose settings name none serves one shop, theirs, by whatever name it is asked.

use std::{
    collections::BTreeSet,
    path::{Path, PathBuf},
};

use serde::{Deserialize, Serialize};
use toml::{Table, Value};

use super::{Settings, SettingsError, bad_toml, ranges::written, wrong};
use crate::access::host;

/// What of the section of the server is a shop's own; the rest is the door they share.
const OWN_OF_SERVER: [&str; 3] = ["public_url", "import_limit_mib", "believe_clock"];

/// One of several shops.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct NamedShop {
    /// Its name: lower case letters, digits and hyphens. Its folder lies beside store.path under it, with its journal,
    /// keys, photos, copies and rules (copied from scripts.folder at its first start); its log and, in a database, its
    /// rows bear it.
    pub name: String,
    /// Names by which it is asked for, without port: `["north.guild.example"]`. No two shops have the same.
    pub hosts: Vec<String>,
    /// File with settings of its own, which stand above these; empty for none. It is read again when the shop could not
    /// be opened, and must be written by nobody but who runs the service.
    pub settings: PathBuf,
}

impl NamedShop {
    /// Whether it is asked for by a name, as [`host::named`] gives it. Who has no names is asked for by all.
    pub(crate) fn is_asked_by(&self, host: Option<&str>) -> bool {
        self.hosts.is_empty() || host.is_some_and(|host| self.hosts.iter().any(|own| own.eq_ignore_ascii_case(host)))
    }
}

/// What the settings of the service say of its shops can be.
pub(super) fn check(settings: &Settings) -> Result<(), SettingsError> {
    let (mut names, mut hosts) = (BTreeSet::new(), BTreeSet::new());
    for (i, shop) in settings.shops.iter().enumerate() {
        let key = |name: &str| format!("shops[{i}].{name}");
        if facts::ZoneId::new(shop.name.clone()).is_err() || !names.insert(&shop.name) {
            let what = format!("\"{}\" is no name, or stands twice", shop.name);
            return Err(wrong(&key("name"), what, "write lower case letters, digits and hyphens, each name once"));
        }
        if shop.hosts.is_empty() {
            return Err(wrong(&key("hosts"), "is empty", "write [\"north.guild.example\"]"));
        }
        for name in &shop.hosts {
            let tidy = host::tidy(name).filter(|tidy| tidy.eq_ignore_ascii_case(name));
            if tidy.is_none_or(|tidy| !hosts.insert(tidy)) {
                let what = format!("\"{name}\" is no name of a host without its port, or stands twice");
                return Err(wrong(&key("hosts"), what, "write north.guild.example, each name once"));
            }
        }
    }
    // What is told and heard is one shop's: shared, it would be told to the others, and heard by all. So is its address.
    let shared = [
        ("server.public_url", !settings.server.public_url.is_empty()),
        ("mqtt.url", !settings.mqtt.url.is_empty()),
        ("people", !settings.people.is_empty()),
        ("webhooks", !settings.webhooks.is_empty()),
    ];
    match shared.iter().find(|(_, set)| *set && !settings.shops.is_empty()) {
        Some((key, _)) => {
            Err(wrong(key, "stands in the settings of several shops", "write it in the file of the shop it is of"))
        }
        None => Ok(()),
    }
}

impl Settings {
    /// The shops that are served; where none is named, the one of these settings.
    #[must_use]
    pub fn served(&self) -> Vec<NamedShop> {
        if self.shops.is_empty() { vec![NamedShop::default()] } else { self.shops.clone() }
    }

    /// The settings of one of the shops, by its place, as they are on disk now.
    ///
    /// # Errors
    /// Names the key, or the place in the shop's file; also when something is also that of an earlier shop.
    pub fn of_shop(&self, place: usize) -> Result<Self, SettingsError> {
        let Some(shop) = self.shops.get(place) else { return Ok(self.clone()) };
        let own = self.with_file_of(shop).map_err(|error| of(shop, error))?;
        for other in &self.shops[..place] {
            // One that cannot be read is not opened either.
            if let Ok(others) = self.with_file_of(other) {
                own.apart_from(&other.name, &others).map_err(|error| of(shop, error))?;
            }
        }
        Ok(own)
    }

    fn with_file_of(&self, shop: &NamedShop) -> Result<Self, SettingsError> {
        let mut own = Self { shops: vec![], ..self.clone() };
        own.shop.id.clone_from(&shop.name);
        let folder = self.store.folder().join(&shop.name);
        own.store.path = folder.join("benchclock.db");
        own.store.backups = folder.join("backups");
        own.scripts.folder = folder.join("scripts");
        if !shop.settings.as_os_str().is_empty() {
            let text = std::fs::read_to_string(&shop.settings).map_err(|e| {
                wrong(
                    &shop.settings.display().to_string(),
                    e.to_string(),
                    "make the file readable, or leave settings out",
                )
            })?;
            let above: Table = text.parse().map_err(bad_toml)?;
            refuse_shared(&above)?;
            let mut whole = written(&own);
            lay_over(&mut whole, Value::Table(above));
            own = whole.try_into().map_err(bad_toml)?;
        }
        own.check()?;
        Ok(own)
    }

    /// What is one shop's own must not be another's too: a folder, a journal, a name at a broker.
    pub(crate) fn apart_from(&self, name: &str, other: &Self) -> Result<(), SettingsError> {
        let refused = |key: &str| {
            Err(wrong(key, format!("is that of shop {name} too"), "leave it out, or choose another for each shop"))
        };
        let places = |all: &Self| {
            [
                ("store.path", place(all.store.folder())),
                ("store.backups", place(&all.store.backups)),
                ("scripts.folder", place(&all.scripts.folder)),
            ]
        };
        let theirs = places(other);
        if let Some((key, _)) = places(self).iter().find(|(_, own)| theirs.iter().any(|(_, theirs)| theirs == own)) {
            return refused(key);
        }
        if !self.store.url.is_empty() && self.shop.id == other.shop.id {
            return refused("shop.id");
        }
        let (mqtt, at) = (&self.mqtt, &other.mqtt);
        let same_broker = self.mqtt.address()?.is_some_and(|ours| other.mqtt.address() == Ok(Some(ours)));
        let shared = [
            ("mqtt.client_id", mqtt.client_id == at.client_id),
            ("mqtt.topic", mqtt.topic == at.topic),
            ("mqtt.alerts", mqtt.alerts == at.alerts),
        ];
        match shared.iter().find(|(_, same)| *same && same_broker) {
            Some((key, _)) => refused(key),
            None => Ok(()),
        }
    }
}

/// Says whose settings are wrong.
fn of(shop: &NamedShop, error: SettingsError) -> SettingsError {
    SettingsError { key: format!("{} (shop {})", error.key, shop.name), ..error }
}

/// A folder by its one name, whichever way it is written.
fn place(path: &Path) -> PathBuf {
    std::fs::canonicalize(path).or_else(|_| std::path::absolute(path)).unwrap_or_else(|_| path.into())
}

fn refuse_shared(above: &Table) -> Result<(), SettingsError> {
    let mend = "write it in the settings of the service: all shops have one door";
    if above.contains_key("shops") {
        return Err(wrong("shops", "stands in the file of a shop", mend));
    }
    let server = above.get("server").and_then(Value::as_table);
    match server.into_iter().flatten().find(|(key, _)| !OWN_OF_SERVER.contains(&key.as_str())) {
        Some((key, _)) => Err(wrong(&format!("server.{key}"), "stands in the file of a shop", mend)),
        None => Ok(()),
    }
}

/// Sections are laid over key by key; anything else takes the place of what was there.
fn lay_over(below: &mut Value, above: Value) {
    match (below, above) {
        (Value::Table(below), Value::Table(above)) => {
            for (key, value) in above {
                match below.get_mut(&key) {
                    Some(old) => lay_over(old, value),
                    None => drop(below.insert(key, value)),
                }
            }
        }
        (below, above) => *below = above,
    }
}
