//! What each role may do. One rule for every address, so that a new one is never open by oversight: who may look may GET,
//! who works at the bench may do the rest, and what is kept for the owner is named here.

use actix_web::http::Method;
use serde::{Deserialize, Serialize};

/// What a token's holder is to the shop.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, clap::ValueEnum, utoipa::ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// May do everything: give and take away tokens, save rules, take the whole shop along.
    Owner,
    /// Works at the bench: registers, answers, plans; tries rules and saves none.
    Bench,
    /// A device: posts readings of its zones, and nothing else.
    Sensor,
    /// Looks and changes nothing: the board on the wall, a program that reads the metrics.
    Viewer,
}

/// What a request asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Asks {
    /// Nothing that is not for everybody.
    Nothing,
    /// To post readings.
    Readings,
    /// To look.
    Look,
    /// To work at the bench.
    Work,
    /// To own the shop.
    Own,
}

impl Role {
    /// Every role.
    pub(crate) const ALL: [Self; 4] = [Self::Owner, Self::Bench, Self::Sensor, Self::Viewer];

    /// Its word.
    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Owner => "owner",
            Self::Bench => "bench",
            Self::Sensor => "sensor",
            Self::Viewer => "viewer",
        }
    }

    /// The role of a word.
    pub(crate) fn of_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|role| role.word() == word)
    }

    pub(super) fn may(self, asks: Asks) -> bool {
        match asks {
            Asks::Nothing => true,
            Asks::Readings => self != Self::Viewer,
            Asks::Look => self != Self::Sensor,
            Asks::Work => matches!(self, Self::Owner | Self::Bench),
            Asks::Own => self == Self::Owner,
        }
    }
}

/// What asks for nothing: whether it lives, the way in, and what a page of anybody's is dressed with. Shop and people are
/// in none of it; a calendar's address is a secret itself.
const OPEN: [&str; 16] = [
    "/health/live",
    "/health/ready",
    "/login",
    "/look.css",
    "/bench.js",
    "/follow.js",
    "/forms.js",
    "/keep.js",
    "/chart.js",
    "/rules.js",
    "/push.js",
    "/service-worker.js",
    "/icon.svg",
    "/load-paths.svg",
    "/icon-180.png",
    "/app.webmanifest",
];

/// What a request asks for, by its method and its path as the addresses are matched by.
pub(super) fn asks(method: &Method, path: &str) -> Asks {
    let get = *method == Method::GET;
    let parts: Vec<&str> = path.trim_start_matches('/').split('/').collect();
    match parts.as_slice() {
        ["login"] if get || *method == Method::POST => Asks::Nothing,
        _ if get && (OPEN.contains(&path) || path.starts_with("/calendar/")) => Asks::Nothing,
        ["logout"] => Asks::Look,
        // Tokens, and the whole shop at once.
        ["access", ..] | ["api", "v1", "tokens" | "export", ..] => Asks::Own,
        // A saved rule changes what every later joint is judged by. Trying one, and drafting one, changes nothing.
        ["api", "v1", "rules", _] if *method == Method::PUT => Asks::Own,
        ["rules", material] if !get && *material != "new" => Asks::Own,
        ["api", "v1", "zones", _, "readings"]
        | ["api", "v1", "zones", _, "readings", "csv"]
        | ["api", "v1", "readings"]
        | ["api", "v1", "readings", "senml"]
            if !get =>
        {
            Asks::Readings
        }
        // Whoever knows a calendar's address reads it without a token; whose browsers are told is the shop's own.
        ["api", "v1", "calendars" | "push-subscriptions"] => Asks::Work,
        _ if get => Asks::Look,
        _ => Asks::Work,
    }
}
