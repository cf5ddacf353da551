//! Server-sent events: every fact and reading as it is taken in, that the bench was planned anew, and every quarter of a minute
//! that the service is there. The id of an event is its place in the journal, so a listener that comes back with
//! `Last-Event-ID` is told what it missed, from the journal.

use std::{
    sync::{Arc, atomic::Ordering},
    time::Duration,
};

use actix_web::{HttpRequest, HttpResponse, http::header, web};
use tokio::{
    sync::{
        broadcast::{Receiver, error::RecvError},
        mpsc,
    },
    time::{Instant, interval_at, sleep_until},
};
use tokio_stream::{StreamExt, wrappers::ReceiverStream};
use tracing::Instrument;

use super::{Answer, Shop};
use crate::{
    access::{self, Role, Who},
    news::{News, What, event_of},
    openapi::Api,
    problem::{Kind, Problem},
    state::State,
};

/// The service says this often that it is there: proxies close a silent stream, and a page that hears nothing knows that
/// something is wrong. An event and not a comment, which no script is told of.
const HEARTBEAT: Duration = Duration::from_secs(15);
/// A listener is written to at most this often, unless there is an alert: on a bench where much happens a packet for each
/// thing and each listener is most of the work there is.
const GATHERED: Duration = Duration::from_millis(100);
/// Bytes after which a piece is not added to.
const PIECE_BYTES: usize = 8 * 1024;
/// Pieces that may wait for a listener that is slow to read; it falls behind after that and reads the journal. One who
/// takes none at all is closed by the system (`run.rs`).
const WAITING: usize = 2;
/// Missed facts told at most to who may not have the whole journal: a page that missed more is fetched anew anyway.
const MISSED: i64 = 1000;
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
    let (send, receive) = mpsc::channel::<web::Bytes>(WAITING);
    // Ends with the listener, or with the service: `tell` returns when its channel closes or the token is cancelled.
    actix_web::rt::spawn(Listener::new(shop.get_ref().clone(), access::current(), send, last).tell().in_current_span());
    let stream = ReceiverStream::new(receive).map(Ok::<_, actix_web::Error>);
    Ok(HttpResponse::Ok()
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .insert_header(("x-accel-buffering", "no"))
        .content_type("text/event-stream")
        .streaming(stream))
}

/// The listener is gone, or the service stops.
struct Gone;

/// Who listens, and how much it was told.
struct Listener {
    state: Arc<State>,
    /// By which token it came in, if it needed one.
    who: Option<Arc<Who>>,
    news: Receiver<News>,
    send: mpsc::Sender<web::Bytes>,
    /// Place in the journal of the last fact told.
    told: i64,
    /// Whether it missed something before it came.
    behind: bool,
}

impl Listener {
    fn new(state: Arc<State>, who: Option<Arc<Who>>, send: mpsc::Sender<web::Bytes>, last: Option<i64>) -> Self {
        let news = state.shared.news.subscribe();
        // A place past the end is one of another journal: what was missed of that is not here.
        let end = state.shared.last_seq.load(Ordering::SeqCst);
        let last = last.filter(|last| *last < end);
        let all = who.as_ref().is_none_or(|who| who.role == Role::Owner);
        let last = last.map(|last| if all { last } else { last.max(end - MISSED) });
        Self { state, who, news, send, told: last.unwrap_or(end), behind: last.is_some() }
    }

    async fn tell(mut self) {
        // That nobody is there any more is how every stream ends.
        let _: Result<(), Gone> = self.tell_on().await;
    }

    async fn tell_on(&mut self) -> Result<(), Gone> {
        self.send("retry: 2000\n\n".into()).await?;
        if self.behind {
            self.catch_up().await?;
        }
        let mut free_at = Instant::now();
        let mut heartbeat = interval_at(Instant::now() + HEARTBEAT, HEARTBEAT);
        loop {
            let heard = tokio::select! {
                () = self.state.stop.cancelled() => return Err(Gone),
                () = self.send.closed() => return Err(Gone),
                _ = heartbeat.tick() => None,
                heard = self.news.recv() => Some(heard),
            };
            match heard {
                None => self.beat().await?,
                Some(heard) => {
                    self.gather(heard, free_at).await?;
                    free_at = Instant::now() + GATHERED;
                }
            }
        }
    }

    /// Shows that the stream is alive; a token that was taken away hears no more.
    async fn beat(&self) -> Result<(), Gone> {
        match &self.who {
            Some(who) if !self.state.access.stands(&self.state, who).await => Err(Gone),
            _ => self.send("event: here\ndata: {}\n\n".into()).await,
        }
    }

    /// Tells what was heard in one piece with what else is heard until `free_at`; an alert waits for nothing.
    async fn gather(&mut self, first: Result<News, RecvError>, free_at: Instant) -> Result<(), Gone> {
        let (mut heard, mut piece) = (first, web::BytesMut::new());
        loop {
            let urgent = match heard {
                Ok(news) => {
                    self.add(&news, &mut piece);
                    news.is_urgent()
                }
                Err(RecvError::Lagged(_)) => {
                    self.send(piece.split().freeze()).await?;
                    self.catch_up().await?;
                    true
                }
                Err(RecvError::Closed) => return Err(Gone),
            };
            if urgent || piece.len() >= PIECE_BYTES {
                break;
            }
            heard = tokio::select! {
                () = self.state.stop.cancelled() => return Err(Gone),
                heard = self.news.recv() => heard,
                () = sleep_until(free_at) => break,
            };
        }
        self.send(piece.freeze()).await
    }

    fn add(&mut self, news: &News, piece: &mut web::BytesMut) {
        if let What::Fact(fact) = news.what() {
            // What the journal already told is not told again.
            if fact.seq <= self.told {
                return;
            }
            self.told = fact.seq;
        }
        piece.extend_from_slice(&news.event());
    }

    async fn send(&self, piece: web::Bytes) -> Result<(), Gone> {
        match piece.is_empty() {
            true => Ok(()),
            false => self.send.send(piece).await.map_err(|_| Gone),
        }
    }

    /// Tells what the journal holds after the last place told.
    async fn catch_up(&mut self) -> Result<(), Gone> {
        loop {
            let from = self.told;
            let page = self.state.read(move |database| database.facts_after(from, PAGE)).await.map_err(|_| Gone)?;
            let Some(end) = page.last().map(|fact| fact.seq) else { return Ok(()) };
            for fact in &page {
                self.send(event_of(fact)).await?;
            }
            self.told = end;
        }
    }
}
