//! Settings of who is told: people, the channels they are told by, when they are left alone.

use std::{collections::BTreeSet, path::PathBuf};

use chrono::NaiveTime;
use facts::AlertKind;
use serde::{Deserialize, Serialize};

use super::{Secret, Settings, SettingsError, wrong};

/// The kind of an alert that says a window is about to close.
pub(crate) const CLOSING: &str = "closing";
/// Stands for every kind that has no channels of its own.
const ELSE: &str = "else";
/// Ways that are not the name of a webhook.
const WAYS: [&str; 4] = ["page", "push", "email", "mqtt"];

/// Somebody who is told.
#[derive(Debug, Clone, Default, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Person {
    /// Short name, as an id is written; must not change while deliveries wait.
    pub name: String,
    /// E-mail address; empty for none.
    pub email: String,
    /// Local hours in which nothing is sent, "22:00-07:00"; empty for none.
    pub quiet: String,
    /// Kinds of alert that are sent in those hours all the same.
    pub wake_for: Vec<String>,
    /// Who is told when nobody acknowledges an alert that insists; empty for nobody.
    pub then: String,
    /// Channels in order, for each kind of alert; "else" stands for the kinds that are not named. A channel is page
    /// (while one is open), push, email, mqtt, or the name of a webhook, which is then that person's alone. One that
    /// fails hands over to the next.
    pub tell: std::collections::BTreeMap<String, Vec<String>>,
}

/// How alerts are told to people.
#[derive(Debug, Clone, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Alerts {
    /// A milestone that opens waits so long for others that are expected, to be one message with them, minutes; 0 for
    /// never.
    #[schema(minimum = 0, maximum = 60)]
    pub group_minutes: u32,
    /// Kinds that go on until somebody acknowledges them: to the person's next channel, then to whoever stands in; a
    /// window that closes is told again and again until it has closed. Kinds are closing, milestone, digest, climate,
    /// mix, sensor_silent, calibration_due, hook_set_aside, string_up, clock_leapt.
    pub insist: Vec<String>,
    /// How long after it was told an alert that insists goes on, minutes.
    #[schema(minimum = 1, maximum = 1440)]
    pub again_minutes: u32,
    /// Webhooks and push messages go out into the world, by https. These networks of your own they may reach too, also by
    /// http: `["192.168.1.0/24", "127.0.0.1"]`.
    #[serde(deserialize_with = "super::nets::read")]
    #[schema(value_type = Vec<String>)]
    pub allow_private: Vec<ipnet::IpNet>,
}

/// The way to a mail server; off while it has no address.
#[derive(Debug, Clone, Default, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Email {
    /// The mail server: `smtps://host:465` for TLS from the start, `smtp://host:587` for STARTTLS; empty for none.
    pub url: String,
    /// Sender's address.
    pub from: String,
    /// User, if the server asks for one; empty for none.
    pub username: String,
    /// Password of that user.
    #[schema(value_type = String, format = Password)]
    pub password: Secret,
    /// File that holds the password instead; empty for none.
    pub password_file: PathBuf,
    /// A certificate authority of your own for that server, PEM; empty for none.
    pub ca_file: PathBuf,
}

/// Push messages to browsers.
#[derive(Debug, Clone, Default, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Push {
    /// How the push service of a browser reaches you if your messages trouble it, "mailto:shop@example.org"; empty for
    /// none. The keys are made at the first start and stand beside the database.
    pub contact: String,
}

impl Default for Alerts {
    fn default() -> Self {
        Self { group_minutes: 10, insist: vec![CLOSING.into()], again_minutes: 10, allow_private: vec![] }
    }
}

impl Person {
    /// Channels for a kind, in the order they are tried.
    pub(crate) fn channels(&self, kind: &str) -> &[String] {
        self.tell.get(kind).or_else(|| self.tell.get(ELSE)).map_or(&[], Vec::as_slice)
    }

    /// First and last local time of the quiet hours.
    pub(crate) fn quiet_hours(&self) -> Option<(NaiveTime, NaiveTime)> {
        let (from, until) = self.quiet.split_once('-')?;
        let time = |text: &str| NaiveTime::parse_from_str(text.trim(), "%H:%M").ok();
        Some((time(from)?, time(until)?)).filter(|(from, until)| from != until)
    }
}

impl Email {
    /// Whether TLS begins at once, the host, and the port.
    pub(crate) fn address(&self) -> Option<(bool, &str, u16)> {
        let (scheme, rest) = self.url.split_once("://")?;
        let (at_once, usual) = match scheme {
            "smtps" => (true, 465),
            "smtp" => (false, 587),
            _ => return None,
        };
        let rest = rest.trim_end_matches('/');
        let (host, port) = match rest.rsplit_once(':') {
            Some((host, port)) => (host, port.parse().ok()?),
            None => (rest, usual),
        };
        (!host.is_empty() && !host.contains(['/', '@'])).then_some((at_once, host, port))
    }

    fn check(&mut self) -> Result<(), SettingsError> {
        if self.url.is_empty() {
            return Ok(());
        }
        if self.address().is_none() {
            let what = format!("\"{}\" is no address of a mail server", self.url);
            return Err(wrong("email.url", what, "write smtps://host:465, or smtp://host:587 for STARTTLS"));
        }
        if self.from.parse::<lettre::message::Mailbox>().is_err() {
            let what = format!("\"{}\" is no sender", self.from);
            return Err(wrong("email.from", what, "write bench@example.org"));
        }
        if !self.password_file.as_os_str().is_empty() {
            let secret = std::fs::read_to_string(&self.password_file)
                .map_err(|e| wrong("email.password_file", e.to_string(), "make the file readable"))?;
            self.password = secret.trim().into();
        }
        if !self.ca_file.as_os_str().is_empty() {
            std::fs::read(&self.ca_file)
                .map_err(|e| wrong("email.ca_file", e.to_string(), "make the file readable"))?;
        }
        Ok(())
    }
}

fn is_kind(kind: &str) -> bool {
    kind == CLOSING || serde_json::from_value::<AlertKind>(kind.into()).is_ok()
}

fn kinds(key: &str, kinds: &[String]) -> Result<(), SettingsError> {
    let mend = "write closing, or a kind as alerts have it: milestone, digest, climate, mix, sensor_silent ...";
    match kinds.iter().find(|kind| !is_kind(kind)) {
        Some(kind) => Err(wrong(key, format!("there is no kind \"{kind}\""), mend)),
        None => Ok(()),
    }
}

/// Everything about being told, which hangs together: a person's channel needs the way it goes by.
pub(super) fn check(settings: &mut Settings) -> Result<(), SettingsError> {
    settings.email.check()?;
    let contact = &settings.push.contact;
    if !contact.is_empty() && !contact.starts_with("mailto:") && !contact.starts_with("https:") {
        return Err(wrong("push.contact", format!("\"{contact}\""), "write mailto:shop@example.org"));
    }
    kinds("alerts.insist", &settings.alerts.insist)?;
    let mut names = BTreeSet::new();
    for (i, person) in settings.people.iter().enumerate() {
        let key = |name: &str| format!("people[{i}].{name}");
        if facts::ZoneId::new(person.name.clone()).is_err() || !names.insert(&person.name) {
            let what = format!("\"{}\" is no name, or stands twice", person.name);
            return Err(wrong(&key("name"), what, "write lower case letters, digits and hyphens, each name once"));
        }
        check_person(settings, person, &key)?;
    }
    Ok(())
}

fn check_person(settings: &Settings, person: &Person, key: &dyn Fn(&str) -> String) -> Result<(), SettingsError> {
    if !person.email.is_empty() && person.email.parse::<lettre::Address>().is_err() {
        return Err(wrong(&key("email"), format!("\"{}\" is no address", person.email), "write mia@example.org"));
    }
    if !person.quiet.is_empty() && person.quiet_hours().is_none() {
        return Err(wrong(&key("quiet"), format!("\"{}\" is no part of a day", person.quiet), "write 22:00-07:00"));
    }
    kinds(&key("wake_for"), &person.wake_for)?;
    let named: Vec<String> = person.tell.keys().filter(|kind| *kind != ELSE).cloned().collect();
    kinds(&key("tell"), &named)?;
    if person.tell.is_empty() {
        return Err(wrong(&key("tell"), "is empty", "write tell = { else = [\"push\", \"email\"] }"));
    }
    for channel in person.tell.values().flatten() {
        let needs = match channel.as_str() {
            "email" if person.email.is_empty() => Some("their e-mail address"),
            "email" if settings.email.url.is_empty() => Some("email.url"),
            "mqtt" if settings.mqtt.url.is_empty() => Some("mqtt.url"),
            way if WAYS.contains(&way) || settings.webhooks.iter().any(|hook| hook.name == way) => None,
            _ => Some("a webhook of that name; else write page, push, email or mqtt"),
        };
        if let Some(needs) = needs {
            return Err(wrong(&key("tell"), format!("\"{channel}\" needs {needs}"), "add it to the settings"));
        }
    }
    // Whoever stands in may have somebody who stands in for them, but it must end.
    let (mut next, mut seen) = (&person.then, vec![&person.name]);
    while !next.is_empty() {
        let who = settings.people.iter().find(|other| other.name == *next);
        let Some(who) = who.filter(|who| !seen.contains(&&who.name)) else {
            let what = format!("\"{next}\" is nobody, or leads back");
            return Err(wrong(&key("then"), what, "name another of the people"));
        };
        seen.push(&who.name);
        next = &who.then;
    }
    Ok(())
}

/// Whether a webhook may have this name.
pub(super) fn is_way(name: &str) -> bool {
    WAYS.contains(&name)
}
