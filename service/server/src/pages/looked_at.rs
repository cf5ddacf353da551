//! The part of a cure's page that takes what somebody saw, with its two buttons: "not yet" and "there now".

use actix_web::web;
use clock::{Bench, Cure};
use facts::{CureId, Fact, ObservationMade, Observing};

use super::{
    form::{Fields, new_key},
    frame::see_other,
};
use crate::{
    alerts::words::spoken,
    compose::new_id,
    problem::{Kind, Problem},
    routes::{Answer, Shop},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/cures/{id}/observed").route(web::post().to(observed)));
}

/// A stage by the rule's word and what it is called.
pub(crate) struct Stage {
    pub(crate) value: String,
    pub(crate) text: String,
}

/// What may be looked for, and what was seen.
pub(crate) struct LookedAt {
    pub(crate) key: String,
    /// None for a cure that was withdrawn, which says nothing of its
    /// material.
    pub(crate) stages: Vec<Stage>,
    /// Observations in order of time, in words.
    pub(crate) seen: Vec<String>,
}

impl State {
    pub(crate) fn looked_at(&self, bench: &Bench, cure: &Cure, now_ms: i64) -> LookedAt {
        let stages = cure.begun.milestones.iter().filter(|_| cure.withdrawn.is_none());
        let choice = |target: &facts::TargetAge| Stage { value: target.stage.clone(), text: spoken(&target.stage) };
        LookedAt { key: new_key(), stages: stages.map(choice).collect(), seen: self.seen_of(bench, cure, now_ms) }
    }

    fn seen_of(&self, bench: &Bench, cure: &Cure, now_ms: i64) -> Vec<String> {
        let mut seen: Vec<_> = bench.observations().values().filter(|o| o.made.cure == cure.begun.id).collect();
        seen.sort_by_key(|observation| observation.at_ms);
        let line = |observation: &clock::Observation| {
            let (stage, at) = (spoken(&observation.made.stage), self.clock_text(observation.at_ms, now_ms));
            let was = if observation.made.reached { "there" } else { "not yet" };
            let withdrawn = if observation.withdrawn.is_some() { " (withdrawn)" } else { "" };
            format!("{stage}: {was} at {at}{withdrawn}")
        };
        seen.into_iter().map(line).collect()
    }
}

async fn observed(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let cure: CureId = {
        let bench = shop.bench();
        let known = bench.cure(&id).map(|cure| cure.begun.id.clone());
        known.ok_or_else(|| Problem::not_found("glue-up or coat", &id))?
    };
    let by: Observing = serde_json::from_value(fields.get("by").unwrap_or_default().into()).map_err(|_| {
        Problem::new(Kind::Invalid, "there is no such way of looking", "choose one of the list").about("by")
    })?;
    let stage = fields.get("stage").unwrap_or_default().to_string();
    let reached = fields.get("reached") == Some("true");
    let made = ObservationMade { id: new_id('o'), cure, stage, reached, by, note: String::new() };
    let kept = fields.answer(&format!("/cures/{id}/observed"), &id);
    shop.say_fact(Fact::ObservationMade(made), fields.pressed_ms(shop.now().ms())?, "bench", kept).await?;
    see_other(&format!("/cures/{id}"))
}
