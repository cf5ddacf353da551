//! Moving an open glue-up or coat to another version of its rule: what would move is shown first, and the button that does
//! it stands beneath.

use actix_web::{HttpResponse, web};
use askama::Template;
use facts::{Fact, MaterialId, VersionId};
use serde::Deserialize;

use super::{
    choice::Choice,
    form::{Fields, new_key},
    frame::{Frame, see_other, show},
    moves::MoveRow,
};
use crate::{
    alerts::words::{ESTIMATE, place},
    problem::Problem,
    routes::{Answer, Shop, rules::versions::history},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/cures/{id}/rule").route(web::get().to(show_moves)).route(web::post().to(change)));
}

#[derive(Template)]
#[template(path = "cure_rule.html")]
struct CureRulePage {
    frame: Frame,
    key: String,
    id: String,
    place: String,
    material: String,
    /// The version it goes by.
    goes_by: String,
    /// The version it would go by.
    version: String,
    versions: Vec<Choice>,
    rows: Vec<MoveRow>,
    estimate: &'static str,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Wanted {
    /// One its material had in force; the one in force now if not said.
    version: Option<VersionId>,
}

fn unknown(id: &str) -> Problem {
    Problem::not_found("glue-up or coat", id)
}

async fn show_moves(shop: Shop, id: web::Path<String>, wanted: web::Query<Wanted>) -> Answer {
    let material: MaterialId = {
        let bench = shop.bench();
        bench.cure(&id).ok_or_else(|| unknown(&id))?.begun.material.clone()
    };
    let history = history(&shop, &material).await?;
    let (bench, now_ms) = (shop.bench(), shop.now().ms());
    let cure = bench.cure(&id).ok_or_else(|| unknown(&id))?;
    let rule = shop.version_for(&bench, cure, wanted.into_inner().version)?;
    let moved = shop.moved(&bench, cure, &rule, &shop.rule_change(&bench, cure, &rule)?)?;
    let page = CureRulePage {
        frame: shop.frame("/rules"),
        key: new_key(),
        id: id.into_inner(),
        place: place(&bench, cure),
        material: material.to_string(),
        goes_by: cure.begun.rule_version.to_string(),
        version: rule.version.to_string(),
        versions: shop.version_choices(&history, &rule.version),
        rows: shop.move_rows(&moved, now_ms),
        estimate: ESTIMATE,
    };
    show(&page, HttpResponse::Ok())
}

async fn change(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let version = fields.id("version")?;
    let change = {
        let bench = shop.bench();
        let cure = bench.cure(&id).ok_or_else(|| unknown(&id))?;
        let rule = shop.version_for(&bench, cure, version)?;
        shop.rule_change(&bench, cure, &rule)?
    };
    let kept = fields.answer(&format!("/cures/{id}/rule"), &id);
    shop.say_fact(Fact::CureRuleChanged(change.into()), shop.now().ms(), "bench", kept).await?;
    see_other(&format!("/cures/{id}"))
}
