//! Taking back: whoever was told of something that turns out not to be so hears that too, by the way it came to them.

use std::{collections::BTreeSet, sync::Arc};

use clock::{Alert, AlertState};
use facts::{AlertId, AlertRaised, Fact};
use store::{Answer, Delivery, DeliveryState, NewDelivery, Said};

use crate::{
    alerts::{message, tell, words},
    now::instant,
    problem::Problem,
    state::State,
    tidy::DELIVERIES_KEPT_MS,
};

/// Says a fact by which alerts are so no more, together with the deliveries that tell everybody who was told.
///
/// # Errors
/// When the store failed or the fact was refused; nothing was said then.
pub(crate) async fn say(
    state: &Arc<State>,
    fact: Fact,
    alerts: &[AlertId],
    because: &str,
    by: &str,
    answer: Option<Answer>,
) -> Result<Said, Problem> {
    // Nobody may be told between the look at who was and the commit.
    let _turn = state.taking_back.lock().await;
    let now_ms = state.now().ms();
    let mut deliveries = Vec::new();
    for alert in alerts {
        let Some(raised) = raised(state, alert) else { continue };
        for channel in told(state, alert).await? {
            deliveries.push(new(state, &raised, because, channel, now_ms));
        }
    }
    let said = state.say_once(state.saying(fact, now_ms, by, deliveries, answer)).await?;
    if let Err(problem) = look_again(state, alerts).await {
        tracing::error!(%problem, "whether another instance told it meanwhile could not be seen");
    }
    Ok(said)
}

/// The turn is this instance's own, and another may say or write down the other half meanwhile. So where there are others each
/// looks again after it has written: whichever wrote last sees both, and tells who would go on believing it.
///
/// # Errors
/// When the others are not heard, or the outbox cannot be read or written.
pub(crate) async fn look_again(state: &Arc<State>, alerts: &[AlertId]) -> Result<(), Problem> {
    if !state.others.may_be() {
        return Ok(());
    }
    state.follow().await?;
    let (mut missed, now_ms) = (Vec::new(), state.now().ms());
    for alert in alerts {
        if is_so(state, alert) {
            continue;
        }
        let Some(raised) = raised(state, alert) else { continue };
        let heard: BTreeSet<String> =
            of(state, alert).await?.into_iter().filter(message::takes_back).map(|row| row.channel).collect();
        let told = told(state, alert).await?;
        missed.extend(told.difference(&heard).map(|channel| new(state, &raised, MEANWHILE, channel.clone(), now_ms)));
    }
    if missed.is_empty() {
        return Ok(());
    }
    state.act(move |database| database.record_deliveries(&[], &missed)).await?;
    state.shared.deliveries.notify_one();
    Ok(())
}

/// An instance may be killed after it took an alert back, or told it, and before it looked again. So whoever has the duty looks
/// at each alert that it has heard to be taken back, once; when it takes the duty over, at all of them.
///
/// # Errors
/// When the others are not heard, or the outbox cannot be read or written; it is looked at again then.
pub(crate) async fn look_over(state: &Arc<State>, looked: &mut BTreeSet<AlertId>) -> Result<(), Problem> {
    if !state.others.may_be() {
        return Ok(());
    }
    // Of what was raised before nobody knows any more who was told.
    let since = instant(state.now().ms() - DELIVERIES_KEPT_MS);
    let back = |alert: &&Alert| alert.state == AlertState::Retracted && alert.raised.due_at >= since;
    let of_bench = |alert: &Alert| alert.raised.id.clone();
    let alerts: Vec<AlertId> = state.bench().alerts().values().filter(back).map(of_bench).collect();
    let alerts: Vec<AlertId> = alerts.into_iter().filter(|alert| !looked.contains(alert)).collect();
    if alerts.is_empty() {
        return Ok(());
    }
    let _turn = state.taking_back.lock().await;
    look_again(state, &alerts).await?;
    looked.extend(alerts);
    Ok(())
}

/// Takes one alert back.
///
/// # Errors
/// When the store failed.
pub(crate) async fn take_back(state: &Arc<State>, alert: AlertId, because: String) -> Result<(), Problem> {
    let fact = Fact::AlertRetracted { alert: alert.clone(), because: because.clone() };
    say(state, fact, &[alert], &because, "clock", None).await.map(drop)
}

/// Why, where nobody who says it was there.
const MEANWHILE: &str = "it was taken back while it was on its way";

fn is_so(state: &State, alert: &AlertId) -> bool {
    state.bench().alerts().get(alert).is_none_or(|alert| alert.state != AlertState::Retracted)
}

fn raised(state: &State, alert: &AlertId) -> Option<AlertRaised> {
    state.bench().alerts().get(alert).map(|alert| AlertRaised::clone(&alert.raised))
}

/// Channels that told an alert.
async fn told(state: &Arc<State>, alert: &AlertId) -> Result<BTreeSet<String>, Problem> {
    let all = of(state, alert).await?;
    let told = |row: &Delivery| row.state == DeliveryState::Delivered && !message::takes_back(row);
    Ok(all.into_iter().filter(told).map(|row| row.channel).collect())
}

async fn of(state: &Arc<State>, alert: &AlertId) -> Result<Vec<Delivery>, Problem> {
    let asked = alert.to_string();
    state.read(move |database| database.deliveries_of(&asked)).await
}

fn new(state: &State, raised: &AlertRaised, because: &str, channel: String, now_ms: i64) -> NewDelivery {
    let kind = tell::kind_of(&state.bench(), raised);
    let due_ms = tell::person_of(&state.settings, &channel)
        .map_or(now_ms, |(person, _)| tell::awake_ms(state, person, &kind, now_ms));
    let body = words::taken_back(state, raised, because, now_ms);
    NewDelivery { alert: raised.id.clone(), channel, body, since_ms: now_ms, due_ms }
}

/// What follows where an alert was taken back while its message was on its way.
///
/// # Errors
/// When the outbox cannot be read.
pub(crate) async fn meanwhile(state: &Arc<State>, row: &Delivery, now_ms: i64) -> Result<Option<NewDelivery>, Problem> {
    if is_so(state, &row.alert) || message::takes_back(row) {
        return Ok(None);
    }
    let has_it = |other: &Delivery| other.channel == row.channel && message::takes_back(other);
    if of(state, &row.alert).await?.iter().any(has_it) {
        return Ok(None);
    }
    Ok(raised(state, &row.alert).map(|raised| new(state, &raised, MEANWHILE, row.channel.clone(), now_ms)))
}

/// Id of the message by which the same channel told what a row takes back.
///
/// # Errors
/// When the outbox cannot be read.
pub(crate) async fn told_in(state: &Arc<State>, row: &Delivery) -> Result<Option<String>, Problem> {
    let same = |other: &Delivery| {
        other.channel == row.channel && other.state == DeliveryState::Delivered && !message::takes_back(other)
    };
    let Some(told) = of(state, &row.alert).await?.into_iter().rfind(same) else { return Ok(None) };
    let together = state.read(move |database| database.taken_at(&told.channel, told.due_ms)).await?;
    Ok((!together.is_empty()).then(|| message::id(&together)))
}
