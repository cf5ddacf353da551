//! The clamps of the shop, each with what it holds, and adding one.

use actix_web::web;
use clock::Bench;
use facts::{ClampAdded, Fact};

use crate::{
    alerts::words::place,
    compose::new_id,
    pages::{form::Fields, frame::see_other},
    problem::Problem,
    routes::{Answer, Shop},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/clamps").route(web::post().to(add)));
}

/// A clamp and what it holds.
pub(super) struct ClampRow {
    pub(super) name: String,
    pub(super) kind: String,
    /// The glue-up it holds: its id and where that is; none while it is free.
    pub(super) on: Option<(String, String)>,
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
    match added(&shop, &fields).await {
        Ok(()) => see_other("/materials#clamps"),
        Err(problem) => super::wrong(&shop, &problem),
    }
}

async fn added(shop: &Shop, fields: &Fields) -> Result<(), Problem> {
    let said = |name: &str| fields.get(name).unwrap_or_default().to_string();
    let clamp = ClampAdded { id: new_id('k'), name: said("name"), clamp_kind: said("kind") };
    let kept = fields.answer("/clamps", clamp.id.as_str());
    shop.say_fact(Fact::ClampAdded(clamp), shop.now().ms(), "bench", kept).await.map(drop)
}
