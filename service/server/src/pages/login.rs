//! The way in for people: a browser shows a token once and has a session from then on, until it logs out, the token is
//! taken away, or a fortnight passes unused.

use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder, ResponseError, http::header, web};
use askama::Template;
use serde::Deserialize;

use super::{
    form::Fields,
    frame::{Frame, see_other, show},
};
use crate::{
    access::{self, Caller, session_cookie, wrong_token},
    problem::Problem,
    routes::{Answer, Shop},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/login").route(web::get().to(ask)).route(web::post().to(enter)))
        .service(web::resource("/logout").route(web::post().to(leave)));
}

#[derive(Template)]
#[template(path = "login.html")]
struct LoginPage {
    frame: Frame,
    /// Where to afterwards.
    then: String,
    wrong: String,
}

#[derive(Deserialize)]
struct Then {
    then: Option<String>,
}

/// A place on this service, never another's: "//elsewhere" and "/\elsewhere" are hosts to a browser.
fn within(then: &str) -> &str {
    let ours = then.starts_with('/') && !then.starts_with("//") && !then.contains(['\\', '\r', '\n', '\t']);
    if ours { then } else { "/" }
}

fn page(shop: &Shop, then: &str, wrong: String, builder: HttpResponseBuilder) -> Answer {
    show(&LoginPage { frame: shop.frame(""), then: within(then).into(), wrong }, builder)
}

async fn ask(shop: Shop, then: web::Query<Then>) -> Answer {
    page(&shop, then.then.as_deref().unwrap_or("/"), String::new(), HttpResponse::Ok())
}

async fn enter(shop: Shop, request: HttpRequest, fields: Fields) -> Answer {
    let caller = Caller::of(&request, &shop.settings);
    let then = fields.get("then").unwrap_or("/");
    let whose = shop.access.whose(&shop, fields.get("token").unwrap_or_default()).await?;
    let Some(who) = whose else {
        let problem: Problem = wrong_token(&shop, &caller);
        return page(&shop, then, problem.to_string(), HttpResponse::build(problem.status_code()));
    };
    let secret = shop.access.begin(&shop, &who).await?;
    let mut entered = see_other(within(then))?;
    // The longest a browser keeps it; the service ends it sooner when nobody uses it.
    let cookie = session_cookie(&secret, 365 * 24 * 3600, caller.https);
    let cookie = header::HeaderValue::from_str(&cookie).expect("hexadecimal digits make a header");
    entered.headers_mut().insert(header::SET_COOKIE, cookie);
    Ok(entered)
}

async fn leave(shop: Shop, request: HttpRequest) -> Answer {
    if let Some(who) = access::current().filter(|who| who.session) {
        shop.access.end(&shop, &who).await?;
    }
    let mut left = see_other("/login")?;
    let cookie = session_cookie("", 0, Caller::of(&request, &shop.settings).https);
    left.headers_mut().insert(header::SET_COOKIE, header::HeaderValue::from_str(&cookie).expect("plain text"));
    Ok(left)
}

#[cfg(test)]
mod tests {
    use super::within;

    #[test]
    fn nobody_is_sent_elsewhere() {
        for elsewhere in
            ["//example.org", "/\\example.org", "https://example.org", "javascript:alert(1)", "", "x", "/\t/x"]
        {
            assert_eq!(within(elsewhere), "/", "{elsewhere}");
        }
        assert_eq!(within("/jobs/j-1?x=1"), "/jobs/j-1?x=1");
    }
}
