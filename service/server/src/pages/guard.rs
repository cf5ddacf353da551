//! What stands around every page: a problem is shown as one to whoever reads pages.

use actix_web::{
    Error, HttpResponse, ResponseError,
    body::{BoxBody, MessageBody},
    dev::{ServiceRequest, ServiceResponse},
    http::header::ACCEPT,
    middleware::Next,
};
use askama::Template;

use super::frame::{Frame, show};
use crate::{
    problem::{Kind, Problem},
    routes::Shop,
};

#[derive(Template)]
#[template(path = "problem.html")]
struct ProblemPage {
    frame: Frame,
    problem: Problem,
}

/// Shows a problem as a page where the browser asked for one.
pub(crate) async fn as_page(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, Error> {
    let answered = next.call(request).await?.map_into_boxed_body();
    let asked = answered.request();
    let is_page = !asked.path().starts_with("/api/v1");
    let reads_pages =
        is_page && asked.headers().get(ACCEPT).and_then(|v| v.to_str().ok()).is_some_and(|v| v.contains("text/html"));
    let problem = answered.response().error().and_then(|error| error.as_error::<Problem>()).cloned();
    let (Some(problem), true, Some(shop)) = (problem, reads_pages, asked.app_data::<Shop>()) else {
        return Ok(answered);
    };
    let frame = match problem.kind {
        Kind::Role | Kind::Login => shop.frame("/").turned_away(),
        _ => shop.frame("/"),
    };
    let page = ProblemPage { frame, problem };
    let shown = show(&page, HttpResponse::build(page.problem.status_code()));
    Ok(match shown {
        Ok(shown) => answered.into_response(shown),
        Err(_) => answered,
    })
}
