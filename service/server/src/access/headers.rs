//! Headers every answer is sent with, that of a page and that of an error alike: what a browser must not do with it. What is no
//! HTTP at all never comes here: the framework's parser answers 400 with an empty body, and hangs up.

use actix_web::{
    Error,
    body::MessageBody,
    dev::{ServiceRequest, ServiceResponse},
    http::header::{self, HeaderName, HeaderValue},
    middleware::Next,
};

use super::Caller;
use crate::routes::Shop;

/// What is sent unless the answer says otherwise. A picture may have style in it, and is still no page.
const SENT: [(&str, &str); 8] = [
    ("x-content-type-options", "nosniff"),
    ("content-security-policy", "default-src 'none'; style-src 'unsafe-inline'; frame-ancestors 'none'"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "same-origin"),
    ("cache-control", "no-store"),
    ("cross-origin-resource-policy", "same-origin"),
    ("cross-origin-opener-policy", "same-origin"),
    ("permissions-policy", "geolocation=(), microphone=(), payment=(), usb=()"),
];

/// A year: a browser that came over TLS once does not come without it (RFC 6797).
const ONLY_TLS: &str = "max-age=31536000";

/// Sends every answer with its headers.
pub(crate) async fn secured<B: MessageBody>(
    request: ServiceRequest,
    next: Next<B>,
) -> Result<ServiceResponse<B>, Error> {
    let shop = request.app_data::<Shop>();
    let https = shop.is_some_and(|shop| Caller::of(request.request(), &shop.settings).https);
    let mut answer = next.call(request).await?;
    let headers = answer.headers_mut();
    for (name, value) in SENT {
        if !headers.contains_key(name) {
            headers.insert(HeaderName::from_static(name), HeaderValue::from_static(value));
        }
    }
    if https {
        headers.insert(header::STRICT_TRANSPORT_SECURITY, HeaderValue::from_static(ONLY_TLS));
    }
    Ok(answer)
}
