//! The part of a cure's page that puts right where it lies and whether it counts: it was carried to another zone, got more
//! light, or was registered wrongly and the minute to undo it is over.

use actix_web::web;
use facts::{CureId, Fact};

use crate::{
    compose::missing,
    pages::{form::Fields, frame::see_other},
    problem::Problem,
    routes::{Answer, Shop},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/cures/{id}/exposed").route(web::post().to(expose)))
        .service(web::resource("/cures/{id}/move").route(web::post().to(carry)))
        .service(web::resource("/cures/{id}/withdraw").route(web::post().to(withdraw)));
}

/// Why a cure counts no more: a hand with glue on it types nothing.
pub(super) const REASONS: [&str; 4] =
    ["registered by mistake", "the joint was taken apart again", "the coat was taken off again", "the wrong piece"];

fn known(shop: &Shop, id: &str) -> Result<CureId, Problem> {
    let bench = shop.bench();
    let cure = bench.cure(id).ok_or_else(|| Problem::not_found("glue-up or coat", id))?;
    Ok(cure.begun.id.clone())
}

async fn carry(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let (cure, zone) = (known(&shop, &id)?, fields.id("zone")?.ok_or_else(|| missing("zone"))?);
    let at_ms = fields.pressed_ms(shop.now().ms())?;
    let kept = fields.answer(&format!("/cures/{id}/move"), &id);
    shop.say_fact(Fact::CureMoved { cure, zone }, at_ms, "bench", kept).await?;
    see_other(&format!("/cures/{id}"))
}

async fn expose(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let exposure_mj_cm2 = fields.number("exposure_mj_cm2")?.ok_or_else(|| missing("exposure_mj_cm2"))?;
    let exposed = shop.exposed(&known(&shop, &id)?, exposure_mj_cm2)?;
    let at_ms = fields.pressed_ms(shop.now().ms())?;
    let kept = fields.answer(&format!("/cures/{id}/exposed"), &id);
    shop.say_fact(Fact::CoatExposed(exposed), at_ms, "bench", kept).await?;
    see_other(&format!("/cures/{id}"))
}

async fn withdraw(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let (cure, reason) = (known(&shop, &id)?, fields.get("reason").unwrap_or_default().to_string());
    let kept = fields.answer(&format!("/cures/{id}/withdraw"), &id);
    shop.say_fact(Fact::CureWithdrawn { cure, reason }, shop.now().ms(), "bench", kept).await?;
    see_other(&format!("/cures/{id}"))
}
