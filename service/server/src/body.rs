//! Reading a request's body: JSON of a known shape, its idempotency key, and a problem document when it is neither.

use std::{future::Future, pin::Pin, sync::Arc};

use actix_web::{FromRequest, HttpRequest, dev::Payload, http::header, web};
use serde::de::{DeserializeOwned, Error as _, IgnoredAny};
use sha2::{Digest, Sha256};
use store::Answer;

use crate::{
    problem::{Kind, Problem},
    state::State,
};

/// A JSON body of shape `T`, and what is needed to answer the same request the same way again.
pub(crate) struct Body<T> {
    pub(crate) value: T,
    /// The key it carried, and the hash of the request it belongs to.
    once: Option<(String, String)>,
}

impl<T> Body<T> {
    /// The value apart, with what is left to answer the request.
    pub(crate) fn split(self) -> (T, Body<()>) {
        (self.value, Body { value: (), once: self.once })
    }

    /// The answer to keep: the id of what was made. A repeated request is answered with that thing as it stands.
    pub(crate) fn answer(&self, id: &str) -> Option<Answer> {
        let (key, fingerprint) = self.once.clone()?;
        Some(Answer { key, fingerprint, status: 201, body: id.into() })
    }
}

/// A command without arguments.
#[derive(serde::Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Nothing {}

type Reading<T> = Pin<Box<dyn Future<Output = Result<T, Problem>>>>;

impl<T: DeserializeOwned + 'static> FromRequest for Body<T> {
    type Error = Problem;
    type Future = Reading<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let read = read(request, payload, "application/json");
        Box::pin(async move {
            let (text, once) = read.await?;
            Ok(Self { value: parse(&text)?, once })
        })
    }
}

/// A SenML pack, not yet looked at.
pub(crate) struct SenmlBody(pub(crate) Body<web::Bytes>);

impl FromRequest for SenmlBody {
    type Error = Problem;
    type Future = Reading<Self>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let read = read(request, payload, "application/senml+json");
        Box::pin(async move {
            let (value, once) = read.await?;
            Ok(Self(Body { value, once }))
        })
    }
}

/// The body of a request that must be of a media type, with its key and the hash of the request it belongs to.
fn read(
    request: &HttpRequest,
    payload: &mut Payload,
    media: &'static str,
) -> Reading<(web::Bytes, Option<(String, String)>)> {
    let bytes = web::Bytes::from_request(request, payload);
    let request = request.clone();
    Box::pin(async move {
        let limit_kib =
            request.app_data::<web::Data<Arc<State>>>().map_or(4096, |state| state.settings.server.body_limit_kib);
        let bytes = bytes.await.map_err(|e| match e.as_response_error().status_code() {
            actix_web::http::StatusCode::PAYLOAD_TOO_LARGE => Problem::new(
                Kind::TooLarge,
                format!("the body is larger than {limit_kib} KiB"),
                "send less at once, or raise server.body_limit_kib",
            ),
            _ => Problem::new(Kind::Malformed, format!("the body broke off: {e}"), "send the request again"),
        })?;
        let said = request.headers().get(header::CONTENT_TYPE).and_then(|v| v.to_str().ok()).unwrap_or_default();
        let essence = said.split(';').next().unwrap_or_default().trim();
        if !bytes.is_empty() && !essence.eq_ignore_ascii_case(media) {
            let mend = format!("send JSON with the header Content-Type: {media}");
            return Err(Problem::new(Kind::Media, format!("the content type is \"{said}\""), mend));
        }
        // A command without arguments needs no body.
        let text = if bytes.is_empty() { web::Bytes::from_static(b"{}") } else { bytes };
        let once = key_of(&request)?.map(|key| (key, fingerprint(&request, &text)));
        Ok((text, once))
    })
}

pub(crate) fn parse<T: DeserializeOwned>(text: &[u8]) -> Result<T, Problem> {
    if text.trim_ascii_start().first() != Some(&b'{') {
        // The reader would take a list for the fields in their order, which nobody means.
        let whole = serde_json::from_slice::<IgnoredAny>(text);
        return Err(of_reader(
            &whole.err().unwrap_or_else(|| serde_json::Error::custom("the body is no object of named fields")),
        ));
    }
    let mut reader = serde_json::Deserializer::from_slice(text);
    let value =
        serde_path_to_error::deserialize(&mut reader).map_err(|e| of_reader_at(&e.path().to_string(), e.inner()))?;
    reader.end().map_err(|e| of_reader(&e))?;
    Ok(value)
}

/// What the JSON reader did not understand, and the field it was at, such as `steps[0].kind`.
fn of_reader_at(place: &str, e: &serde_json::Error) -> Problem {
    let mut problem = of_reader(e);
    let place = place.trim_matches(['.', '?']);
    if problem.kind == Kind::Invalid && !place.is_empty() {
        problem.field = match problem.field {
            Some(named) if place == named || place.ends_with(&format!(".{named}")) => Some(place.into()),
            Some(named) => Some(format!("{place}.{named}")),
            None => Some(place.into()),
        };
    }
    problem
}

/// What the JSON reader did not understand.
pub(crate) fn of_reader(e: &serde_json::Error) -> Problem {
    let (kind, mend) = match e.classify() {
        serde_json::error::Category::Data => {
            (Kind::Invalid, "correct the field; the page /api shows a body for each address")
        }
        _ => (Kind::Malformed, "the body is not whole JSON; look at this line and column"),
    };
    let detail = e.to_string();
    let named = |lead| detail.strip_prefix(lead)?.split('`').next().map(str::to_string);
    let field = ["unknown field `", "missing field `", "duplicate field `"].into_iter().find_map(named);
    Problem { kind, detail, field, mend: mend.into(), refused: vec![] }
}

/// The key as it is sent, with or without the quotes of a structured field.
fn key_of(request: &HttpRequest) -> Result<Option<String>, Problem> {
    let Some(sent) = request.headers().get("idempotency-key") else { return Ok(None) };
    let key = sent.to_str().unwrap_or_default().trim_matches('"');
    if (1..=128).contains(&key.len()) && key.chars().all(|c| c.is_ascii_graphic()) {
        return Ok(Some(key.into()));
    }
    let mend = "send 1 to 128 visible ASCII characters, for example a UUID";
    Err(Problem::new(Kind::Malformed, "the Idempotency-Key cannot be used", mend).about("Idempotency-Key"))
}

fn fingerprint(request: &HttpRequest, text: &[u8]) -> String {
    let mut hash = Sha256::new();
    hash.update(request.method().as_str());
    hash.update([0]);
    hash.update(request.path());
    hash.update([0]);
    hash.update(text);
    hash.finalize().iter().map(|byte| format!("{byte:02x}")).collect()
}
