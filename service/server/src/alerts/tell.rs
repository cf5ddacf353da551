//! Who is told what, by which channel, and when: the one place that knows people.
//!
//! A channel of a person is named "mia:email" in the outbox; the name of a webhook alone is one that belongs to nobody and
//! gets everything. Each kind of alert has a ladder: the person's channels in order, then those of whoever stands in. A
//! channel that fails hands over to the next rung; an alert that insists goes on by itself until it is acknowledged.

use chrono::NaiveTime;
use chrono_tz::Tz;
use clock::{AlertState, Bench};
use facts::{AlertRaised, Meets};
use store::{Delivery, NewDelivery};

use crate::{
    alerts::{message, words},
    now::instant,
    settings::{CLOSING, Person, Settings},
    state::State,
    wall,
};

/// An alert a day old helps nobody.
const USEFUL_MS: i64 = 24 * 3_600_000;
const MINUTE_MS: i64 = 60_000;

/// The kind by which people choose channels: that of the alert, and apart from it what is about to close.
pub(crate) fn kind_of(bench: &Bench, raised: &AlertRaised) -> String {
    if closing(bench, raised).is_some() {
        return CLOSING.into();
    }
    let word = serde_json::to_value(raised.alert_kind).ok();
    word.and_then(|word| word.as_str().map(str::to_string)).unwrap_or_default()
}

/// Where the milestone of an alert stands among those of its cure, if it is one that closes.
fn closing<'a>(bench: &'a Bench, raised: &AlertRaised) -> Option<(&'a clock::Cure, usize)> {
    let cure = bench.cure(raised.cure.as_ref()?.as_str())?;
    let m = cure.begun.milestones.iter().position(|m| m.stage == raised.stage)?;
    (cure.begun.milestones[m].meets == Meets::Closes).then_some((cure, m))
}

/// Everybody who may be told, by name: webhooks that belong to nobody, then people.
pub(crate) fn receivers(settings: &Settings) -> Vec<&str> {
    let of_nobody =
        settings.webhooks.iter().map(|hook| hook.name.as_str()).filter(|hook| !is_somebodys(settings, hook));
    of_nobody.chain(settings.people.iter().map(|person| person.name.as_str())).collect()
}

/// The first delivery of an alert to everybody who is to hear of it; `to` names them where a script has chosen.
pub(crate) fn plan(state: &State, raised: &AlertRaised, to: Option<&[String]>, now_ms: i64) -> Vec<NewDelivery> {
    let settings = &state.settings;
    let chosen = |name: &String| to.is_none_or(|to| to.contains(name));
    let body = words::payload(state, raised);
    let new = |channel: String, due_ms| NewDelivery {
        alert: raised.id.clone(),
        channel,
        body: body.clone(),
        since_ms: now_ms,
        due_ms,
    };
    let of_nobody = settings.webhooks.iter().filter(|hook| !is_somebodys(settings, &hook.name) && chosen(&hook.name));
    let mut all: Vec<NewDelivery> = of_nobody.map(|hook| new(hook.name.clone(), now_ms)).collect();
    if settings.people.is_empty() {
        return all;
    }
    let bench = state.bench();
    let kind = kind_of(&bench, raised);
    let until_ms = useful_ms(&bench, raised, now_ms, now_ms);
    let held_ms = now_ms + i64::from(settings.alerts.group_minutes) * MINUTE_MS;
    // What has opened stays open: it may wait for others that open soon, to be one message with them.
    let waits = kind == "milestone" && held_ms > now_ms && bench.opens_between(now_ms, held_ms);
    for person in settings.people.iter().filter(|person| chosen(&person.name)) {
        let Some(channel) = person.channels(&kind).first() else { continue };
        let at_ms = if waits { held_ms } else { now_ms };
        let (channel, due_ms) = in_time(state, named(person, channel), &kind, at_ms, until_ms);
        // Whoever stands in for another may hear of it already.
        if !all.iter().any(|row| row.channel == channel) {
            all.push(new(channel, due_ms));
        }
    }
    all
}

/// The first rung from this one up that may be told while that is of use, and when: whoever is left alone until a window
/// has closed is passed over for whoever stands in. This rung where there is none.
pub(crate) fn in_time(state: &State, channel: String, kind: &str, at_ms: i64, until_ms: i64) -> (String, i64) {
    let awake =
        |rung: &str| person_of(&state.settings, rung).map_or(at_ms, |(person, _)| awake_ms(state, person, kind, at_ms));
    let mut rung = Some(channel.clone());
    while let Some(one) = rung {
        let due_ms = awake(&one);
        if due_ms <= until_ms {
            return (one, due_ms);
        }
        rung = next_rung(&state.settings, &one, kind);
    }
    let due_ms = awake(&channel);
    (channel, due_ms)
}

/// A channel of a person, as the outbox names it.
fn named(person: &Person, channel: &str) -> String {
    format!("{}:{channel}", person.name)
}

/// Whether a webhook is the channel of a person; then it gets what that person is told.
fn is_somebodys(settings: &Settings, hook: &str) -> bool {
    settings.people.iter().any(|person| person.tell.values().flatten().any(|channel| channel == hook))
}

/// Whose channel it is, and which; none for a webhook that belongs to nobody.
pub(crate) fn person_of<'a>(settings: &'a Settings, channel: &'a str) -> Option<(&'a Person, &'a str)> {
    let (name, way) = channel.split_once(':')?;
    settings.people.iter().find(|person| person.name == name).map(|person| (person, way))
}

/// Every channel there is, webhooks of nobody first.
pub(crate) fn channels(settings: &Settings) -> Vec<String> {
    let of_nobody = settings.webhooks.iter().filter(|hook| !is_somebodys(settings, &hook.name));
    let mut all: Vec<String> = of_nobody.map(|hook| hook.name.clone()).collect();
    for person in &settings.people {
        for channel in person.tell.values().flatten().map(|channel| named(person, channel)) {
            if !all.contains(&channel) {
                all.push(channel);
            }
        }
    }
    all
}

/// The next rung: the person's next channel for a kind, else the first of whoever stands in for them.
pub(crate) fn next_rung(settings: &Settings, channel: &str, kind: &str) -> Option<String> {
    let (person, way) = person_of(settings, channel)?;
    let own = person.channels(kind);
    // A channel that is not in the list any more hands over to the first.
    let at = own.iter().position(|other| other == way).map_or(0, |at| at + 1);
    if let Some(next) = own.get(at) {
        return Some(named(person, next));
    }
    let mut then = &person.then;
    while let Some(other) = settings.people.iter().find(|other| other.name == *then) {
        if let Some(first) = other.channels(kind).first() {
            return Some(named(other, first));
        }
        then = &other.then;
    }
    None
}

/// The rung an alert that insists goes to when nobody has acknowledged it. The last rung of a window that closes is
/// climbed again and again; anything else ends there.
pub(crate) fn insisting(settings: &Settings, channel: &str, kind: &str) -> Option<String> {
    person_of(settings, channel)?;
    if !settings.alerts.insist.iter().any(|insists| insists == kind) {
        return None;
    }
    next_rung(settings, channel, kind).or_else(|| (kind == CLOSING).then(|| channel.into()))
}

/// When a delivery is of no use any more, ms: a window when it has closed even in the slowest air, all else after a day.
pub(crate) fn until_ms(bench: &Bench, raised: &AlertRaised, row: &Delivery, now_ms: i64) -> i64 {
    if message::takes_back(row) { row.since_ms + USEFUL_MS } else { useful_ms(bench, raised, row.since_ms, now_ms) }
}

fn useful_ms(bench: &Bench, raised: &AlertRaised, since_ms: i64, now_ms: i64) -> i64 {
    let day_ms = since_ms + USEFUL_MS;
    let Some((cure, m)) = closing(bench, raised) else { return day_ms };
    let closed_ms = bench.milestones(cure, now_ms)[m].safe_ms;
    closed_ms.map_or(day_ms, |closed_ms| closed_ms.min(day_ms))
}

/// Why nobody is to be told now what was to be told, if that is so.
pub(crate) fn needless(
    state: &State,
    row: &Delivery,
    raised: &AlertRaised,
    until_ms: i64,
    now_ms: i64,
) -> Option<String> {
    let bench = state.bench();
    let of_person = person_of(&state.settings, &row.channel).is_some();
    match bench.alerts().get(&raised.id).map(|alert| alert.state) {
        Some(AlertState::Retracted) if !message::takes_back(row) => {
            Some("the alert was taken back before it was delivered".into())
        }
        Some(AlertState::Acknowledged) if of_person => Some("somebody has acknowledged it already".into()),
        Some(AlertState::Snoozed(_)) if of_person => Some("somebody has put it off; it is told again then".into()),
        Some(AlertState::Open) | None if message::takes_back(row) => Some("the alert stands again".into()),
        _ if of_person && now_ms > until_ms => {
            Some(format!("it was of no use any more after {}", state.rfc3339(until_ms)))
        }
        _ => None,
    }
}

/// The first instant from `at_ms` on at which a person may be told of a kind.
pub(crate) fn awake_ms(state: &State, person: &Person, kind: &str, at_ms: i64) -> i64 {
    match person.quiet_hours() {
        Some(quiet) if !person.wake_for.iter().any(|wakes| wakes == kind) => quiet_until(quiet, state.zone, at_ms),
        _ => at_ms,
    }
}

/// Whether it is quiet for a person just now.
pub(crate) fn is_quiet(state: &State, person: &Person, now_ms: i64) -> bool {
    person.quiet_hours().is_some_and(|quiet| quiet_until(quiet, state.zone, now_ms) > now_ms)
}

/// The end of the quiet hours an instant falls into, or that instant. Hours are those of the wall (`wall.rs`).
fn quiet_until((from, until): (NaiveTime, NaiveTime), zone: Tz, at_ms: i64) -> i64 {
    let local = instant(at_ms).with_timezone(&zone);
    let (day, time) = (local.date_naive(), local.time());
    let over_midnight = from > until;
    let is_quiet = if over_midnight { time >= from || time < until } else { time >= from && time < until };
    if !is_quiet {
        return at_ms;
    }
    let end_day = if over_midnight && time >= from { day.succ_opt().unwrap_or(day) } else { day };
    match wall::first_ms(zone, end_day.and_time(until)) {
        // Where that day is skipped, its end lies in the quiet hours of the next.
        end_ms if end_ms > at_ms => quiet_until((from, until), zone, end_ms),
        _ => at_ms,
    }
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;

    use super::*;

    fn until(quiet: &str, zone: &str, at: &str) -> String {
        let person = Person { quiet: quiet.into(), ..Person::default() };
        let zone: Tz = zone.parse().expect("a zone");
        let at_ms = DateTime::parse_from_rfc3339(at).expect("an instant").timestamp_millis();
        let end_ms = quiet_until(person.quiet_hours().expect("quiet hours"), zone, at_ms);
        instant(end_ms).with_timezone(&zone).to_rfc3339()
    }

    /// Changes of the clock as the IANA time zone database has them: Berlin 29 March and 25 October 2026, Lord Howe 5
    /// April 2026 by half an hour.
    #[test]
    fn quiet_hours_are_those_of_the_wall() {
        for (quiet, zone, at, end) in [
            ("22:00-07:00", "Europe/Berlin", "2026-03-02T21:59:59+01:00", "2026-03-02T21:59:59+01:00"),
            ("22:00-07:00", "Europe/Berlin", "2026-03-02T22:00:00+01:00", "2026-03-03T07:00:00+01:00"),
            ("22:00-07:00", "Europe/Berlin", "2026-03-28T23:00:00+01:00", "2026-03-29T07:00:00+02:00"),
            ("22:00-07:00", "Europe/Berlin", "2026-10-25T02:30:00+02:00", "2026-10-25T07:00:00+01:00"),
            // 02:30 is not there on the one day, and there twice on the other.
            ("22:00-02:30", "Europe/Berlin", "2026-03-29T01:59:00+01:00", "2026-03-29T03:00:00+02:00"),
            ("22:00-02:30", "Europe/Berlin", "2026-10-25T01:59:00+02:00", "2026-10-25T02:30:00+02:00"),
            ("12:00-13:00", "Europe/Berlin", "2026-03-02T12:30:00+01:00", "2026-03-02T13:00:00+01:00"),
            ("12:00-13:00", "Europe/Berlin", "2026-03-02T13:00:00+01:00", "2026-03-02T13:00:00+01:00"),
            ("22:00-02:30", "America/New_York", "2026-03-08T01:00:00-05:00", "2026-03-08T03:00:00-04:00"),
            ("22:00-01:30", "America/New_York", "2026-11-01T00:00:00-04:00", "2026-11-01T01:30:00-04:00"),
            // The second one o'clock of that night is after the end of the quiet hours, and not quiet again.
            ("22:00-01:30", "America/New_York", "2026-11-01T01:00:00-05:00", "2026-11-01T01:00:00-05:00"),
            // There was no 30 December 2011 in Apia: that night goes on into the morning of the 31st.
            ("22:00-07:00", "Pacific/Apia", "2011-12-29T23:00:00-10:00", "2011-12-31T07:00:00+14:00"),
            ("22:00-07:00", "Europe/Berlin", "2028-02-28T23:00:00+01:00", "2028-02-29T07:00:00+01:00"),
            ("23:00-06:00", "Australia/Lord_Howe", "2026-04-05T01:00:00+11:00", "2026-04-05T06:00:00+10:30"),
        ] {
            assert_eq!(until(quiet, zone, at), end, "{quiet} at {at}");
        }
    }
}
