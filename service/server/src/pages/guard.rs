//! What stands around every page. Forms are taken from our own pages only: a page of somebody else's, open in the same
//! browser, must not press our buttons. And a problem is shown as a page to whoever reads pages.

use actix_web::{
    Error, HttpResponse, ResponseError,
    body::{BoxBody, MessageBody},
    dev::{ServiceRequest, ServiceResponse},
    http::{
        Method,
        header::{ACCEPT, HeaderMap},
    },
    middleware::Next,
};
use askama::Template;

use super::frame::{Frame, show};
use crate::{
    problem::{Kind, Problem},
    routes::Shop,
};

/// Refuses forms of other sites. The browser says where a form comes from (Fetch Metadata; `Origin`, RFC 6454, where
/// it does not); what says neither is no browser.
pub(super) async fn same_origin(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let is_post = *request.method() == Method::POST;
    if is_post && !ours(request.headers(), request.connection_info().host()) {
        let mend = "press the button on a page of this service";
        let problem = Problem::new(Kind::Foreign, "this form was sent from another site", mend);
        return Ok(request.into_response(problem.error_response()));
    }
    Ok(next.call(request).await?.map_into_boxed_body())
}

fn ours(headers: &HeaderMap, host: &str) -> bool {
    let text = |name: &str| headers.get(name).map(|value| value.to_str().unwrap_or_default());
    match (text("sec-fetch-site"), text("origin")) {
        (Some(site), _) => matches!(site, "same-origin" | "none"),
        (None, Some(origin)) => origin.split_once("://").is_some_and(|(_, from)| from == host),
        (None, None) => true,
    }
}

#[derive(Template)]
#[template(path = "problem.html")]
struct ProblemPage {
    frame: Frame,
    problem: Problem,
}

/// Shows a problem as a page where the browser asked for one.
pub(super) async fn as_page(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let answered = next.call(request).await?.map_into_boxed_body();
    let asked = answered.request();
    let reads_pages =
        asked.headers().get(ACCEPT).and_then(|v| v.to_str().ok()).is_some_and(|v| v.contains("text/html"));
    let problem = answered.response().error().and_then(|error| error.as_error::<Problem>()).cloned();
    let (Some(problem), true, Some(shop)) = (problem, reads_pages, asked.app_data::<Shop>()) else {
        return Ok(answered);
    };
    let page = ProblemPage { frame: shop.frame("/"), problem };
    let shown = show(&page, HttpResponse::build(page.problem.status_code()));
    Ok(match shown {
        Ok(shown) => answered.into_response(shown),
        Err(_) => answered,
    })
}
