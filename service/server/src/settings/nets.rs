//! Networks as the settings write them: "192.168.1.0/24", or one address; from the environment several with commas between.

use std::net::IpAddr;

use ipnet::IpNet;
use serde::{Deserialize, Deserializer, de};

#[derive(Deserialize)]
#[serde(untagged)]
enum Written {
    One(String),
    Many(Vec<String>),
}

/// Reads a list of networks.
pub(super) fn read<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<IpNet>, D::Error> {
    let all = match Written::deserialize(deserializer)? {
        Written::One(text) => text.split(',').map(str::to_string).collect(),
        Written::Many(all) => all,
    };
    let net = |text: &String| {
        let text = text.trim();
        let one = || text.parse::<IpAddr>().ok().map(IpNet::from);
        let wrong = || de::Error::custom(format!("\"{text}\" is no network; write \"192.168.1.0/24\""));
        text.parse().ok().or_else(one).ok_or_else(wrong)
    };
    all.iter().filter(|text| !text.trim().is_empty()).map(net).collect()
}
