//! One round of one channel: what is due for it goes as messages, again and again until it is taken or of no use. A
//! channel that fails hands over to the next; what is due at once for one person goes as one message.
//!
//! The network is never waited for inside a transaction.

use std::{collections::BTreeMap, sync::Arc};

use futures_util::future::join_all;
use store::{Delivery, DeliveryState, NewDelivery};

use crate::{
    alerts::{
        channel::{self, Failure},
        message::{self, Message},
        reach::Outward,
        taken_back, tell,
    },
    problem::Problem,
    settings::CLOSING,
    state::State,
};

/// Waits between attempts, seconds; the last is kept. The schedule begins at once.
const WAITS_S: [i64; 6] = [5, 30, 120, 600, 1800, 3600];
/// A channel that failed so often hands over to the next, if there is one: after half a minute. One that asks to be left
/// alone for longer hands over at once.
const PATIENT_ATTEMPTS: u32 = 3;
const PATIENCE_S: i64 = 30;

/// Tries deliveries that are due, all of one channel.
///
/// # Errors
/// When the outbox cannot be read or written; what was tried is tried again then.
pub(crate) async fn hand_over(state: &Arc<State>, client: &Outward, due: Vec<Delivery>) -> Result<(), Problem> {
    let bundles = bundles(state, due, state.now().ms()).await?;
    let tried = join_all(bundles.into_iter().map(|bundle| tried(state, client, bundle))).await;
    tried.into_iter().collect()
}

/// Tries one message, and writes down how it went.
async fn tried(state: &Arc<State>, client: &Outward, bundle: Bundle) -> Result<(), Problem> {
    let outcome = match &bundle.message {
        Ok(message) => channel::send(state, client, &bundle.rows[0].channel, message).await,
        Err(needless) => Err(Failure::forever(needless)),
    };
    // Whoever takes an alert back must not miss that it has just been told.
    let _turn = state.taking_back.lock().await;
    let (gone, next) = after(state, bundle, &outcome).await?;
    let told: Vec<_> = gone.iter().map(|row| row.alert.clone()).collect();
    state.act(move |database| database.record_deliveries(&gone, &next)).await?;
    taken_back::look_again(state, &told).await
}

/// Rows of one channel that go together: as one message, or not at all and why.
struct Bundle {
    rows: Vec<Delivery>,
    message: Result<Message, String>,
}

/// Sorts what is due into messages. A person's channel gets at once what is new to it; what failed together is tried again
/// together, so that the same id is the same message.
async fn bundles(state: &Arc<State>, due: Vec<Delivery>, now_ms: i64) -> Result<Vec<Bundle>, Problem> {
    let mut together: BTreeMap<(String, u32, i64), Vec<Delivery>> = BTreeMap::new();
    for row in due {
        let apart = match tell::person_of(&state.settings, &row.channel) {
            None => row.id,
            // What is taken back stands alone, so that it takes the place of what was told.
            Some(_) if message::takes_back(&row) => row.id,
            Some(_) if row.attempts == 0 => 0,
            Some(_) => row.due_ms,
        };
        together.entry((row.channel.clone(), row.attempts, apart)).or_default().push(row);
    }
    let mut bundles = Vec::new();
    for ((channel, attempts, apart), mut rows) in together {
        let awake =
            tell::person_of(&state.settings, &channel).is_some_and(|(who, _)| !tell::is_quiet(state, who, now_ms));
        if attempts == 0 && apart == 0 && awake {
            // What waits for company has it now.
            rows = state.read(move |database| database.fresh_deliveries(&channel, now_ms)).await?;
            rows.retain(|row| !message::takes_back(row));
        }
        let (wanted, needless) = sort(state, rows, now_ms);
        bundles.extend(needless);
        if let Some((closing, until_ms)) = wanted
            .iter()
            .map(|(_, closing, until_ms)| (*closing, *until_ms))
            .reduce(|(closing, until_ms), (other, other_ms)| (closing || other, until_ms.max(other_ms)))
        {
            let rows: Vec<Delivery> = wanted.into_iter().map(|(row, ..)| row).collect();
            let mut message = Message::of(&rows, closing, now_ms, until_ms);
            if message.takes_back {
                message.answers = taken_back::told_in(state, &rows[0]).await?;
            }
            bundles.push(Bundle { rows, message: Ok(message) });
        }
    }
    Ok(bundles)
}

type Wanted = (Delivery, bool, i64);

/// What is still to be told, with whether it closes and until when it is of use; and what nobody needs any more.
fn sort(state: &State, rows: Vec<Delivery>, now_ms: i64) -> (Vec<Wanted>, Vec<Bundle>) {
    let (mut wanted, mut needless) = (Vec::new(), Vec::new());
    for row in rows {
        let Some(raised) = message::raised(&row) else {
            wanted.push((row, false, now_ms));
            continue;
        };
        let (closing, until_ms) = {
            let bench = state.bench();
            let closing = tell::kind_of(&bench, &raised) == CLOSING;
            (closing, tell::until_ms(&bench, &raised, &row, now_ms))
        };
        match tell::needless(state, &row, &raised, until_ms, now_ms) {
            Some(why) => needless.push(Bundle { rows: vec![row], message: Err(why) }),
            None => wanted.push((row, closing, until_ms)),
        }
    }
    (wanted, needless)
}

/// How a bundle stands after it was tried, and what is to be delivered because of that.
async fn after(
    state: &Arc<State>,
    bundle: Bundle,
    outcome: &Result<(), Failure>,
) -> Result<(Vec<Delivery>, Vec<NewDelivery>), Problem> {
    let now_ms = state.now().ms();
    let word = if outcome.is_ok() { "delivered" } else { "failed" };
    state.shared.meters.note(|| {
        metrics::counter!("benchclock_deliveries_total", "outcome" => word).increment(bundle.rows.len() as u64);
    });
    let needless = bundle.message.is_err();
    let (mut gone, mut next) = (Vec::new(), Vec::new());
    for mut row in bundle.rows {
        let raised = message::raised(&row);
        let kind = raised.as_ref().map(|raised| tell::kind_of(&state.bench(), raised)).unwrap_or_default();
        let until_ms = raised.map_or(now_ms, |raised| tell::until_ms(&state.bench(), &raised, &row, now_ms));
        let rung = match outcome {
            Ok(()) => {
                row.attempts += 1;
                finish(&mut row, DeliveryState::Delivered, None, now_ms);
                next.extend(taken_back::meanwhile(state, &row, now_ms).await?);
                let again_ms = now_ms + i64::from(state.settings.alerts.again_minutes) * 60_000;
                let insists = tell::insisting(&state.settings, &row.channel, &kind);
                insists.filter(|_| !message::takes_back(&row)).map(|channel| (channel, again_ms))
            }
            Err(failure) if needless => {
                finish(&mut row, DeliveryState::GivenUp, Some(failure.what.clone()), now_ms);
                None
            }
            Err(failure) => {
                tracing::warn!(alert = %row.alert, channel = row.channel, why = failure.what, "not delivered");
                row.attempts += 1;
                let next = tell::next_rung(&state.settings, &row.channel, &kind);
                failed(state, &mut row, failure, &kind, next, until_ms, now_ms)
            }
        };
        let rung = rung.map(|(channel, at_ms)| (at_ms, tell::in_time(state, channel, &kind, at_ms, until_ms)));
        if let Some((at_ms, (channel, due_ms))) = rung
            && !waits_already(state, &row, &channel).await?
        {
            let (alert, body) = (row.alert.clone(), row.body.clone());
            next.push(NewDelivery { alert, channel, body, since_ms: at_ms, due_ms });
        }
        gone.push(row);
    }
    Ok((gone, next))
}

fn finish(row: &mut Delivery, state: DeliveryState, error: Option<String>, now_ms: i64) {
    (row.state, row.error, row.due_ms) = (state, error, now_ms);
}

/// A failed attempt: waits for the next, or ends and hands over to another channel.
fn failed(
    state: &State,
    row: &mut Delivery,
    failure: &Failure,
    kind: &str,
    next: Option<String>,
    until_ms: i64,
    now_ms: i64,
) -> Option<(String, i64)> {
    let asked_s = failure.wait_s.unwrap_or(0);
    let wait_s = WAITS_S[(row.attempts as usize - 1).min(WAITS_S.len() - 1)].max(asked_s);
    let again_ms = now_ms + wait_s * 1000;
    let again_ms = tell::person_of(&state.settings, &row.channel)
        .map_or(again_ms, |(person, _)| tell::awake_ms(state, person, kind, again_ms));
    let hands_over = next.is_some() && (row.attempts >= PATIENT_ATTEMPTS || asked_s > PATIENCE_S);
    // The schedule may pass the end of its use; whatever is left of it is not waited for.
    if !failure.forever && !hands_over && now_ms <= until_ms {
        (row.due_ms, row.error) = (again_ms, Some(failure.what.clone()));
        return None;
    }
    let error = match &next {
        Some(next) => format!("{}; {next} takes over", failure.what),
        None => failure.what.clone(),
    };
    finish(row, DeliveryState::GivenUp, Some(error), now_ms);
    next.map(|channel| (channel, now_ms))
}

/// Whether the same alert waits for that channel anyway.
async fn waits_already(state: &Arc<State>, row: &Delivery, channel: &str) -> Result<bool, Problem> {
    let alert = row.alert.to_string();
    let all = state.read(move |database| database.deliveries_of(&alert)).await?;
    let same = |other: &Delivery| message::takes_back(other) == message::takes_back(row);
    let waits = |other: &Delivery| other.id != row.id && other.state == DeliveryState::Waiting && same(other);
    Ok(all.iter().any(|other| other.channel == channel && waits(other)))
}
