//! Settings: one file, every key with a default, the environment above it, checked before anything starts.
//!
//! A key is said once, as a field: its doc comment is what `benchclock settings` prints, its schema the range it is held
//! against, `Default` what it is when left out.

mod access;
mod hours;
mod mqtt;
mod nets;
mod people;
mod plan;
mod ranges;
mod reference;
mod secret;
mod sensors;
mod shop;
mod shops;
mod store;
mod webhook;

use std::path::{Path, PathBuf};

use chrono::NaiveTime;
use chrono_tz::Tz;
use ipnet::IpNet;
use serde::{Deserialize, Serialize};

pub use access::Access;
pub use hours::Hours;
pub(crate) use mqtt::{Address, Mqtt};
pub(crate) use people::CLOSING;
pub use people::{Alerts, Email, Person, Push};
pub use plan::{Certainty, Place, Plan};
pub(crate) use reference::reference;
pub use secret::Secret;
pub(crate) use sensors::Sensors;
pub use shop::Shop;
pub use shops::NamedShop;
pub(crate) use store::{Store, is_postgres};
pub use webhook::Webhook;

/// What is wrong with the settings, naming the key.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("setting {key}: {what}; {mend}")]
pub struct SettingsError {
    /// The key, with its section.
    pub key: String,
    /// What is wrong.
    pub what: String,
    /// How to mend it.
    pub mend: String,
}

/// Everything that can be set.
#[derive(Debug, Clone, Default, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Settings {
    /// The shop itself.
    #[schema(inline)]
    pub shop: Shop,
    /// How the bench is planned.
    #[schema(inline)]
    pub plan: Plan,
    /// Where it listens.
    #[schema(inline)]
    pub server: Server,
    /// Who is asked for a token.
    #[schema(inline)]
    pub access: Access,
    /// Where facts are kept.
    #[schema(inline)]
    pub store: Store,
    /// Where rules are.
    #[schema(inline)]
    pub scripts: Scripts,
    /// How missing air is treated.
    #[schema(inline)]
    pub climate: Climate,
    /// What is asked before strings go on.
    #[schema(inline)]
    pub string_up: StringUp,
    /// How sensors are cared for.
    #[schema(inline)]
    pub sensors: Sensors,
    /// How names in SenML packs are read.
    #[schema(inline)]
    pub senml: Senml,
    /// The way to an MQTT broker.
    #[schema(inline)]
    pub mqtt: Mqtt,
    /// How alerts are told to people.
    #[schema(inline)]
    pub alerts: Alerts,
    /// The way to a mail server.
    #[schema(inline)]
    pub email: Email,
    /// Push messages to browsers.
    #[schema(inline)]
    pub push: Push,
    /// Who is told, and how. Without people nothing but webhooks is told, and they get everything.
    #[schema(inline)]
    pub people: Vec<Person>,
    /// Who is told of alerts over HTTP. `webhook-signature` is `v1,<base64 of HMAC-SHA256 over id.timestamp.body>`, as
    /// the open Standard Webhooks specification has it.
    #[schema(inline)]
    pub webhooks: Vec<Webhook>,
    /// Several shops in one service, each a whole bench of its own: what is one's, no other sees. Without any the service
    /// serves one shop, that of these settings.
    #[schema(inline)]
    pub shops: Vec<NamedShop>,
}

/// Where it listens.
#[derive(Debug, Clone, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Server {
    /// Address and port. Other machines reach it only at another address than 127.0.0.1, with a token each; then an
    /// owner's token must be there (`benchclock token add NAME --role owner`), and TLS below or a proxy that has it.
    pub listen: String,
    /// Largest body taken, KiB. 4096 holds 10,000 readings.
    #[schema(minimum = 1, maximum = 65536)]
    pub body_limit_kib: usize,
    /// Largest file of readings taken, MiB; it is read in parts. 64 holds years of a zone.
    #[schema(minimum = 1, maximum = 4096)]
    pub import_limit_mib: usize,
    /// Threads that answer requests. 2 are plenty for one shop.
    #[schema(minimum = 1, maximum = 64)]
    pub workers: usize,
    /// Where phones reach it, for the code on a label: `http://bench.local:8080`. Empty takes the address the label was
    /// asked for at.
    pub public_url: String,
    /// How long a listener may take nothing of what it is sent before its connection is closed, seconds. 60 outlasts a bad
    /// network.
    #[schema(minimum = 1, maximum = 3600)]
    pub slow_reader_seconds: u32,
    /// While the machine's clock is behind the last thing on record (a board that wakes in 1970) nothing is recorded or
    /// told. `true` goes by the clock all the same: for a journal in which something stands in the future by mistake.
    pub believe_clock: bool,
    /// Certificate with its chain for TLS, PEM; empty for none. What renews it need not tell the service.
    pub tls_cert: PathBuf,
    /// Its private key, PEM.
    pub tls_key: PathBuf,
    /// Proxies that are believed when they say for whom they ask (X-Forwarded-For, -Proto, -Host): `["10.0.0.2",
    /// "fd00::/8"]`. Name a proxy on this machine too (`127.0.0.1`), or what comes by it looks as if it came from here and
    /// needs no token.
    #[serde(deserialize_with = "nets::read")]
    #[schema(value_type = Vec<String>)]
    pub trusted_proxies: Vec<IpNet>,
    /// Whether other machines may reach it without TLS: whoever is on the network then reads tokens and all that is said.
    pub plain_http: bool,
}

impl Server {
    /// Whether it answers over TLS itself.
    pub(crate) fn tls(&self) -> bool {
        !self.tls_cert.as_os_str().is_empty()
    }
}

/// Where rules are.
#[derive(Debug, Clone, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Scripts {
    /// Folder with `materials/*.rhai`, and `shop/*.rhai` if the shop has scripts of its own.
    pub folder: PathBuf,
    /// Whether a saved rule is read again at once.
    pub watch: bool,
}

/// How missing air is treated.
#[derive(Debug, Clone, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Climate {
    /// Longest gap between two readings that is bridged without marking times as assumed, minutes. 120 suits a sensor
    /// that speaks hourly.
    #[schema(minimum = 5, maximum = 1440)]
    pub bridge_minutes: u32,
}

/// How names in SenML packs are read.
#[derive(Debug, Clone, Default, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Senml {
    /// Names are read as zone/sensor/quantity, "bench/north/temp". A device that cannot be told its name is listed
    /// here: the beginning of its names, and the zone or zone/sensor it stands for, for example
    /// `names = { "urn:dev:mac:0024befffe804ff1" = "bench/north" }`
    pub names: std::collections::BTreeMap<String, String>,
}

/// What is asked before strings go on.
#[derive(Debug, Clone, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct StringUp {
    /// How many times the pull of the strings a joint must bear before the service calls it safe to string. The statics
    /// are simple and the glue's strength is a rule of thumb: 4 is common practice, no source.
    #[schema(minimum = 1.5, maximum = 20)]
    pub margin: f64,
}

impl Default for Server {
    fn default() -> Self {
        Self {
            listen: "127.0.0.1:8080".into(),
            body_limit_kib: 4096,
            import_limit_mib: 64,
            workers: 2,
            public_url: String::new(),
            slow_reader_seconds: 60,
            believe_clock: false,
            tls_cert: PathBuf::new(),
            tls_key: PathBuf::new(),
            trusted_proxies: vec![],
            plain_http: false,
        }
    }
}
impl Default for Scripts {
    fn default() -> Self {
        Self { folder: "scripts".into(), watch: true }
    }
}
impl Default for StringUp {
    fn default() -> Self {
        Self { margin: 4.0 }
    }
}
impl Default for Climate {
    fn default() -> Self {
        Self { bridge_minutes: 120 }
    }
}

fn wrong(key: &str, what: impl Into<String>, mend: &str) -> SettingsError {
    SettingsError { key: key.into(), what: what.into(), mend: mend.into() }
}

fn bad_toml(e: toml::de::Error) -> SettingsError {
    wrong("(file)", e.to_string().trim().replace('\n', " "), "config/benchclock.toml shows every key")
}

/// Prefix of environment variables; `BENCHCLOCK_SERVER_LISTEN` stands for `server.listen`.
const PREFIX: &str = "BENCHCLOCK_";

impl Settings {
    /// Reads a settings file with the process's environment above it.
    ///
    /// # Errors
    /// Names the key, or the place in the file.
    pub fn load(file: Option<&Path>) -> Result<Self, SettingsError> {
        let text = match file {
            None => String::new(),
            Some(path) => std::fs::read_to_string(path).map_err(|e| {
                wrong(&path.display().to_string(), e.to_string(), "give the path of a settings file with --config")
            })?,
        };
        Self::read(&text, std::env::vars())
    }

    /// Reads settings from text, with environment variables above it.
    ///
    /// # Errors
    /// Names the key, or the place in the text.
    pub fn read(text: &str, env: impl Iterator<Item = (String, String)>) -> Result<Self, SettingsError> {
        let mut table: toml::Table = text.parse().map_err(bad_toml)?;
        for (name, value) in env {
            let Some((section, key)) = name.strip_prefix(PREFIX).and_then(|rest| rest.split_once('_')) else {
                continue;
            };
            let section = table.entry(section.to_lowercase()).or_insert_with(|| toml::Table::new().into());
            let Some(section) = section.as_table_mut() else { continue };
            // A number or a truth value is taken as one, anything else as text.
            let typed: Option<toml::Value> = value.parse::<i64>().map(Into::into).ok();
            let typed = typed.or_else(|| value.parse::<f64>().ok().filter(|_| value.contains('.')).map(Into::into));
            let typed = typed.or_else(|| value.parse::<bool>().map(Into::into).ok());
            section.insert(key.to_lowercase(), typed.unwrap_or_else(|| value.into()));
        }
        let mut settings: Self = table.try_into().map_err(bad_toml)?;
        settings.check()?;
        Ok(settings)
    }

    fn check(&mut self) -> Result<(), SettingsError> {
        ranges::check(self)?;
        self.zone()?;
        self.digest_at()?;
        self.shop.check_band()?;
        self.shop.hours.check("shop.hours")?;
        self.plan.check()?;
        self.server.listen.parse::<std::net::SocketAddr>().map_err(|_| {
            wrong("server.listen", format!("\"{}\" is no address", self.server.listen), "write 127.0.0.1:8080")
        })?;
        let url = &self.server.public_url;
        if !url.is_empty() && !url.starts_with("http://") && !url.starts_with("https://") {
            return Err(wrong(
                "server.public_url",
                format!("\"{url}\""),
                "write http://bench.local:8080, or leave it out",
            ));
        }
        if self.server.tls() == self.server.tls_key.as_os_str().is_empty() {
            let key = if self.server.tls() { "server.tls_key" } else { "server.tls_cert" };
            return Err(wrong(key, "is empty", "a certificate and its key go together; give both or neither"));
        }
        self.store.check()?;
        self.mqtt.check()?;
        for (name, place) in &self.senml.names {
            if crate::intake::senml::place(place).is_none() {
                let what = format!("\"{place}\" for \"{name}\" is neither zone nor zone/sensor");
                return Err(wrong("senml.names", what, "write {\"urn:dev:mac:0024befffe804ff1\" = \"bench/north\"}"));
            }
        }
        webhook::check(&mut self.webhooks, &self.alerts.allow_private)?;
        people::check(self)?;
        shops::check(self)
    }

    /// The shop's time zone.
    ///
    /// # Errors
    /// When the name is none of IANA's.
    pub fn zone(&self) -> Result<Tz, SettingsError> {
        self.shop.time_zone.parse().map_err(|_| {
            wrong("shop.time_zone", format!("\"{}\" is no IANA zone", self.shop.time_zone), "write Europe/Paris")
        })
    }

    /// Local time of the digest.
    ///
    /// # Errors
    /// When it is no time of day.
    pub fn digest_at(&self) -> Result<NaiveTime, SettingsError> {
        NaiveTime::parse_from_str(&self.shop.digest_at, "%H:%M").map_err(|_| {
            wrong("shop.digest_at", format!("\"{}\" is no time of day", self.shop.digest_at), "write 07:30")
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str, env: &[(&str, &str)]) -> Result<Settings, SettingsError> {
        Settings::read(text, env.iter().map(|(k, v)| (k.to_string(), v.to_string())))
    }

    #[test]
    fn an_empty_file_is_a_whole_shop() {
        let settings = read("", &[]).expect("defaults stand");
        assert_eq!(settings.server.listen, "127.0.0.1:8080");
    }

    #[test]
    fn the_environment_stands_above_the_file() {
        let text = "[server]\nlisten = \"127.0.0.1:1\"\nworkers = 1";
        let env = [("BENCHCLOCK_SERVER_LISTEN", "127.0.0.1:2"), ("BENCHCLOCK_SERVER_BODY_LIMIT_KIB", "64")];
        let settings = read(text, &env).expect("both are good");
        assert_eq!((settings.server.listen.as_str(), settings.server.body_limit_kib), ("127.0.0.1:2", 64));
    }

    #[test]
    fn every_wrong_value_names_its_key() {
        let hook = "[[webhooks]]\nname = \"a\"\nurl = \"https://example.org/\"\nsecret = \"short\"";
        let good = hook.replace("short", "sixteen and more characters");
        for (text, key) in [
            ("[shop]\ntime_zone = \"Middle/Earth\"", "shop.time_zone"),
            ("[shop]\ndigest_at = \"25:00\"", "shop.digest_at"),
            ("[shop.hours]\nmonday = [\"9 to 5\"]", "shop.hours.monday"),
            ("[shop.hours]\nfriday = [\"14:00-18:00\", \"09:00-13:00\"]", "shop.hours.friday"),
            ("[shop.hours.exceptions]\n\"24 December\" = []", "shop.hours.exceptions"),
            ("[plan]\npeople = 0", "plan.people"),
            ("[plan]\nfreeze_hours = 72", "plan.freeze_hours"),
            ("[[plan.places]]\nzone = \"The Booth\"", "plan.places[0].zone"),
            ("[[plan.places]]\nzone = \"booth\"\nholds = 0", "plan.places[0].holds"),
            ("[shop]\nrh_low_pct = 5", "shop.rh_low_pct"),
            ("[shop]\nrh_low_pct = 60", "shop.rh_high_pct"),
            ("[shop]\ntemp_low_c = -5", "shop.temp_low_c"),
            ("[shop]\ntemp_high_c = 18.5", "shop.temp_high_c"),
            ("[server]\nlisten = \"here\"", "server.listen"),
            ("[server]\nworkers = 0", "server.workers"),
            ("[server]\npublic_url = \"bench\"", "server.public_url"),
            ("[server]\ntls_cert = \"x.pem\"", "server.tls_key"),
            ("[server]\ntls_key = \"x.pem\"", "server.tls_cert"),
            ("[store]\nphoto_limit_mib = 0", "store.photo_limit_mib"),
            ("[store]\nwaiting = 0", "store.waiting"),
            ("[store]\nurl = \"mysql://x/y\"", "store.url"),
            ("[store]\npassword_file = \"/nowhere\"", "store.password_file"),
            ("[climate]\nbridge_minutes = 0", "climate.bridge_minutes"),
            ("[string_up]\nmargin = 1.0", "string_up.margin"),
            ("[string_up]\nmargin = nan", "string_up.margin"),
            ("[store]\nkeep_backups = 0", "store.keep_backups"),
            ("[[plan.places]]\nzone = \"booth\"\nholds = 1001", "plan.places[0].holds"),
            ("[store]\nkeep_readings_days = 1", "store.keep_readings_days"),
            ("[senml]\nnames = {\"urn:dev:x\" = \"The Bench\"}", "senml.names"),
            ("[mqtt]\nurl = \"http://x\"", "mqtt.url"),
            ("[mqtt]\nversion = \"4\"", "mqtt.version"),
            ("[mqtt]\nclient_id = \"\"", "mqtt.client_id"),
            ("[mqtt]\ntopic = \"sensors/+\"", "mqtt.topic"),
            ("[mqtt]\ntemp = \"temperature\"", "mqtt.temp"),
            ("[mqtt]\npassword_file = \"/nowhere\"", "mqtt.password_file"),
            ("[sensors]\nsilent_minutes = 1", "sensors.silent_minutes"),
            ("[sensors]\nwindow_minutes = 0", "sensors.window_minutes"),
            ("[sensors]\napart_k = 0.0", "sensors.apart_k"),
            ("[sensors]\napart_rh_pct = 99", "sensors.apart_rh_pct"),
            ("[sensors]\nstuck_hours = 0", "sensors.stuck_hours"),
            ("[sensors]\ncalibrate_days = 1", "sensors.calibrate_days"),
            ("[mqtt]\nalerts = \"a/#\"", "mqtt.alerts"),
            ("[email]\nurl = \"imap://x\"", "email.url"),
            ("[email]\nurl = \"smtp://x\"\nfrom = \"x\"", "email.from"),
            ("[push]\ncontact = \"me\"", "push.contact"),
            ("[alerts]\ngroup_minutes = 61", "alerts.group_minutes"),
            ("[alerts]\nagain_minutes = 0", "alerts.again_minutes"),
            ("[alerts]\ninsist = [\"all\"]", "alerts.insist"),
            ("[[people]]\nname = \"Mia\"", "people[0].name"),
            ("[[people]]\nname = \"mia\"", "people[0].tell"),
            ("[[people]]\nname = \"mia\"\ntell = { all = [\"push\"] }", "people[0].tell"),
            ("[[people]]\nname = \"mia\"\ntell = { else = [\"pigeon\"] }", "people[0].tell"),
            ("[[people]]\nname = \"mia\"\ntell = { else = [\"email\"] }", "people[0].tell"),
            ("[[people]]\nname = \"mia\"\ntell = { else = [\"mqtt\"] }", "people[0].tell"),
            ("[[people]]\nname = \"mia\"\nemail = \"mia\"", "people[0].email"),
            ("[[people]]\nname = \"mia\"\nquiet = \"night\"", "people[0].quiet"),
            ("[[people]]\nname = \"mia\"\nwake_for = [\"all\"]", "people[0].wake_for"),
            ("[[people]]\nname = \"mia\"\nthen = \"mia\"\ntell = { else = [\"page\"] }", "people[0].then"),
            (hook, "webhooks[0].secret"),
            (&good.replace("\"a\"", "\"email\""), "webhooks[0].name"),
            (&format!("{good}\n{good}"), "webhooks[1].name"),
            (&good.replace("https://example.org", "https://10.0.0.7"), "webhooks[0].url"),
            (&good.replace("https://", "https://me:secret@"), "webhooks[0].url"),
        ] {
            assert_eq!(read(text, &[]).expect_err(text).key, key);
        }
        let net = read("[server]\ntrusted_proxies = [\"10.0.0.0/33\"]", &[]).expect_err("no network");
        assert!(net.to_string().contains("\"10.0.0.0/33\" is no network"), "{net}");
        let env = [("BENCHCLOCK_SERVER_TRUSTED_PROXIES", "10.0.0.1, fd00::/8")];
        assert_eq!(read("", &env).expect("both are networks").server.trusted_proxies.len(), 2);
        let unknown = read("[server]\nlissen = \"x\"", &[]).expect_err("a slip of the pen");
        assert!(unknown.to_string().contains("lissen"), "{unknown}");
    }
}
