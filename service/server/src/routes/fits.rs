//! Fitting a rule to what was seen at the bench: a report and a draft. Nothing comes in force by asking for one.

use actix_web::{HttpResponse, web};
use rules::fit;
use serde::Serialize;
use serde_json::json;

use super::{Answer, Shop};
use crate::{
    body::{Body, Nothing},
    now::instant,
    openapi::Api,
    problem::{Kind, Problem},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/rules/{material}/fit").route(web::post().to(fitted)));
}

pub(super) fn describe(api: &mut Api) {
    api.post("/rules/{material}/fit", "Fits a rule to what was seen").takes::<Nothing>(json!({})).gives::<FitWire>();
}

#[derive(Serialize, utoipa::ToSchema)]
struct FitWire {
    material: String,
    #[serde(flatten)]
    #[schema(value_type = crate::twins::FitReport)]
    report: fit::FitReport,
}

async fn fitted(shop: Shop, material: web::Path<String>, _: Body<Nothing>) -> Answer {
    let material = material.into_inner();
    let report = report_of(&shop, &material).await?;
    Ok(HttpResponse::Ok().json(FitWire { material, report }))
}

/// Fits the rule in force of a material to what was seen.
///
/// # Errors
/// No such material, or a rule that fails.
pub(crate) async fn report_of(shop: &Shop, material: &str) -> Result<fit::FitReport, Problem> {
    let (version, cases) = {
        let bench = shop.bench();
        let version = bench.in_force().get(material).cloned();
        (version.ok_or_else(|| Problem::not_found("material", material))?, fit::cases(&bench, material))
    };
    let on = instant(shop.now().ms()).with_timezone(&shop.zone).date_naive().to_string();
    let state = shop.clone();
    // Scripts are asked and a likelihood is summed: not on a thread that answers requests.
    let report = web::block(move || {
        let rule = state.rulebook.rule(&version)?;
        let text = state.rulebook.text(&version).unwrap_or_default();
        let weighed = fit::Weighed::new(&rule, &state.rulebook, cases)?;
        let evidence = weighed.measure(&state.bench());
        fit::report(&rule, &text, evidence, &on)
    });
    let failed = |_| Problem::new(Kind::Internal, "the fit did not end", "try again; the log says more");
    Ok(report.await.map_err(failed)??)
}
