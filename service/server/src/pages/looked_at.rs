//! The part of a cure's page that takes what somebody saw, with its two buttons: "not yet" and "there now"; and takes
//! back what was written down wrongly.

use actix_web::web;
use clock::{Bench, Cure};
use facts::{CureId, Fact, ObservationId, ObservationMade, Observing};

use super::{
    choice::Choice,
    cure::back,
    form::{Fields, new_key},
    frame::see_other,
};
use crate::{
    alerts::words::spoken,
    compose::{missing, new_id},
    problem::{Kind, Problem},
    routes::{Answer, Shop},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/cures/{id}/observed").route(web::post().to(observed)))
        .service(web::resource("/cures/{id}/observed/withdraw").route(web::post().to(withdraw)));
}

/// A stage by the rule's word and what it is called.
pub(super) struct Stage {
    pub(super) value: String,
    pub(super) text: String,
}

/// What may be looked for, and what was seen.
pub(super) struct LookedAt {
    pub(super) key: String,
    /// None for a cure that was withdrawn, which says nothing of its material.
    pub(super) stages: Vec<Stage>,
    /// Observations in order of time, in words.
    pub(super) seen: Vec<String>,
    /// Those that count and may be withdrawn.
    pub(super) standing: Vec<Choice>,
    /// Why one is withdrawn: a hand with glue on it types nothing.
    pub(super) reasons: [&'static str; 4],
}

const REASONS: [&str; 4] =
    ["written down by mistake", "the wrong piece", "the wrong stage", "it says nothing about the material"];

impl State {
    pub(super) fn looked_at(&self, bench: &Bench, cure: &Cure, now_ms: i64) -> LookedAt {
        let stages = cure.begun.milestones.iter().filter(|_| cure.withdrawn.is_none());
        let choice = |target: &facts::TargetAge| Stage { value: target.stage.clone(), text: spoken(&target.stage) };
        let mut seen: Vec<_> = bench.observations().values().filter(|o| o.made.cure == cure.begun.id).collect();
        seen.sort_by_key(|observation| observation.at_ms);
        let line = |observation: &clock::Observation| {
            let (stage, at) = (spoken(&observation.made.stage), self.clock_text(observation.at_ms, now_ms));
            let was = if observation.made.reached { "there" } else { "not yet" };
            format!("{stage}: {was} at {at}")
        };
        let with_state = |observation: &clock::Observation| match &observation.withdrawn {
            Some(reason) => format!("{} (withdrawn: {reason})", line(observation)),
            None => line(observation),
        };
        let standing = seen.iter().filter(|observation| observation.withdrawn.is_none());
        LookedAt {
            key: new_key(),
            stages: stages.map(choice).collect(),
            standing: standing.map(|o| Choice::new(o.made.id.as_str(), line(o), false)).collect(),
            seen: seen.into_iter().map(with_state).collect(),
            reasons: REASONS,
        }
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
    // Written down after the hands were washed it would be taken for later than it was seen.
    shop.say_fact(Fact::ObservationMade(made), fields.started_ms(&shop)?, "bench", kept).await?;
    back(&shop, &id, &fields)
}

async fn withdraw(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let observation: ObservationId = fields.id("observation")?.ok_or_else(|| missing("observation"))?;
    {
        let bench = shop.bench();
        let known = bench.observations().get(&observation).filter(|known| known.made.cure.as_str() == id.as_str());
        known.ok_or_else(|| Problem::not_found("observation", observation.as_str()))?;
    }
    let reason = fields.get("reason").unwrap_or_default().to_string();
    let kept = fields.answer(&format!("/cures/{id}/observed/withdraw"), &id);
    shop.say_fact(Fact::ObservationWithdrawn { observation, reason }, shop.now().ms(), "bench", kept).await?;
    see_other(&format!("/cures/{id}"))
}
