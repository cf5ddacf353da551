//! SenML (RFC 8428) in JSON: records resolved to a name, a time, a unit and a value each, and temperature and humidity
//! of one place and time made into a reading.

use std::collections::BTreeMap;

use clock::Sample;
use facts::{SensorId, ZoneId};
use serde_json::{Map, Value};

use super::{Offer, Refused, Source};
use crate::problem::{Kind, Problem};

/// RFC 8428, 4.5.3: smaller times are relative to now.
const LEAST_ABSOLUTE_S: f64 = 268_435_456.0;
/// No calendar here goes further.
const LATEST_S: f64 = 8.0e12;
/// RFC 8428, 4.1 and 4.4: the version of the format when none is said.
const VERSION: f64 = 10.0;

/// A record that owes nothing to those before it (RFC 8428, 4.6).
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Resolved {
    /// Its place in the pack, from 0.
    row: usize,
    pub(crate) name: String,
    pub(crate) at_ms: i64,
    /// Whether it said its time as an instant.
    absolute: bool,
    pub(crate) unit: String,
    pub(crate) value: f64,
}

/// Base fields in force.
#[derive(Default)]
struct Base {
    name: String,
    time_s: f64,
    unit: String,
    value: f64,
    version: Option<f64>,
}

fn malformed(row: usize, what: impl std::fmt::Display) -> Problem {
    let mend = "send a SenML pack as RFC 8428 has it: a list of records";
    Problem::new(Kind::Malformed, format!("record {row}: {what}"), mend)
}

fn text<'a>(record: &'a Map<String, Value>, row: usize, label: &str) -> Result<Option<&'a str>, Problem> {
    let Some(value) = record.get(label) else { return Ok(None) };
    value.as_str().map(Some).ok_or_else(|| malformed(row, format!("{label} is no text")))
}

fn number(record: &Map<String, Value>, row: usize, label: &str) -> Result<Option<f64>, Problem> {
    let Some(value) = record.get(label) else { return Ok(None) };
    value.as_f64().map(Some).ok_or_else(|| malformed(row, format!("{label} is no number")))
}

/// Resolves a pack at an instant. Records that say nothing measured are refused by row; a pack that breaks the format
/// is refused whole, as the RFC asks.
///
/// # Errors
/// What breaks the format, and in which record.
pub(crate) fn resolve(pack: &[u8], now_ms: i64) -> Result<(Vec<Resolved>, Vec<Refused>), Problem> {
    let pack: Vec<Value> = serde_json::from_slice(pack).map_err(|e| malformed(0, e))?;
    let (mut base, mut resolved, mut refused) = (Base::default(), Vec::new(), Vec::new());
    for (row, record) in pack.iter().enumerate() {
        let record = record.as_object().ok_or_else(|| malformed(row, "it is no object"))?;
        base.take(record, row)?;
        match base.resolve(record, row, now_ms)? {
            Some(Ok(one)) => resolved.push(one),
            Some(Err((field, what))) => {
                let mend = "a reading needs a number as its value; leave out what is not of the air";
                refused.push(Refused::of(row, Problem::new(Kind::Invalid, what, mend).about(field)));
            }
            None => {}
        }
    }
    Ok((resolved, refused))
}

impl Base {
    /// RFC 8428, 4.1: base fields hold from their record on; 4.4: what must be understood ends in an underscore.
    fn take(&mut self, record: &Map<String, Value>, row: usize) -> Result<(), Problem> {
        if let Some(label) = record.keys().find(|label| label.ends_with('_')) {
            return Err(malformed(row, format!("\"{label}\" must be understood, and is not")));
        }
        if let Some(version) = number(record, row, "bver")? {
            if version > VERSION || self.version.is_some_and(|other| other != version) {
                return Err(malformed(row, format!("bver {version} is not known, or not the same in every record")));
            }
            self.version = Some(version);
        }
        if let Some(name) = text(record, row, "bn")? {
            self.name = name.into();
        }
        if let Some(unit) = text(record, row, "bu")? {
            self.unit = unit.into();
        }
        self.time_s = number(record, row, "bt")?.unwrap_or(self.time_s);
        self.value = number(record, row, "bv")?.unwrap_or(self.value);
        Ok(())
    }

    /// None for a record of base fields alone; an error names the field of a record that measured no number.
    #[expect(clippy::type_complexity, reason = "three ways a record may end, told apart where it is called")]
    fn resolve(
        &self,
        record: &Map<String, Value>,
        row: usize,
        now_ms: i64,
    ) -> Result<Option<Result<Resolved, (&'static str, String)>>, Problem> {
        let name = format!("{}{}", self.name, text(record, row, "n")?.unwrap_or_default());
        let other = ["vs", "vb", "vd", "s"].into_iter().find(|label| record.contains_key(*label));
        let value = match (number(record, row, "v")?, other) {
            // RFC 8428, 4.5.4: base value and value are added.
            // A sum beside the value is of no use here.
            (Some(value), None | Some("s")) => self.value + value,
            (None, Some(label)) => return Ok(Some(Err((label, format!("\"{name}\" has no value v"))))),
            (None, None) => return Ok(None),
            (Some(_), Some(label)) => return Err(malformed(row, format!("it has both v and {label}"))),
        };
        // RFC 8428, 4.5.1.
        let fits = |c: char| c.is_ascii_alphanumeric() || "-:./_".contains(c);
        if !name.starts_with(|c: char| c.is_ascii_alphanumeric()) || !name.chars().all(fits) {
            return Ok(Some(Err(("n", format!("\"{name}\" is no name")))));
        }
        // RFC 8428, 4.5.3: base time and time are added; below 2^28 the sum is seconds from now.
        let time_s = self.time_s + number(record, row, "t")?.unwrap_or_default();
        if time_s.abs() > LATEST_S {
            return Ok(Some(Err(("t", format!("\"{name}\" has a time beyond every calendar")))));
        }
        let absolute = time_s >= LEAST_ABSOLUTE_S;
        let ms = (time_s * 1000.0).round() as i64;
        let at_ms = if absolute { ms } else { now_ms.saturating_add(ms) };
        let unit = text(record, row, "u")?.unwrap_or(&self.unit).to_string();
        Ok(Some(Ok(Resolved { row, name, at_ms, absolute, unit, value })))
    }
}

/// A zone, or a zone and a sensor, as settings and names write it.
pub(crate) fn place(text: &str) -> Option<Source> {
    let (zone, sensor) = match text.split_once('/') {
        None => (text, None),
        Some((zone, sensor)) => (zone, Some(sensor)),
    };
    let sensor = sensor.map(SensorId::new).transpose().ok()?;
    Some((ZoneId::new(zone).ok()?, sensor))
}

/// Where a name is: the longest beginning that the settings know, else zone/quantity or zone/sensor/quantity.
fn place_of(name: &str, names: &BTreeMap<String, String>) -> Option<Source> {
    let known = names.iter().filter(|(begins, _)| name.starts_with(begins.as_str())).max_by_key(|(b, _)| b.len());
    if let Some((_, stands_for)) = known {
        return place(stands_for);
    }
    let name = name.to_lowercase();
    match name.split('/').collect::<Vec<_>>().as_slice() {
        [zone] | [zone, _] => place(zone),
        [zone, sensor, ..] => place(&format!("{zone}/{sensor}")),
        [] => None,
    }
}

/// Makes readings of records: temperature and humidity of the same place and time belong together.
pub(crate) fn readings(
    resolved: Vec<Resolved>,
    said: Option<&Source>,
    names: &BTreeMap<String, String>,
) -> (Vec<Offer>, Vec<Refused>) {
    type Half = Option<(usize, f64)>;
    let mut halves: BTreeMap<(Source, i64), (Half, Half, bool)> = BTreeMap::new();
    let mut refused = Vec::new();
    let mut refuse = |row, field: &str, what: String, mend: &str| {
        refused.push(Refused::of(row, Problem::new(Kind::Invalid, what, mend).about(field)));
    };
    for one in resolved {
        let Resolved { row, name, at_ms, absolute, unit, value } = one;
        let temp_c = match unit.as_str() {
            "Cel" => Some(value),
            "K" => Some(((value - 273.15) * 1000.0).round() / 1000.0),
            "%RH" => None,
            _ => {
                refuse(row, "u", format!("\"{name}\" is in \"{unit}\""), "temperature is in Cel or K, humidity in %RH");
                continue;
            }
        };
        let Some(source) = said.cloned().or_else(|| place_of(&name, names)) else {
            refuse(
                row,
                "n",
                format!("\"{name}\" names no zone"),
                "name it zone/sensor/quantity, or list it under senml.names",
            );
            continue;
        };
        let pair = halves.entry((source, at_ms)).or_insert((None, None, absolute));
        let half = if temp_c.is_some() { &mut pair.0 } else { &mut pair.1 };
        match half {
            None => *half = Some((row, temp_c.unwrap_or(value))),
            Some((first, _)) => {
                let what = format!("it says again what record {first} said of the same time");
                refuse(row, "n", what, "send one value of each for an instant");
            }
        }
    }
    let mut offers = Vec::new();
    for ((source, at_ms), pair) in halves {
        match pair {
            (Some((row, temp_c)), Some((other, rh_pct)), absolute) => offers.push(Offer {
                row: row.min(other),
                source,
                sample: Sample { at_ms, temp_c, rh_pct },
                stamped: absolute,
            }),
            (Some((row, _)), None, _) => {
                refuse(row, "u", "a temperature without a humidity of the same time".into(), "send both with one time");
            }
            (None, Some((row, _)), _) => {
                refuse(row, "u", "a humidity without a temperature of the same time".into(), "send both with one time");
            }
            (None, None, _) => {}
        }
    }
    offers.sort_by_key(|offer| offer.row);
    (offers, refused)
}

#[cfg(test)]
mod tests;
