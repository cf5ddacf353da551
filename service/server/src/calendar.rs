//! The calendar a phone subscribes to (RFC 5545, RFC 7986): every milestone of what cures, a window as an interval, the
//! working life of a mix, the stages of stringing up, the pieces of work on the plan. An event keeps its name for ever, so that a time that moves moves the event. A view, never the way alerts are told: many
//! calendars look once in some hours, and some drop alarms of what they subscribe to.

pub(crate) mod ics;
mod pot;
mod strings;

use std::{
    collections::HashMap,
    sync::{Arc, Mutex, PoisonError},
};

use clock::{Bench, Cure, Milestone};
use facts::Meets;

use self::ics::Ics;
use crate::{
    alerts::words::{self, ESTIMATE},
    plan::Standing,
    problem::Problem,
    settings::Person,
    state::State,
};

const MINUTE_MS: i64 = 60_000;
/// How long a moment is shown, so that it can be seen and touched.
const MOMENT_MS: i64 = 15 * MINUTE_MS;
/// How long what is over stays.
const KEPT_MS: i64 = 14 * 24 * 60 * MINUTE_MS;

/// Something in the calendar.
struct Event {
    /// For ever the same.
    uid: String,
    from_ms: i64,
    until_ms: i64,
    /// Whether it is a window that closes.
    window: bool,
    summary: String,
    description: String,
    /// Whether the phone rings at its start.
    rings: bool,
    /// When its glue-up, coat or job was registered, ms.
    created_ms: i64,
    /// Kinds of alert it stands for: whoever is told of one of them has it in their calendar; none is for all.
    kinds: &'static [&'static str],
}

impl Event {
    fn is_for(&self, person: &Person) -> bool {
        self.kinds.is_empty() || self.kinds.iter().any(|kind| !person.channels(kind).is_empty())
    }
}

/// What each event looked like when it was last shown, and since when, ms. Lost with the process: then every event counts
/// as changed at start, which a calendar does not mind, and numbers still only grow.
#[derive(Default)]
pub(crate) struct Shown(Mutex<HashMap<String, (i64, i64, String, i64)>>);

impl Shown {
    fn since_ms(&self, event: &Event, now_ms: i64) -> i64 {
        let mut shown = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        let now = (event.from_ms, event.until_ms, &event.summary);
        match shown.get(&event.uid) {
            Some((from_ms, until_ms, summary, since_ms)) if (*from_ms, *until_ms, summary) == now => *since_ms,
            _ => {
                let kept = (event.from_ms, event.until_ms, event.summary.clone(), now_ms);
                shown.insert(event.uid.clone(), kept);
                now_ms
            }
        }
    }
}

/// The calendar as text: the shop's has everything, a person's what that person is told of, and the plan.
///
/// # Errors
/// When an instrument's plates could not be run.
pub(crate) async fn feed(state: &Arc<State>, person: Option<&Person>) -> Result<String, Problem> {
    let now_ms = state.now().ms();
    let mut events = strings::events(state).await?;
    {
        let bench = state.bench();
        let of_cure = |cure: &Cure| of_cure(state, &bench, cure, now_ms);
        events.extend(bench.cures().iter().rev().flat_map(of_cure));
        events.extend(bench.mixes().values().filter_map(|mix| pot::event(state, &bench, mix, now_ms)));
        events.extend(state.standing().iter().flat_map(|standing| planned(state, &bench, standing)));
    }
    events.retain(|event| person.is_none_or(|person| event.is_for(person)));
    let mut ics = Ics::new();
    ics.within("VCALENDAR", |ics| {
        ics.put("VERSION", "2.0");
        ics.put("PRODID", "-//benchclock//repair shop//EN");
        ics.put("CALSCALE", "GREGORIAN");
        for name in ["NAME", "X-WR-CALNAME"] {
            ics.say(name, &state.settings.shop.name);
        }
        ics.put("REFRESH-INTERVAL;VALUE=DURATION", "PT15M");
        ics.put("X-PUBLISHED-TTL", "PT15M");
        for event in &events {
            let since_ms = state.shown.since_ms(event, now_ms);
            ics.within("VEVENT", |ics| write(ics, event, since_ms));
        }
    });
    Ok(ics.text())
}

fn write(ics: &mut Ics, event: &Event, since_ms: i64) {
    ics.say("UID", &event.uid);
    ics.at("DTSTAMP", since_ms);
    ics.at("LAST-MODIFIED", since_ms);
    // Grows with every change, over restarts too: the minutes from the beginning to the last of them.
    ics.put("SEQUENCE", &((since_ms - event.created_ms).max(0) / MINUTE_MS).to_string());
    ics.at("DTSTART", event.from_ms);
    ics.at("DTEND", event.until_ms);
    ics.say("SUMMARY", &event.summary);
    ics.say("DESCRIPTION", &event.description);
    ics.put("TRANSP", "TRANSPARENT");
    let mut alarm = |trigger: &str, value: &str| {
        ics.within("VALARM", |ics| {
            ics.put("ACTION", "DISPLAY");
            ics.say("DESCRIPTION", &event.summary);
            ics.put(trigger, value);
        });
    };
    if event.rings {
        alarm("TRIGGER;RELATED=START", "PT0S");
    }
    if event.window {
        let half_min = (event.until_ms - event.from_ms) / 2 / MINUTE_MS;
        alarm("TRIGGER;RELATED=END", &format!("-PT{}M", half_min.clamp(1, 30)));
    }
}

/// What a cure puts into the calendar: open ones with what is ahead, closed ones for a fortnight more.
fn of_cure(state: &State, bench: &Bench, cure: &Cure, now_ms: i64) -> Vec<Event> {
    let last_told_ms = (0..cure.begun.milestones.len()).filter_map(|m| cure.told(m)).map(|(_, ms)| ms).max();
    let over = !cure.is_open() && last_told_ms.is_none_or(|ms| ms < now_ms - KEPT_MS);
    if over || cure.withdrawn.is_some() {
        return vec![];
    }
    let milestones = bench.milestones(cure, now_ms);
    let event = |m: usize| event(state, bench, cure, &milestones, m);
    (0..milestones.len()).filter_map(event).collect()
}

fn event(state: &State, bench: &Bench, cure: &Cure, all: &[Milestone<'_>], m: usize) -> Option<Event> {
    let stage = all[m].target.stage.as_str();
    let closes_ms = |closes: &Milestone<'_>| closes.earliest_ms.map(floor);
    let twin = |from: &str, to: &str| {
        let twin = format!("{}{to}", stage.strip_suffix(from)?);
        all.iter().find(|other| other.target.stage == twin)
    };
    let place = words::place(bench, cure);
    let (from_ms, until_ms, window, summary) = match all[m].target.meets {
        Meets::Opens => {
            let from_ms = ceil(told_or(cure, m, all[m].safe_ms)?);
            // A window that may close before it has surely opened is no interval; its opening is still shown.
            match twin("_opens", "_closes").and_then(closes_ms).filter(|until_ms| *until_ms > from_ms) {
                Some(until_ms) => {
                    let what = words::spoken(stage.trim_end_matches("_opens"));
                    (from_ms, until_ms, true, format!("Window, {what}: {place}"))
                }
                None => (from_ms, from_ms + MOMENT_MS, false, words::of_milestone(state, bench, cure, m).title),
            }
        }
        Meets::Closes if twin("_closes", "_opens").is_some() => return None,
        Meets::Closes => {
            let from_ms = cure.begun.started_at.timestamp_millis();
            let until_ms = closes_ms(&all[m]).filter(|until_ms| *until_ms > from_ms)?;
            (from_ms, until_ms, true, format!("Window, {}: {place}", words::spoken(stage.trim_end_matches("_closes"))))
        }
    };
    let next = all[m].target.next.trim();
    Some(Event {
        uid: uid(state, &format!("{}.{stage}", cure.begun.id)),
        from_ms,
        until_ms,
        window,
        summary,
        description: if next.is_empty() { ESTIMATE.into() } else { format!("{next}\n{ESTIMATE}") },
        rings: true,
        created_ms: cure.recorded_ms,
        kinds: match all[m].target.meets {
            Meets::Closes => &["closing"],
            Meets::Opens if window => &["milestone", "closing"],
            Meets::Opens => &["milestone"],
        },
    })
}

/// The pieces of work on the plan. They are silent: what is ready rings by itself.
fn planned(state: &State, bench: &Bench, standing: &Standing) -> Vec<Event> {
    let event = |i: usize| {
        let (piece, line) = (&standing.draft.pieces[i], standing.job_of(i));
        let (from_ms, until_ms) = standing.times_ms(i);
        let job = line.id.as_ref().and_then(|id| bench.jobs().get(id)).map(|job| job.opened_ms);
        let cure = || piece.cure.as_ref().and_then(|id| bench.cure(id.as_str())).map(|cure| cure.recorded_ms);
        let why = state.reasons(standing, i, standing.made_ms).into_iter().map(|reason| reason.says);
        Some(Event {
            uid: uid(state, &format!("{}.planned", piece.key.replace(['/', ':'], "."))),
            from_ms,
            until_ms: until_ms.max(from_ms + MOMENT_MS),
            window: false,
            rings: false,
            summary: format!("Planned: {} ({})", piece.title, line.title),
            description: why.chain([ESTIMATE.to_string()]).collect::<Vec<_>>().join("\n"),
            created_ms: job.or_else(cure)?,
            kinds: &[],
        })
    };
    standing.work().filter_map(event).collect()
}

/// A name that is the shop's own.
fn uid(state: &State, name: &str) -> String {
    format!("{name}@{}.benchclock", state.settings.shop.id)
}

/// What was told stays where it was told.
fn told_or(cure: &Cure, m: usize, expected_ms: Option<i64>) -> Option<i64> {
    cure.told(m).map(|(_, told_ms)| told_ms).or(expected_ms)
}

/// Whole minutes: never before it is so, and no move for a reading that changes seconds.
fn ceil(at_ms: i64) -> i64 {
    floor(at_ms + MINUTE_MS - 1)
}

/// Whole minutes: never after it has closed.
fn floor(at_ms: i64) -> i64 {
    at_ms.div_euclid(MINUTE_MS) * MINUTE_MS
}
