//! The fields of a form as a browser sends it.

use std::{future::Future, pin::Pin};

use actix_web::{FromRequest, HttpRequest, dev::Payload, http::header, web};
use facts::{Id, Kind as IdKind};
use serde::de::DeserializeOwned;
use sha2::{Digest, Sha256};
use store::Answer;

use crate::{
    inches::Inches,
    now::instant,
    problem::{Kind, Problem},
    state::State,
    units::LengthUnit,
};

/// Longest a form may have been kept on a device before it is sent, ms.
const KEPT_AT_MOST_MS: i64 = 7 * 24 * 3_600_000;

/// Names and values in their order; a name may come more than once.
pub(super) struct Fields(pub(super) Vec<(String, String)>);

impl FromRequest for Fields {
    type Error = actix_web::Error;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Self::Error>>>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        // A button without anything to fill in needs no form.
        if !request.headers().contains_key(header::CONTENT_TYPE) {
            return Box::pin(async { Ok(Self(vec![])) });
        }
        let form = web::Form::<Vec<(String, String)>>::from_request(request, payload);
        Box::pin(async move { Ok(Self(form.await?.into_inner())) })
    }
}

impl Fields {
    /// The first value of a name that is not empty.
    pub(super) fn get(&self, name: &str) -> Option<&str> {
        self.0.iter().find(|(n, v)| n == name && !v.trim().is_empty()).map(|(_, v)| v.trim())
    }

    /// Every value of a name that is not empty.
    pub(super) fn all<'a>(&'a self, name: &'a str) -> impl Iterator<Item = &'a str> {
        self.0.iter().filter(move |(n, v)| n == name && !v.trim().is_empty()).map(|(_, v)| v.trim())
    }

    /// A number, if the field is filled in; a comma is taken for the point.
    pub(super) fn number(&self, name: &str) -> Result<Option<f64>, Problem> {
        let Some(said) = self.get(name) else { return Ok(None) };
        let number = said.replace(',', ".").parse().map_err(|_| {
            Problem::new(Kind::Invalid, format!("{name} is no number: {said}"), "write it like 0.75").about(name)
        })?;
        Ok(Some(number))
    }

    /// A number that must be filled in.
    pub(super) fn needed(&self, name: &str) -> Result<f64, Problem> {
        let missing = || Problem::new(Kind::Invalid, format!("{name} is missing"), "fill it in").about(name);
        self.number(name)?.ok_or_else(missing)
    }

    /// A word of a list, if the field is filled in.
    pub(super) fn word<T: DeserializeOwned>(&self, name: &str) -> Result<Option<T>, Problem> {
        let Some(said) = self.get(name) else { return Ok(None) };
        let word = serde_json::from_value(said.into()).map_err(|_| {
            Problem::new(Kind::Invalid, format!("\"{said}\" is not of the list"), "choose one of the list").about(name)
        })?;
        Ok(Some(word))
    }

    /// A length in the shop's unit, mm; inches may be a fraction, "7/16".
    pub(super) fn length_mm(&self, name: &str, unit: LengthUnit) -> Result<Option<f64>, Problem> {
        match unit {
            LengthUnit::Mm => self.number(name),
            LengthUnit::In => self.get(name).map(|said| Inches::Text(said.replace(',', ".")).mm(name)).transpose(),
        }
    }

    /// An id, if the field is filled in.
    pub(super) fn id<K: IdKind>(&self, name: &str) -> Result<Option<Id<K>>, Problem> {
        Ok(self.get(name).map(|text| Id::new(text.to_string())).transpose()?)
    }

    /// The answer to keep, so that a form sent twice makes one thing: every form carries a key made with the page.
    pub(super) fn answer(&self, path: &str, id: &str) -> Option<Answer> {
        let key = self.get("key").filter(|key| key.len() <= 128 && key.chars().all(|c| c.is_ascii_graphic()))?;
        let mut hash = Sha256::new();
        hash.update(path);
        // Pressed twice is meant once, whenever that was.
        for (name, value) in self.0.iter().filter(|(name, _)| name != "pressed_ms") {
            hash.update([0]);
            hash.update(name);
            hash.update([1]);
            hash.update(value);
        }
        let fingerprint = hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
        Some(Answer { key: key.into(), fingerprint, status: 201, body: id.into() })
    }

    /// When the button was pressed, ms: the device says so when the form was kept there until the network came back.
    pub(super) fn pressed_ms(&self, now_ms: i64) -> Result<i64, Problem> {
        let Some(said) = self.get("pressed_ms") else { return Ok(now_ms) };
        let pressed_ms: i64 = said.parse().unwrap_or(i64::MAX);
        if (now_ms - KEPT_AT_MOST_MS..=now_ms + 60_000).contains(&pressed_ms) {
            return Ok(pressed_ms.min(now_ms));
        }
        let mend = "enter it anew with the time it began";
        Err(Problem::new(Kind::Invalid, "this form was kept too long, or the device's clock is wrong", mend)
            .about("pressed_ms"))
    }

    /// When something began: at an hour of the shop's clock, the last there was, or so many minutes before the button. An hour
    /// that was written down is meant, whatever else is ticked.
    pub(super) fn started_ms(&self, state: &State) -> Result<i64, Problem> {
        let pressed_ms = self.pressed_ms(state.now().ms())?;
        match (self.get("clock"), self.get("started").unwrap_or("0")) {
            (Some(clock), _) => state.last_time_of_day(clock, pressed_ms),
            (None, "at") => state.last_time_of_day("", pressed_ms),
            (None, minutes) => {
                let minutes: f64 = minutes.parse().unwrap_or(f64::NAN);
                let mend = "choose one of the times";
                let minutes = facts::within("started", minutes, 0.0, 366.0 * 24.0 * 60.0, "min ago", mend)?;
                Ok(pressed_ms - (minutes * 60_000.0) as i64)
            }
        }
    }
}

impl State {
    /// The last instant before `now_ms` at which the shop's clock showed this hour and minute.
    fn last_time_of_day(&self, clock: &str, now_ms: i64) -> Result<i64, Problem> {
        let time = chrono::NaiveTime::parse_from_str(clock, "%H:%M").map_err(|_| {
            Problem::new(Kind::Invalid, format!("\"{clock}\" is no time of day"), "write it as 14:05").about("clock")
        })?;
        let today = instant(now_ms).with_timezone(&self.zone).date_naive();
        // An hour the clocks skipped is no time of that day.
        let of_day = |days: i64| {
            let day = today - chrono::Duration::days(days);
            Some(day.and_time(time).and_local_timezone(self.zone).latest()?.timestamp_millis())
        };
        let last = (0..3).filter_map(of_day).find(|at_ms| *at_ms <= now_ms + 60_000);
        last.map(|at_ms| at_ms.min(now_ms)).ok_or_else(|| {
            Problem::new(Kind::Invalid, "there was no such time", "the clocks changed; choose another").about("clock")
        })
    }
}

/// A key for a form: whoever sends it twice means it once.
pub(super) fn new_key() -> String {
    uuid::Uuid::now_v7().to_string()
}
