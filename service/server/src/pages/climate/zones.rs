//! The zones of the shop: one is set up, renamed, or given another set-point on the page of the climate.

use actix_web::web;
use facts::{Fact, RhPct, TempC, ZoneId, ZoneSet};
use store::Saying;

use super::{back, zone};
use crate::{
    compose::new_id,
    pages::form::Fields,
    problem::Problem,
    routes::{Answer, Shop},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/climate/zones").route(web::post().to(add)))
        .service(web::resource("/climate/{zone}/set").route(web::post().to(revise)));
}

/// Where a form that sets up a zone says it stands, for there is no zone yet.
pub(super) const NEW: &str = "zones";

async fn add(shop: Shop, fields: Fields) -> Answer {
    let done = set(&shop, new_id('z'), &fields, true, "/climate/zones").await;
    back(&shop, NEW, fields, done).await
}

async fn revise(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let done = async { set(&shop, zone(&shop, &id)?, &fields, false, &format!("/climate/{id}/set")).await };
    let done = done.await;
    back(&shop, &id, fields, done).await
}

async fn set(shop: &Shop, id: ZoneId, fields: &Fields, fresh: bool, path: &str) -> Result<(), Problem> {
    let unit = shop.settings.shop.temp_unit;
    let kept = fields.answer(path, id.as_str());
    let fact = Fact::ZoneSet(ZoneSet {
        id,
        name: fields.get("name").unwrap_or_default().into(),
        set_temp_c: TempC::new(unit.celsius(fields.needed("set_temp")?))
            .map_err(|e| Problem::from(e).about("set_temp"))?,
        set_rh_pct: RhPct::new(fields.needed("set_rh_pct")?).map_err(|e| Problem::from(e).about("set_rh_pct"))?,
    });
    let saying = Saying { fresh, ..shop.saying(fact, shop.now().ms(), "bench", vec![], kept) };
    shop.say_once(saying).await.map(drop)
}
