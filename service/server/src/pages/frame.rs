//! What every page has: the shop's name, the way to the other pages, the time, and the headers it is sent with.

use std::sync::Arc;

use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder, ResponseError, http::header};
use askama::Template;

use crate::{
    access::{self, Caller, Role, Who},
    problem::{Kind, Problem},
    routes::Answer,
    settings::Settings,
    state::State,
};

/// The pages to be found from everywhere: address and word. The only list of them.
pub(crate) const NAV: [(&str, &str); 9] = [
    ("/", "Board"),
    ("/plan", "Plan"),
    ("/jobs", "Jobs"),
    ("/coats", "Coats"),
    ("/instruments", "Instruments"),
    ("/climate", "Climate"),
    ("/materials", "Materials"),
    ("/rules", "Rules"),
    ("/alerts", "Alerts"),
];

/// What the frame of a page shows.
pub(crate) struct Frame {
    pub(crate) shop: String,
    /// What time it is here: a tablet's own clock may be wrong.
    pub(crate) now_ms: i64,
    /// Why nothing is recorded or told just now, if the clock is doubted.
    pub(crate) doubt: Option<Problem>,
    /// The entry of [`NAV`] this page belongs to.
    pub(crate) here: &'static str,
    /// Who looks; nobody in particular on the machine itself, and where the way in is asked for.
    who: Option<Arc<Who>>,
    turned_away: bool,
}

impl Frame {
    pub(crate) fn nav(&self) -> &'static [(&'static str, &'static str)] {
        &NAV
    }

    /// The token by which this browser is logged in, if it is.
    pub(crate) fn session(&self) -> Option<&str> {
        self.who.as_ref().filter(|who| who.session).map(|who| who.name.as_str())
    }

    /// The word of the role that looks. The style sheet hides by it what that role may not press; the gate refuses it anyway.
    pub(crate) fn role(&self) -> Option<&'static str> {
        self.who.as_ref().map(|who| who.role.word())
    }

    /// Whether the owner looks, or somebody at the machine itself.
    pub(crate) fn owns(&self) -> bool {
        !self.turned_away && self.who.as_ref().is_none_or(|who| who.role == Role::Owner)
    }

    /// The frame of a page that says that somebody may not see what was asked for; by then nobody knows who it was.
    pub(super) fn turned_away(self) -> Self {
        Self { turned_away: true, ..self }
    }

    /// Whether it is somebody who only looks.
    pub(crate) fn only_looks(&self) -> bool {
        self.who.as_ref().is_some_and(|who| who.role == Role::Viewer)
    }
}

impl State {
    pub(super) fn frame(&self, here: &'static str) -> Frame {
        let shop = self.settings.shop.name.clone();
        Frame { shop, now_ms: self.now().ms(), doubt: self.doubt(), here, who: access::current(), turned_away: false }
    }
}

/// Nothing from elsewhere, no script and no style in the page itself.
const POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; img-src 'self'; connect-src 'self'; \
     manifest-src 'self'; base-uri 'none'; frame-ancestors 'none'; form-action 'self'";

/// A page as it is sent.
pub(super) fn show(page: &impl Template, mut builder: HttpResponseBuilder) -> Answer {
    let html = page.render().map_err(|e| Problem::new(Kind::Internal, e.to_string(), "the log says more"))?;
    Ok(builder
        .content_type("text/html; charset=utf-8")
        .insert_header((header::CONTENT_SECURITY_POLICY, POLICY))
        .body(html))
}

/// Goes on to an address when what was asked is done; otherwise shows the page again with what was wrong.
pub(super) async fn or_again<P: Template>(
    to: &str,
    done: Result<(), Problem>,
    again: impl AsyncFnOnce(String) -> Result<P, Problem>,
) -> Answer {
    match done {
        Ok(()) => see_other(to),
        Err(wrong) => {
            let builder = HttpResponse::build(wrong.status_code());
            show(&again(wrong.to_string()).await?, builder)
        }
    }
}

/// Where this service is for other devices, without a slash at its end: as the settings have it, else as it was asked here.
pub(super) fn base_url(request: &HttpRequest, settings: &Settings) -> String {
    match settings.server.public_url.trim_end_matches('/') {
        "" => {
            let caller = Caller::of(request, settings);
            format!("{}://{}", if caller.https { "https" } else { "http" }, caller.host)
        }
        url => url.into(),
    }
}

/// After a button: on to the page that shows what it did.
pub(super) fn see_other(to: &str) -> Answer {
    Ok(HttpResponse::SeeOther().insert_header((header::LOCATION, to)).finish())
}
