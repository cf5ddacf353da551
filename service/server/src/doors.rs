//! What comes in or goes out by another way than HTTP, one function each and nothing behind it: for whoever wants to throw
//! at it whatever there is.

use clock::Sample;
use facts::{SensorId, ZoneId};

use crate::{Problem, Settings, calendar::ics::Ics, intake::mqtt};

/// What a message from a broker says under these settings: its zone, its sensor if it names one, and what was read.
/// `came_ms` is when it came, ms since 1970 UTC, and stands for the time where it says none.
///
/// # Errors
/// What in the topic or the payload cannot be read; or the topic of the settings is none.
pub fn message(
    settings: &Settings,
    topic: &str,
    payload: &[u8],
    came_ms: i64,
) -> Result<(ZoneId, Option<SensorId>, Sample), Problem> {
    let pattern = mqtt::Pattern::of(&settings.mqtt.topic).map_err(|what| {
        Problem::new(crate::Kind::Invalid, what, "write benchclock/{zone}/{sensor}").about("mqtt.topic")
    })?;
    let ((zone, sensor), sample, _) = mqtt::read(&settings.mqtt, &pattern, topic, payload, came_ms)?;
    Ok((zone, sensor, sample))
}

/// A calendar (RFC 5545) with one event for each text, which is its summary; the events lie at `at_ms`.
pub fn calendar(texts: &[String], at_ms: i64) -> String {
    let mut ics = Ics::new();
    ics.within("VCALENDAR", |ics| {
        ics.put("VERSION", "2.0");
        ics.put("PRODID", "-//benchclock//doors//EN");
        for (n, text) in texts.iter().enumerate() {
            ics.within("VEVENT", |ics| {
                ics.put("UID", &n.to_string());
                ics.at("DTSTAMP", at_ms);
                ics.at("DTSTART", at_ms);
                ics.say("SUMMARY", text);
            });
        }
    });
    ics.text()
}
