//! Two buttons on the page of a glue-up or coat: "not yet" and "there now".

use actix_web::web;
use facts::{CureId, Fact, ObservationMade, Observing};
use serde::Deserialize;

use super::{Answer, Shop, pages::see_other};
use crate::{compose::new_id, problem::Problem};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/cures/{id}/observed").route(web::post().to(observed)));
}

/// The form as the page sends it.
#[derive(Deserialize)]
struct Seen {
    stage: String,
    by: Observing,
    reached: bool,
}

async fn observed(shop: Shop, id: web::Path<String>, seen: web::Form<Seen>) -> Answer {
    let cure: CureId = {
        let bench = shop.bench();
        let known = bench.cure(&id).map(|cure| cure.begun.id.clone());
        known.ok_or_else(|| Problem::not_found("glue-up or coat", &id))?
    };
    let Seen { stage, by, reached } = seen.into_inner();
    let made = ObservationMade { id: new_id('o'), cure, stage, reached, by, note: String::new() };
    shop.say_fact(Fact::ObservationMade(made), shop.now().ms(), "bench", None).await?;
    see_other(&format!("/cures/{id}"))
}
