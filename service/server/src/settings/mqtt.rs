//! Settings of the way to an MQTT broker.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

use super::{Secret, SettingsError, wrong};
use crate::intake::{columns::TempUnit, mqtt::Pattern};

/// The way to a broker; off while it has no address.
#[derive(Debug, Clone, Serialize, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields, default)]
pub struct Mqtt {
    /// Readings from an MQTT broker: its address, `mqtt://host:1883` or `mqtts://host:8883`; empty for none. Messages sent
    /// at QoS 1 are acknowledged when they are on disk, and kept by the broker while this service is away.
    pub url: String,
    /// Version of the protocol: "3.1.1" or "5".
    pub version: String,
    /// Name the broker keeps the session under, at most 23 characters; another for each service at the same broker.
    pub client_id: String,
    /// User, if the broker asks for one; empty for none.
    pub username: String,
    /// Password of that user.
    #[schema(value_type = String, format = Password)]
    pub password: Secret,
    /// File that holds the password instead; empty for none.
    pub password_file: PathBuf,
    /// Topics: {zone} and {sensor} stand where a topic names them, + for any other level, # at the end for the rest.
    pub topic: String,
    /// Where in the JSON of a message the temperature is, as a JSON pointer.
    pub temp: String,
    /// Its unit.
    #[schema(inline)]
    pub(crate) temp_unit: TempUnit,
    /// Where the humidity is, in percent.
    pub rh: String,
    /// Where the sensor's time is, as RFC 3339 or as seconds or milliseconds since 1970. Without one it is when the
    /// message came.
    pub time: String,
    /// Where alerts are published for people who are told by MQTT: each has a topic below this one.
    pub alerts: String,
}

impl Default for Mqtt {
    fn default() -> Self {
        Self {
            url: String::new(),
            version: "3.1.1".into(),
            client_id: "benchclock".into(),
            username: String::new(),
            password: Secret::default(),
            password_file: PathBuf::new(),
            topic: "benchclock/{zone}/{sensor}".into(),
            temp: "/temp_c".into(),
            temp_unit: TempUnit::C,
            rh: "/rh_pct".into(),
            time: "/at".into(),
            alerts: "benchclock-alerts".into(),
        }
    }
}

/// Where a broker is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Address {
    pub(crate) tls: bool,
    pub(crate) host: String,
    pub(crate) port: u16,
}

impl Mqtt {
    /// Where the broker is; none when there is none.
    pub(crate) fn address(&self) -> Result<Option<Address>, SettingsError> {
        if self.url.is_empty() {
            return Ok(None);
        }
        let bad = || wrong("mqtt.url", format!("\"{}\" is no address of a broker", self.url), "write mqtt://host:1883");
        let (scheme, rest) = self.url.split_once("://").ok_or_else(bad)?;
        let (tls, usual) = match scheme {
            "mqtt" => (false, 1883),
            "mqtts" => (true, 8883),
            _ => return Err(bad()),
        };
        let rest = rest.trim_end_matches('/');
        let (host, port) = match rest.rsplit_once(':') {
            // An address of version 6 without a port ends in a bracket.
            Some((host, port)) if !port.ends_with(']') => (host, port.parse().map_err(|_| bad())?),
            _ => (rest, usual),
        };
        let host = host.trim_start_matches('[').trim_end_matches(']');
        if host.is_empty() || host.contains(['/', '@']) {
            return Err(bad());
        }
        Ok(Some(Address { tls, host: host.into(), port }))
    }

    pub(super) fn check(&mut self) -> Result<(), SettingsError> {
        self.address()?;
        if !["3.1.1", "5"].contains(&self.version.as_str()) {
            return Err(wrong("mqtt.version", format!("\"{}\"", self.version), "write \"3.1.1\" or \"5\""));
        }
        // Version 3.1.1 promises no more than 23 characters, and a session needs a name.
        if !(1..=23).contains(&self.client_id.len()) {
            return Err(wrong("mqtt.client_id", "must have 1 to 23 characters", "write benchclock"));
        }
        Pattern::of(&self.topic).map_err(|what| wrong("mqtt.topic", what, "write benchclock/{zone}/{sensor}"))?;
        for (key, pointer) in [("mqtt.temp", &self.temp), ("mqtt.rh", &self.rh), ("mqtt.time", &self.time)] {
            let left_out = key == "mqtt.time" && pointer.is_empty();
            if !left_out && !pointer.starts_with('/') {
                let mend = "write a JSON pointer, for example /temperature or /data/0/value";
                return Err(wrong(key, format!("\"{pointer}\" is no JSON pointer"), mend));
            }
        }
        // A wildcard cannot be published to, and a topic of readings would bring every alert back as a reading.
        if self.alerts.is_empty() || self.alerts.contains(['+', '#', '$']) {
            let what = format!("\"{}\" is no topic to publish to", self.alerts);
            return Err(wrong("mqtt.alerts", what, "write benchclock-alerts"));
        }
        if !self.password_file.as_os_str().is_empty() {
            let secret = std::fs::read_to_string(&self.password_file)
                .map_err(|e| wrong("mqtt.password_file", e.to_string(), "make the file readable"))?;
            self.password = secret.trim().into();
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn address(url: &str) -> Option<(bool, String, u16)> {
        let mqtt = Mqtt { url: url.into(), ..Mqtt::default() };
        mqtt.address().ok()?.map(|a| (a.tls, a.host, a.port))
    }

    #[test]
    fn brokers_are_found_where_their_address_says() {
        assert_eq!(address("mqtt://127.0.0.1:1884"), Some((false, "127.0.0.1".into(), 1884)));
        assert_eq!(address("mqtts://broker.example"), Some((true, "broker.example".into(), 8883)));
        assert_eq!(address("mqtt://[::1]:1883/"), Some((false, "::1".into(), 1883)));
        for wrong in ["http://x", "broker", "mqtt://", "mqtt://x:y", "mqtt://user@x"] {
            assert_eq!(address(wrong), None, "{wrong}");
        }
    }
}
