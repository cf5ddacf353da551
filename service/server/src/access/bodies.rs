//! What a body may be, whoever sends it: not compressed, for a small one could unpack to fill the memory before any limit
//! counts; and it must keep coming, for one that stands still holds a connection and its place.

use std::{
    cell::RefCell,
    error::Error,
    future::poll_fn,
    io,
    pin::Pin,
    rc::Rc,
    task::{Context, Poll},
    time::Duration,
};

use actix_web::{
    body::{BodySize, BoxBody, MessageBody},
    dev::{Payload, ServiceRequest},
    error::PayloadError,
    http::header::CONTENT_ENCODING,
    web::Bytes,
};
use futures_util::{StreamExt, stream};
use tokio::time::{Instant, timeout_at};

use crate::problem::{Kind, Problem};

/// Longest a body may stand still.
const IDLE: Duration = Duration::from_secs(15);
/// Longest a body may take before it is looked at how much has come.
const GRACE: Duration = Duration::from_secs(30);
/// After that it must have come at this pace in the mean, bytes a second: slower than any link anybody works by.
const LEAST_PER_S: u64 = 1024;

/// Refuses what is compressed.
pub(super) fn plain(request: &ServiceRequest) -> Result<(), Problem> {
    match request.headers().get(CONTENT_ENCODING) {
        None => Ok(()),
        Some(coding) if coding.as_bytes().eq_ignore_ascii_case(b"identity") => Ok(()),
        Some(_) => Err(Problem::new(
            Kind::Media,
            "the body is compressed",
            "send it as it is, without the header Content-Encoding",
        )),
    }
}

/// Lets a body break off that stands still, or trickles. What is given beside it is to be kept until the answer is sent:
/// as long as a body that did not end is kept, the connection is closed after the answer and what else comes is not read.
pub(super) fn in_time(body: Payload) -> (Payload, Option<Kept>) {
    if matches!(body, Payload::None) {
        return (body, None);
    }
    let kept = Rc::new(RefCell::new(body));
    let begun = Instant::now();
    let watched = stream::unfold((kept.clone(), 0u64), move |(body, came)| async move {
        let by = (Instant::now() + IDLE).min(begun + GRACE + Duration::from_secs(came / LEAST_PER_S));
        let next = poll_fn(|cx| body.borrow_mut().poll_next_unpin(cx));
        let next: Result<Bytes, PayloadError> = match timeout_at(by, next).await {
            Ok(next) => next?,
            Err(_) => Err(PayloadError::Io(io::Error::new(io::ErrorKind::TimedOut, "it came too slowly"))),
        };
        let came = came + next.as_ref().map_or(0, Bytes::len) as u64;
        Some((next, (body, came)))
    });
    (Payload::Stream { payload: Box::pin(watched.fuse()) }, Some(kept))
}

/// The body of a request, whether or not anybody reads it.
pub(super) type Kept = Rc<RefCell<Payload>>;

/// The body of an answer, and that of its request.
pub(super) struct Answering {
    answer: BoxBody,
    _asked: Kept,
}

impl Answering {
    /// Keeps the one as long as the other.
    pub(super) fn keeping(answer: BoxBody, asked: Kept) -> BoxBody {
        BoxBody::new(Self { answer, _asked: asked })
    }
}

impl MessageBody for Answering {
    type Error = Box<dyn Error>;

    fn size(&self) -> BodySize {
        self.answer.size()
    }

    fn poll_next(mut self: Pin<&mut Self>, cx: &mut Context<'_>) -> Poll<Option<Result<Bytes, Self::Error>>> {
        Pin::new(&mut self.answer).poll_next(cx)
    }
}
