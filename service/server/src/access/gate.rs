//! The gate before every address: who it is, whether the role may, and whether a browser was sent here by a page of ours.

use std::sync::Arc;

use actix_web::{
    Error, HttpMessage, HttpResponse,
    body::{BoxBody, MessageBody},
    dev::{ServiceRequest, ServiceResponse},
    http::{
        Method,
        header::{ACCEPT, AUTHORIZATION, COOKIE, HeaderMap, LOCATION},
    },
    middleware::Next,
};

use super::{
    Caller, Who,
    bodies::{Answering, in_time, plain},
    role::{Asks, Role, asks},
    who::answering,
};
use crate::{
    problem::{Kind, Problem},
    routes::Shop,
    shops,
    state::State,
};

/// Lets a request in, or says why not.
pub(crate) async fn gate(
    mut request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    if let Err(problem) = plain(&request) {
        return Ok(request.error_response(problem).map_into_boxed_body());
    }
    let (body, kept) = in_time(request.take_payload());
    request.set_payload(body);
    let answer = let_in(request, next).await?;
    Ok(match kept {
        Some(kept) => answer.map_body(|_, answer| Answering::keeping(answer, kept)),
        None => answer,
    })
}

async fn let_in(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let Some(shop) = request.app_data::<Shop>().cloned() else {
        return Ok(match shops::outside(&request).await {
            Ok(answer) => request.into_response(answer),
            Err(problem) => request.error_response(problem).map_into_boxed_body(),
        });
    };
    match enter(&shop, &request).await {
        Ok(who) => Ok(answering(who, next.call(request)).await?.map_into_boxed_body()),
        Err(problem) if problem.kind == Kind::Login && reads_pages(&request) => {
            let to =
                format!("/login?then={}", urlencoded(request.uri().path_and_query().map_or("/", |at| at.as_str())));
            Ok(request.into_response(HttpResponse::SeeOther().insert_header((LOCATION, to)).finish()))
        }
        Err(problem) => Ok(request.error_response(problem).map_into_boxed_body()),
    }
}

fn urlencoded(text: &str) -> String {
    url::form_urlencoded::byte_serialize(text.as_bytes()).collect()
}

/// Whether it is somebody at a browser who wants to see a page.
fn reads_pages(request: &ServiceRequest) -> bool {
    let accepts = request.headers().get(ACCEPT).and_then(|v| v.to_str().ok()).unwrap_or_default();
    *request.method() == Method::GET && accepts.contains("text/html") && !request.path().starts_with("/api/v1")
}

/// Who it is: none for a request from this machine that shows no token, and for what is for everybody.
async fn enter(shop: &Arc<State>, request: &ServiceRequest) -> Result<Option<Arc<Who>>, Problem> {
    let caller = Caller::of(request.request(), &shop.settings);
    // The path as addresses are matched by it: %72ules is rules there, too.
    let path = request.match_info().as_str();
    let asks = asks(request.method(), path);
    let bearer = bearer(request.headers())?;
    let writes = !matches!(*request.method(), Method::GET | Method::HEAD | Method::OPTIONS);
    if writes && bearer.is_none() && !same_origin(request.headers(), &caller.host) {
        let mend = "press the button on a page of this service";
        return Err(Problem::new(Kind::Foreign, "this was sent from a page of another site", mend));
    }
    let cookie = cookie(request.headers(), caller.https);
    let who = match bearer.as_ref().or(cookie.as_ref()) {
        Some(secret) => shop.access.find(shop, secret).await?.filter(|who| who.session == bearer.is_none()),
        None => None,
    };
    match who {
        Some(who) => {
            if !shop.limits.token(&who.name) {
                return Err(too_many("this token asks too often", "ask less often, or raise access.requests_per_s"));
            }
            allowed(&who, asks, path)?;
            Ok(Some(who))
        }
        // A token that is shown must be good, here too. A session that has ended is as none.
        None if bearer.is_some() => Err(wrong_token(shop, &caller)),
        None if caller.here => Ok(None),
        None if !shop.limits.stranger(caller.client) => Err(too_many("you ask too often", "wait a moment, and log in")),
        None if asks == Asks::Nothing => Ok(None),
        None => Err(Problem::new(
            Kind::Login,
            "from another machine this asks for a token",
            "send Authorization: Bearer with a token, or log in at /login; `benchclock token add` makes one",
        )),
    }
}

/// A wrong secret was shown: says so, and after too many only that there were too many.
pub(crate) fn wrong_token(shop: &State, caller: &Caller) -> Problem {
    if !shop.limits.wrong(caller.client) {
        return too_many(
            "too many wrong tokens came from your address",
            "wait a minute; a good token is taken at once",
        );
    }
    tracing::warn!(client = %caller.client, "a token was shown that is none, or was taken away");
    Problem::new(Kind::Login, "this token is none of ours, or was taken away", "ask the owner for another")
}

fn too_many(what: &str, mend: &str) -> Problem {
    Problem::new(Kind::TooMany, what, mend)
}

fn allowed(who: &Who, asks: Asks, path: &str) -> Result<(), Problem> {
    let refused = |what: String| {
        let mend = "ask the owner, or use a token of another role";
        Err(Problem::new(Kind::Role, what, mend))
    };
    if !who.role.may(asks) {
        return refused(format!("the role {} of \"{}\" may not do that", who.role.word(), who.name));
    }
    let zone = path.strip_prefix("/api/v1/zones/").and_then(|rest| rest.split('/').next());
    match zone.filter(|zone| asks == Asks::Readings && !who.reads(zone)) {
        Some(zone) if who.role == Role::Sensor => refused(format!("zone \"{zone}\" is none of \"{}\"", who.name)),
        _ => Ok(()),
    }
}

/// The token a request shows (RFC 6750).
fn bearer(headers: &HeaderMap) -> Result<Option<String>, Problem> {
    let Some(sent) = headers.get(AUTHORIZATION) else { return Ok(None) };
    let Some((scheme, token)) = sent.to_str().ok().map(|sent| sent.split_once(' ').unwrap_or((sent, ""))) else {
        return Ok(None);
    };
    match token.trim() {
        // Another scheme is another's: a proxy may ask for a password of its own.
        _ if !scheme.eq_ignore_ascii_case("bearer") => Ok(None),
        "" => Err(Problem::new(Kind::Login, "Authorization names no token", "send Authorization: Bearer TOKEN")),
        token => Ok(Some(token.into())),
    }
}

/// Under its longer name a browser takes it only from this very host, over TLS.
fn cookie_name(https: bool) -> &'static str {
    if https { "__Host-benchclock-session" } else { "benchclock-session" }
}

fn cookie(headers: &HeaderMap, https: bool) -> Option<String> {
    let all = headers.get_all(COOKIE).filter_map(|sent| sent.to_str().ok()).flat_map(|sent| sent.split(';'));
    let mut named = all.filter_map(|pair| pair.trim().split_once('='));
    named.find(|(name, _)| *name == cookie_name(https)).map(|(_, secret)| secret.to_string())
}

/// The header that gives a browser its session, or takes it back: no script reads it, and no page of another site has
/// it sent along with a form (RFC 6265bis).
pub(crate) fn session_cookie(secret: &str, lasts_s: i64, https: bool) -> String {
    let secure = if https { "; Secure" } else { "" };
    format!("{}={secret}; Path=/; Max-Age={lasts_s}; HttpOnly; SameSite=Lax{secure}", cookie_name(https))
}

/// Whether a browser was sent by a page of this service. It says where from (Fetch Metadata; `Origin`, RFC 6454, where it
/// does not); what says neither is no browser.
fn same_origin(headers: &HeaderMap, host: &str) -> bool {
    let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or_default());
    match (text("sec-fetch-site"), text("origin")) {
        (Some(site), _) => matches!(site, "same-origin" | "none"),
        (None, Some(origin)) => origin.split_once("://").is_some_and(|(_, from)| from == host),
        (None, None) => true,
    }
}
