//! A joint of an instrument, added before anything is glued.

use actix_web::web;
use facts::{Fact, JointAdded};

use super::back;
use crate::{
    compose::new_id,
    pages::form::Fields,
    problem::Problem,
    routes::{Answer, Shop, plates::instrument},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/instruments/{id}/joints").route(web::post().to(add)));
}

/// Gap of a good fit, µm, where nobody measured it (common practice, no source).
const GOOD_FIT_UM: f64 = 100.0;

async fn add(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let done = async { added(&shop, &id, &fields).await };
    let done = done.await;
    back(&shop, &id, &fields, done).await
}

async fn added(shop: &Shop, id: &str, fields: &Fields) -> Result<(), Problem> {
    let (_, um) = shop.settings.shop.length_unit.thin();
    let joint = JointAdded {
        id: new_id('j'),
        instrument: instrument(shop, id)?,
        name: fields.get("joint_name").unwrap_or_default().into(),
        gap_um: fields.number("gap")?.map_or(GOOD_FIT_UM, |said| said * um),
        porosity: fields.word("porosity")?.unwrap_or_default(),
    };
    let kept = fields.answer(&format!("/instruments/{id}/joints"), joint.id.as_str());
    shop.say_fact(Fact::JointAdded(joint), shop.now().ms(), "bench", kept).await.map(drop)
}
