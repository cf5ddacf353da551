//! What a message says: its zone and sensor by its topic, the air and the time by JSON pointers into its payload.

use chrono::DateTime;
use clock::Sample;
use facts::{SensorId, ZoneId};
use serde_json::Value;

use crate::{
    intake::{Source, columns::TempUnit},
    problem::{Kind, Problem},
    settings::Mqtt,
};

/// A level of a topic.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Level {
    Zone,
    Sensor,
    Any,
    Exactly(String),
}

/// Topics with the places at which zone and sensor stand.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Pattern {
    levels: Vec<Level>,
    /// Whether more levels may follow.
    open: bool,
}

impl Pattern {
    /// Understands a pattern.
    ///
    /// # Errors
    /// A sentence.
    pub(crate) fn of(text: &str) -> Result<Self, String> {
        let (text, open) = match text.strip_suffix("/#") {
            Some(text) => (text, true),
            None => (text, false),
        };
        let level = |level: &str| match level {
            "{zone}" => Ok(Level::Zone),
            "{sensor}" => Ok(Level::Sensor),
            "+" => Ok(Level::Any),
            level if level.contains(['+', '#', '{', '}']) => Err(format!("\"{level}\" must be a level of its own")),
            level => Ok(Level::Exactly(level.into())),
        };
        let levels = text.split('/').map(level).collect::<Result<Vec<_>, _>>()?;
        let n = |which: Level| levels.iter().filter(|level| **level == which).count();
        if n(Level::Zone) != 1 || n(Level::Sensor) > 1 {
            return Err(format!("\"{text}\" must name {{zone}} once, and {{sensor}} at most once"));
        }
        Ok(Self { levels, open })
    }

    /// The filter to subscribe to.
    pub(crate) fn filter(&self) -> String {
        let level = |level: &Level| match level {
            Level::Exactly(text) => text.clone(),
            _ => "+".into(),
        };
        let mut levels: Vec<String> = self.levels.iter().map(level).collect();
        levels.extend(self.open.then(|| "#".into()));
        levels.join("/")
    }

    /// The zone and the sensor a topic names.
    fn source(&self, topic: &str) -> Result<Source, Problem> {
        let wrong =
            |what: String| Problem::new(Kind::Invalid, what, "correct mqtt.topic, or the device").about("topic");
        let said: Vec<&str> = topic.split('/').collect();
        if said.len() < self.levels.len() || (said.len() > self.levels.len() && !self.open) {
            return Err(wrong(format!("topic \"{topic}\" has other levels than mqtt.topic")));
        }
        let at = |which: Level| {
            let place = self.levels.iter().position(|level| *level == which)?;
            Some(said[place].to_lowercase())
        };
        let zone = ZoneId::new(at(Level::Zone).unwrap_or_default()).map_err(|e| Problem::from(e).about("topic"))?;
        let sensor = at(Level::Sensor).map(SensorId::new).transpose().map_err(|e| Problem::from(e).about("topic"))?;
        Ok((zone, sensor))
    }
}

/// What a message says: where, what, and whether it said when.
///
/// # Errors
/// What in it cannot be read.
pub(crate) fn read(
    mqtt: &Mqtt,
    pattern: &Pattern,
    topic: &str,
    payload: &[u8],
    came_ms: i64,
) -> Result<(Source, Sample, bool), Problem> {
    let source = pattern.source(topic)?;
    let payload: Value = serde_json::from_slice(payload).map_err(|e| {
        Problem::new(Kind::Malformed, format!("the payload is no JSON: {e}"), "let the device send JSON")
            .about("payload")
    })?;
    let temp = number(&payload, "temp", &mqtt.temp)?;
    let temp_c = match mqtt.temp_unit {
        TempUnit::C => temp,
        TempUnit::F => ((temp - 32.0) / 1.8 * 100.0).round() / 100.0,
    };
    let rh_pct = number(&payload, "rh", &mqtt.rh)?;
    let said = if mqtt.time.is_empty() { None } else { payload.pointer(&mqtt.time).filter(|at| !at.is_null()) };
    let at_ms = said.map(time).transpose()?;
    Ok((source, Sample { at_ms: at_ms.unwrap_or(came_ms), temp_c, rh_pct }, at_ms.is_some()))
}

fn number(payload: &Value, field: &str, pointer: &str) -> Result<f64, Problem> {
    let wrong =
        |what: String| Problem::new(Kind::Invalid, what, format!("correct mqtt.{field}, or the device")).about(field);
    let value = payload.pointer(pointer).ok_or_else(|| wrong(format!("there is nothing at {pointer}")))?;
    // Many devices send numbers as text.
    let number = value.as_f64().or_else(|| value.as_str()?.trim().parse().ok());
    number.filter(|n| n.is_finite()).ok_or_else(|| wrong(format!("{value} at {pointer} is no number")))
}

/// RFC 3339, or a number of seconds or milliseconds since 1970.
fn time(value: &Value) -> Result<i64, Problem> {
    let by_text = || DateTime::parse_from_rfc3339(value.as_str()?).ok().map(|at| at.timestamp_millis());
    let by_number = || {
        let number = value.as_f64().filter(|n| (0.0..=8.0e15).contains(n))?;
        Some(if number >= 1e11 { number as i64 } else { (number * 1000.0) as i64 })
    };
    by_number().or_else(by_text).ok_or_else(|| {
        let mend = "send RFC 3339, or seconds or milliseconds since 1970; or leave it out";
        Problem::new(Kind::Invalid, format!("{value} is no time"), mend).about("time")
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const CAME_MS: i64 = 1_772_438_400_000;

    fn read(mqtt: &Mqtt, topic: &str, payload: &str) -> Result<(String, Sample, bool), Problem> {
        let pattern = Pattern::of(&mqtt.topic).expect("a pattern");
        let ((zone, sensor), sample, stamped) = super::read(mqtt, &pattern, topic, payload.as_bytes(), CAME_MS)?;
        Ok((format!("{zone} {}", sensor.map_or(String::new(), |s| s.to_string())), sample, stamped))
    }

    #[test]
    fn a_topic_names_zone_and_sensor_and_pointers_the_rest() {
        let sample = Sample { at_ms: CAME_MS - 60_000, temp_c: 20.5, rh_pct: 50.0 };
        let payload = r#"{"temp_c": 20.5, "rh_pct": "50", "at": "2026-03-02T08:59:00+01:00"}"#;
        let found = read(&Mqtt::default(), "benchclock/Bench/North", payload);
        assert_eq!(found, Ok(("bench north".into(), sample, true)));
        let mqtt = Mqtt {
            topic: "house/+/{zone}/sensor/#".into(),
            temp: "/d/0".into(),
            rh: "/d/1".into(),
            temp_unit: TempUnit::F,
            time: "/t".into(),
            ..Mqtt::default()
        };
        for (payload, at_ms, stamped) in [
            (r#"{"d": [68.9, 50], "t": 1772438340}"#, CAME_MS - 60_000, true),
            (r#"{"d": [68.9, 50], "t": 1772438340000}"#, CAME_MS - 60_000, true),
            (r#"{"d": [68.9, 50], "t": null}"#, CAME_MS, false),
            (r#"{"d": [68.9, 50]}"#, CAME_MS, false),
        ] {
            let found = read(&mqtt, "house/1/bench/sensor/7/8", payload);
            assert_eq!(
                found,
                Ok(("bench ".into(), Sample { at_ms, temp_c: 20.5, rh_pct: 50.0 }, stamped)),
                "{payload}"
            );
        }
    }

    #[test]
    fn what_cannot_be_read_names_the_part() {
        let mqtt = Mqtt::default();
        for (topic, payload, field) in [
            ("benchclock/bench", "{}", "topic"),
            ("benchclock/bench/a/b", "{}", "topic"),
            ("benchclock/the bench/a", "{}", "topic"),
            ("benchclock/bench/a", "hello", "payload"),
            ("benchclock/bench/a", "{}", "temp"),
            ("benchclock/bench/a", r#"{"temp_c": 20, "rh_pct": "damp"}"#, "rh"),
            ("benchclock/bench/a", r#"{"temp_c": 20, "rh_pct": 50, "at": "noon"}"#, "time"),
            ("benchclock/bench/a", r#"{"temp_c": 20, "rh_pct": 50, "at": -7}"#, "time"),
        ] {
            let problem = read(&mqtt, topic, payload).expect_err(payload);
            assert_eq!(problem.field.as_deref(), Some(field), "{payload}");
        }
    }

    #[test]
    fn patterns_subscribe_to_what_they_match() {
        let filter = |text| Pattern::of(text).map(|pattern| pattern.filter());
        assert_eq!(filter("benchclock/{zone}/{sensor}").as_deref(), Ok("benchclock/+/+"));
        assert_eq!(filter("a/{zone}/+/x/#").as_deref(), Ok("a/+/+/x/#"));
        for wrong in ["a/b", "{zone}/{zone}", "a/x{zone}", "#", "{zone}/a#"] {
            assert!(filter(wrong).is_err(), "{wrong}");
        }
    }
}
