//! Problem documents (RFC 9457): the one table from what went wrong to a status, and the one way to answer it.

use actix_web::{
    HttpRequest, HttpResponse, ResponseError,
    http::{StatusCode, header},
};
use clock::Refusal;
use serde::Serialize;

use crate::intake::Refused;

/// What kind of thing went wrong. Each has one type, one title and one status.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Kind {
    /// The body or the address cannot be read.
    Malformed,
    /// There is nothing at this address.
    NotFound,
    /// This address does not answer to this method.
    Method,
    /// No shop here is asked for by this name.
    Misdirected,
    /// Who asks is not known.
    Login,
    /// Who asks may not do that.
    Role,
    /// Who asks does so too often.
    TooMany,
    /// It was sent by a page of another site.
    Foreign,
    /// It contradicts what the bench knows.
    Conflict,
    /// The body is larger than is taken.
    TooLarge,
    /// The body is of another type than this address takes.
    Media,
    /// A value cannot be.
    Invalid,
    /// It names something that is not there.
    UnknownReference,
    /// An idempotency key was used for another request.
    KeyReused,
    /// Somebody else changed it since it was read.
    Changed,
    /// What was changed is not said.
    Unseen,
    /// A rule failed.
    RuleFault,
    /// Too much is waiting.
    Busy,
    /// The disk is full.
    DiskFull,
    /// The database cannot be written just now.
    Unavailable,
    /// Our own fault.
    Internal,
}

impl Kind {
    /// Type, title and status: the only place where a status is decided.
    pub(crate) fn row(self) -> (&'static str, &'static str, StatusCode) {
        match self {
            Self::Malformed => ("malformed", "The request cannot be read", StatusCode::BAD_REQUEST),
            Self::NotFound => ("not-found", "There is nothing here", StatusCode::NOT_FOUND),
            Self::Method => ("method", "This address does not do that", StatusCode::METHOD_NOT_ALLOWED),
            Self::Misdirected => ("misdirected", "No shop here has this name", StatusCode::MISDIRECTED_REQUEST),
            Self::Login => ("login", "It asks who you are", StatusCode::UNAUTHORIZED),
            Self::Role => ("role", "Your role may not do that", StatusCode::FORBIDDEN),
            Self::TooMany => ("too-many", "You ask too often", StatusCode::TOO_MANY_REQUESTS),
            Self::Foreign => ("foreign", "It comes from another site", StatusCode::FORBIDDEN),
            Self::Conflict => ("conflict", "It contradicts what the bench knows", StatusCode::CONFLICT),
            Self::TooLarge => ("too-large", "The body is too large", StatusCode::PAYLOAD_TOO_LARGE),
            Self::Media => ("media-type", "The body is of another type", StatusCode::UNSUPPORTED_MEDIA_TYPE),
            Self::Invalid => ("invalid", "A value cannot be", StatusCode::UNPROCESSABLE_ENTITY),
            Self::UnknownReference => {
                ("unknown-reference", "It names something that is not there", StatusCode::UNPROCESSABLE_ENTITY)
            }
            Self::KeyReused => {
                ("key-reused", "The idempotency key was used for another request", StatusCode::UNPROCESSABLE_ENTITY)
            }
            Self::Changed => ("changed", "Somebody else changed it meanwhile", StatusCode::PRECONDITION_FAILED),
            Self::Unseen => ("unseen", "It does not say what it replaces", StatusCode::PRECONDITION_REQUIRED),
            Self::RuleFault => ("rule-fault", "The rule of this material failed", StatusCode::UNPROCESSABLE_ENTITY),
            Self::Busy => ("busy", "Too much is waiting", StatusCode::SERVICE_UNAVAILABLE),
            Self::DiskFull => ("disk-full", "There is no room to write", StatusCode::INSUFFICIENT_STORAGE),
            Self::Unavailable => ("unavailable", "It cannot be written just now", StatusCode::SERVICE_UNAVAILABLE),
            Self::Internal => ("internal", "The service failed", StatusCode::INTERNAL_SERVER_ERROR),
        }
    }

    /// The kind an answer of the framework itself stands for.
    pub(crate) fn of_status(status: StatusCode) -> Self {
        match status {
            StatusCode::NOT_FOUND => Self::NotFound,
            StatusCode::METHOD_NOT_ALLOWED => Self::Method,
            StatusCode::PAYLOAD_TOO_LARGE => Self::TooLarge,
            StatusCode::UNSUPPORTED_MEDIA_TYPE => Self::Media,
            status if status.is_client_error() => Self::Malformed,
            _ => Self::Internal,
        }
    }
}

/// What went wrong: what, where, how to mend it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// Its kind.
    pub kind: Kind,
    /// What went wrong, in a sentence.
    pub detail: String,
    /// The field it is about, if it is about one.
    pub field: Option<String>,
    /// How to mend it.
    pub mend: String,
    /// Each row that was refused, when it is about many.
    pub(crate) refused: Vec<Refused>,
}

#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct Document<'a> {
    r#type: String,
    title: &'a str,
    status: u16,
    detail: &'a str,
    #[serde(skip_serializing_if = "Option::is_none")]
    field: Option<&'a str>,
    mend: &'a str,
    #[serde(skip_serializing_if = "<[_]>::is_empty")]
    refused: &'a [Refused],
}

impl Problem {
    /// A problem of a kind.
    pub fn new(kind: Kind, detail: impl Into<String>, mend: impl Into<String>) -> Self {
        Self { kind, detail: short(detail.into()), field: None, mend: short(mend.into()), refused: vec![] }
    }

    /// Names the field it is about.
    #[must_use]
    pub fn about(mut self, field: &str) -> Self {
        self.field = Some(field.into());
        self
    }

    /// Nothing of that id at this address.
    pub fn not_found(what: &str, id: &str) -> Self {
        Self::new(Kind::NotFound, format!("there is no {what} \"{id}\""), "check the id; the list is one level up")
    }

    /// The address has no meaning at all.
    pub fn no_such_address(request: &HttpRequest) -> Self {
        let address = format!("{} {}", request.method(), request.path());
        Self::new(
            Kind::NotFound,
            format!("there is nothing at {address}"),
            "README.md and GET /api/v1 list the addresses",
        )
    }

    /// What to say for an answer the framework made without a body.
    pub(crate) fn of_framework(status: StatusCode, what: &str) -> Self {
        Self::new(Kind::of_status(status), what, "README.md and GET /api/v1 list the addresses and their methods")
    }

    fn document(&self) -> Document<'_> {
        let (slug, title, status) = self.kind.row();
        Document {
            r#type: format!("urn:benchclock:problem:{slug}"),
            title,
            status: status.as_u16(),
            detail: &self.detail,
            field: self.field.as_deref(),
            mend: &self.mend,
            refused: &self.refused,
        }
    }
}

/// Longest sentence of a problem that is said whole, bytes.
const LONGEST: usize = 1000;

/// A sentence that repeats what was sent keeps its beginning and its end: whoever sends a megabyte is not sent it back.
fn short(text: String) -> String {
    if text.len() <= LONGEST {
        return text;
    }
    let head: String = text.chars().take(LONGEST / 2).collect();
    let behind = text.char_indices().rev().nth(LONGEST / 4).map_or(0, |(at, _)| at).max(head.len());
    let left_out = text[head.len()..behind].chars().count();
    if left_out == 0 {
        return text;
    }
    format!("{head} ... ({left_out} characters left out) ... {}", &text[behind..])
}

impl std::fmt::Display for Problem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}; {}", self.detail, self.mend)
    }
}

impl std::error::Error for Problem {}

impl ResponseError for Problem {
    fn status_code(&self) -> StatusCode {
        self.kind.row().2
    }

    fn error_response(&self) -> HttpResponse {
        let mut answer = HttpResponse::build(self.status_code());
        let more = match self.kind {
            Kind::Busy | Kind::DiskFull | Kind::Unavailable => Some((header::RETRY_AFTER, "1")),
            Kind::TooMany => Some((header::RETRY_AFTER, "10")),
            // RFC 9110, 15.5.2: an answer of 401 says how to log in.
            Kind::Login => Some((header::WWW_AUTHENTICATE, "Bearer realm=\"benchclock\"")),
            _ => None,
        };
        if let Some(header) = more {
            answer.insert_header(header);
        }
        answer
            .content_type("application/problem+json")
            .body(serde_json::to_string(&self.document()).expect("a problem document has a JSON form"))
    }
}

impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        let mend = refusal.mend();
        match &refusal {
            Refusal::Invalid(invalid) => Self::from(invalid.clone()),
            Refusal::Unknown { what, .. } => Self::new(Kind::UnknownReference, refusal.to_string(), mend).about(what),
            Refusal::Exists { .. } => Self::new(Kind::Conflict, refusal.to_string(), mend).about("id"),
            Refusal::Conflict { .. } => Self::new(Kind::Conflict, refusal.to_string(), mend),
        }
    }
}

impl From<facts::Invalid> for Problem {
    fn from(invalid: facts::Invalid) -> Self {
        Self::new(Kind::Invalid, invalid.to_string(), invalid.mend.clone()).about(&invalid.what)
    }
}

impl From<rules::Fault> for Problem {
    fn from(fault: rules::Fault) -> Self {
        Self::new(Kind::RuleFault, fault.to_string(), fault.mend)
    }
}

impl From<&store::Error> for Problem {
    fn from(error: &store::Error) -> Self {
        use store::Error::{
            Away, Busy, Damaged, Differs, Failing, Full, InTheWay, Locked, NoCopy, NoPlace, NotEmpty, NotWhole, Other,
            OverTheWall, ReadOnly, Stopped, TooNew, TooOld, Unreadable,
        };
        let kind = match error {
            Busy { .. } => Kind::Busy,
            Full { .. } => Kind::DiskFull,
            Away { .. } | Failing { .. } | Locked { .. } | ReadOnly { .. } | Stopped => Kind::Unavailable,
            InTheWay { .. } | NoCopy { .. } | NotEmpty { .. } | NotWhole { .. } => Kind::Conflict,
            Damaged { .. }
            | Differs { .. }
            | NoPlace { .. }
            | Other(_)
            | OverTheWall { .. }
            | TooNew { .. }
            | TooOld { .. }
            | Unreadable { .. } => Kind::Internal,
        };
        let detail = match error {
            // What the database says is for the log.
            Other(_) => "the database failed; the log says more".into(),
            other => other.to_string(),
        };
        Self::new(kind, detail, "nothing was changed; send the same request again with its Idempotency-Key")
    }
}
