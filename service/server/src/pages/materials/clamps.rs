//! The clamps of the shop, each with what it holds, and adding one.

use actix_web::web;
use clock::Bench;
use facts::{ClampAdded, ClampId, Fact};

use crate::{
    alerts::words::place,
    compose::new_id,
    pages::{form::Fields, frame::see_other},
    problem::Problem,
    routes::{Answer, Shop},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/clamps").route(web::post().to(add)))
        .service(web::resource("/clamps/{id}/put-away").route(web::post().to(put_away)))
        .service(web::resource("/clamps/{id}/bring-back").route(web::post().to(bring_back)));
}

/// A clamp and what it holds.
pub(super) struct ClampRow {
    pub(super) id: String,
    pub(super) name: String,
    pub(super) kind: String,
    /// The glue-up it holds: its id and where that is; none while it is free.
    pub(super) on: Option<(String, String)>,
    pub(super) away: bool,
    /// When that lets it go, as far as it can be told.
    pub(super) free: String,
}

impl State {
    /// Every clamp by its name.
    pub(super) fn clamp_rows(&self, bench: &Bench, now_ms: i64) -> Vec<ClampRow> {
        let row = |line: &clock::ClampLine<'_>| {
            let added = &bench.clamps().get(line.clamp)?.added;
            let on = line.on.and_then(|id| bench.cure(id.as_str()));
            let free = line.free_ms.filter(|_| on.is_some());
            Some(ClampRow {
                id: line.clamp.to_string(),
                away: line.away,
                name: added.name.clone(),
                kind: added.clamp_kind.clone(),
                on: on.map(|cure| (cure.begun.id.to_string(), place(bench, cure))),
                free: free.map_or_else(String::new, |at_ms| format!("may come off {}", self.clock_text(at_ms, now_ms))),
            })
        };
        let mut rows: Vec<ClampRow> = bench.clamp_lines(now_ms).iter().filter_map(row).collect();
        rows.sort_by(|a, b| a.name.cmp(&b.name));
        rows
    }
}

async fn add(shop: Shop, fields: Fields) -> Answer {
    went(&shop, added(&shop, &fields).await)
}

async fn put_away(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    went(&shop, changed(&shop, &id, &fields, "put-away", |clamp| Fact::ClampPutAway { clamp }).await)
}

async fn bring_back(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    went(&shop, changed(&shop, &id, &fields, "bring-back", |clamp| Fact::ClampBroughtBack { clamp }).await)
}

fn went(shop: &Shop, said: Result<(), Problem>) -> Answer {
    match said {
        Ok(()) => see_other("/materials#clamps"),
        Err(problem) => super::wrong(shop, &problem),
    }
}

async fn added(shop: &Shop, fields: &Fields) -> Result<(), Problem> {
    let said = |name: &str| fields.get(name).unwrap_or_default().to_string();
    let clamp = ClampAdded { id: new_id('k'), name: said("name"), clamp_kind: said("kind") };
    let kept = fields.answer("/clamps", clamp.id.as_str());
    shop.say_fact(Fact::ClampAdded(clamp), shop.now().ms(), "bench", kept).await.map(drop)
}

async fn changed(shop: &Shop, id: &str, fields: &Fields, what: &str, fact: fn(ClampId) -> Fact) -> Result<(), Problem> {
    let clamp = shop.clamp_named(id)?;
    let kept = fields.answer(&format!("/clamps/{id}/{what}"), id);
    shop.say_fact(fact(clamp), fields.pressed_ms(shop.now().ms())?, "bench", kept).await.map(drop)
}
