//! Server-sent events: every fact and reading as it is taken in. The id of an event is its place in the journal, so a
//! listener that comes back with `Last-Event-ID` is told what it missed, from the journal.

use std::{
    sync::{Arc, atomic::Ordering},
    time::Duration,
};

use actix_web::{HttpRequest, HttpResponse, http::header, web};
use facts::{Fact, Recorded};
use tokio::sync::{broadcast::error::RecvError, mpsc};
use tokio_stream::{StreamExt, wrappers::ReceiverStream};

use super::{Answer, Shop};
use crate::{
    access::{self, Who},
    openapi::Api,
    problem::{Kind, Problem},
    state::{News, State},
};

/// A line of comment this often keeps proxies from closing a silent stream.
const HEARTBEAT: Duration = Duration::from_secs(15);
/// Missed facts read from the journal at once.
const PAGE: usize = 256;

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/events").route(web::get().to(events)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/events", "What happens, as it happens (server-sent events)").gives_media("text/event-stream");
}

async fn events(shop: Shop, request: HttpRequest) -> Answer {
    let last = match request.headers().get("last-event-id").map(|sent| sent.to_str().unwrap_or_default().parse::<i64>())
    {
        None => None,
        Some(Ok(seq)) => Some(seq),
        Some(Err(_)) => {
            let mend = "send back the id of the last event as it came, or leave the header out";
            return Err(Problem::new(Kind::Malformed, "Last-Event-ID is no number", mend).about("Last-Event-ID"));
        }
    };
    let (send, receive) = mpsc::channel::<web::Bytes>(64);
    // Ends with the listener, or with the service: `tell` returns when its channel closes or the token is cancelled.
    actix_web::rt::spawn(tell(shop.get_ref().clone(), access::current(), send, last));
    let stream = ReceiverStream::new(receive).map(Ok::<_, actix_web::Error>);
    Ok(HttpResponse::Ok()
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .insert_header(("x-accel-buffering", "no"))
        .content_type("text/event-stream")
        .streaming(stream))
}

async fn tell(state: Arc<State>, who: Option<Arc<Who>>, send: mpsc::Sender<web::Bytes>, last: Option<i64>) {
    let mut news = state.shared.news.subscribe();
    // A place past the end is one of another journal: what was missed of that is not here.
    let end = state.shared.last_seq.load(Ordering::SeqCst);
    let last = last.filter(|last| *last < end);
    let mut told = last.unwrap_or(end);
    if send.send("retry: 2000\n\n".into()).await.is_err() {
        return;
    }
    if last.is_some() && catch_up(&state, &send, &mut told).await.is_err() {
        return;
    }
    let mut heartbeat = tokio::time::interval_at(tokio::time::Instant::now() + HEARTBEAT, HEARTBEAT);
    loop {
        let event = tokio::select! {
            () = state.stop.cancelled() => return,
            () = send.closed() => return,
            _ = heartbeat.tick() => {
                // A token that was taken away hears no more.
                if let Some(who) = &who && !state.access.stands(&state, who).await {
                    return;
                }
                Some(web::Bytes::from(": still here\n\n"))
            }
            heard = news.recv() => match heard {
                // What the journal already told is not told again.
                Ok(News::Fact(fact)) if fact.seq <= told => None,
                Ok(News::Fact(fact)) => {
                    told = fact.seq;
                    event_of(&fact)
                }
                Ok(News::Reading(reading)) => {
                    let data = serde_json::to_string(&reading).unwrap_or_default();
                    Some(format!("event: reading\ndata: {data}\n\n").into())
                }
                Err(RecvError::Lagged(_)) => {
                    if catch_up(&state, &send, &mut told).await.is_err() {
                        return;
                    }
                    None
                }
                Err(RecvError::Closed) => return,
            },
        };
        if let Some(event) = event
            && send.send(event).await.is_err()
        {
            return;
        }
    }
}

/// Tells what the journal holds after the last place told.
async fn catch_up(state: &Arc<State>, send: &mpsc::Sender<web::Bytes>, told: &mut i64) -> Result<(), ()> {
    loop {
        let from = *told;
        let page = state.read(move |database| database.facts_after(from, PAGE)).await.map_err(drop)?;
        let Some(end) = page.last().map(|fact| fact.seq) else { return Ok(()) };
        for event in page.iter().filter_map(event_of) {
            send.send(event).await.map_err(drop)?;
        }
        *told = end;
    }
}

/// A fact as an event; the text of a rule stays in the journal.
fn event_of(recorded: &Recorded) -> Option<web::Bytes> {
    let mut fact = serde_json::to_value(recorded).ok()?;
    if let Fact::RulePutInForce(_) = recorded.fact {
        fact["fact"].as_object_mut()?.remove("text");
    }
    let name = match recorded.fact {
        Fact::AlertRaised(_) | Fact::AlertRepeated { .. } => "alert",
        _ => "fact",
    };
    Some(format!("id: {}\nevent: {name}\ndata: {fact}\n\n", recorded.seq).into())
}
