//! Observations: how far a glue-up or coat was when somebody looked. What is seen often enough fits the rule.

use std::collections::HashMap;

use actix_web::{HttpResponse, HttpResponseBuilder, web};
use chrono::{DateTime, Utc};
use clock::{Bench, Law, Observation};
use facts::{CureId, Fact, ObservationId, ObservationMade, Observing, VersionId};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Paging, Shop};
use crate::{
    body::Body,
    compose::{When, new_id},
    openapi::Api,
    problem::Problem,
    state::State,
    wire::ClimateWire,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/observations").route(web::get().to(list)).route(web::post().to(observe)))
        .service(web::resource("/observations/{id}").route(web::get().to(one)))
        .service(web::resource("/observations/{id}/withdraw").route(web::post().to(withdraw)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/observations", "What was seen of cures").query::<Wanted>(json!({})).lists::<ObservationWire>();
    api.post("/observations", "Says what was seen of a cure")
        .takes::<Observe>(
            json!({"id": "seen-1", "cure": "coat-1", "stage": "sandable", "reached": false, "by": "thumbnail"}),
        )
        .makes::<ObservationWire>();
    api.get("/observations/{id}", "One observation").gives::<ObservationWire>();
    api.post("/observations/{id}/withdraw", "Withdraws an observation")
        .takes::<Withdraw>(json!({"reason": "the wrong piece"}))
        .gives::<ObservationWire>();
}

/// What somebody saw.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Observe {
    id: Option<ObservationId>,
    cure: CureId,
    stage: String,
    reached: bool,
    #[serde(default)]
    #[schema(value_type = crate::twins::Observing)]
    by: Observing,
    #[serde(default)]
    note: String,
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct ObservationWire {
    id: String,
    cure: String,
    material: String,
    stage: String,
    reached: bool,
    #[schema(value_type = crate::twins::Observing)]
    by: Observing,
    note: String,
    at: String,
    /// Age it had by the rule it began with, reference hours; none when that rule cannot be run any more.
    age_h: Option<f64>,
    /// Temperature at which that age was gathered, in the mean, °C.
    mean_temp_c: Option<f64>,
    climate: Option<ClimateWire>,
    #[serde(skip_serializing_if = "Option::is_none")]
    withdrawn: Option<String>,
}

/// Laws of rule versions and modes, made before the bench is looked at: a script may have to run for one.
type LawOf = HashMap<(VersionId, String), Law>;

fn laws(state: &State, which: impl Iterator<Item = (VersionId, String)>) -> LawOf {
    let law = |(version, mode): (VersionId, String)| {
        let law = state.rulebook.rule(&version).and_then(|rule| rule.law(&mode)).ok()?;
        Some(((version, mode), law))
    };
    which.collect::<std::collections::HashSet<_>>().into_iter().filter_map(law).collect()
}

fn key(bench: &Bench, observation: &Observation) -> Option<(VersionId, String)> {
    let begun = &bench.cure(observation.made.cure.as_str())?.begun;
    Some((begun.rule_version.clone(), begun.mode.clone()))
}

fn wire(state: &State, bench: &Bench, laws: &LawOf, observation: &Observation) -> ObservationWire {
    let Observation { made, at_ms, withdrawn } = observation;
    let cure = bench.cure(made.cure.as_str());
    let law = key(bench, observation).and_then(|key| laws.get(&key));
    let doses = cure.zip(law).map(|(cure, law)| bench.doses(cure, *at_ms, law));
    let age_h = doses.as_ref().map(|of| of.doses.iter().map(|dose| dose.age_h).sum::<f64>());
    let warmth = doses.as_ref().map(|of| of.doses.iter().map(|dose| dose.age_h * dose.temp_c).sum::<f64>());
    let rounded = |value: f64| (value * 1e4).round() / 1e4;
    ObservationWire {
        id: made.id.to_string(),
        cure: made.cure.to_string(),
        material: cure.map_or_else(String::new, |cure| cure.begun.material.to_string()),
        stage: made.stage.clone(),
        reached: made.reached,
        by: made.by,
        note: made.note.clone(),
        at: state.rfc3339(*at_ms),
        age_h: age_h.map(rounded),
        mean_temp_c: warmth.zip(age_h).filter(|(_, age_h)| *age_h > 0.0).map(|(warmth, age_h)| rounded(warmth / age_h)),
        climate: doses.map(|of| state.climate_wire(of.climate)),
        withdrawn: withdrawn.clone(),
    }
}

/// Which observations are wanted.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Wanted {
    /// Of one glue-up or coat.
    cure: Option<String>,
    /// Of one material.
    material: Option<String>,
    after: Option<String>,
    limit: Option<usize>,
}

async fn list(shop: Shop, wanted: web::Query<Wanted>) -> Answer {
    let Wanted { cure, material, after, limit } = wanted.into_inner();
    let of = |bench: &Bench, observation: &Observation| {
        let made = &observation.made;
        let of_material = |material: &String| {
            bench.cure(made.cure.as_str()).is_some_and(|cure| cure.begun.material.as_str() == material)
        };
        cure.as_ref().is_none_or(|cure| made.cure.as_str() == cure) && material.as_ref().is_none_or(of_material)
    };
    let laws = {
        let keys: Vec<_> = {
            let bench = shop.bench();
            bench.observations().values().filter(|o| of(&bench, o)).filter_map(|o| key(&bench, o)).collect()
        };
        laws(&shop, keys.into_iter())
    };
    let bench = shop.bench();
    let all = bench.observations().iter().filter(|(_, observation)| of(&bench, observation));
    let part = Paging { after, limit }.part(all, |observation| wire(&shop, &bench, &laws, observation))?;
    Ok(HttpResponse::Ok().json(part))
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    answer(&shop, &id, HttpResponse::Ok())
}

fn answer(shop: &Shop, id: &str, mut builder: HttpResponseBuilder) -> Answer {
    let which = {
        let bench = shop.bench();
        bench.observations().get(id).and_then(|observation| key(&bench, observation))
    };
    let laws = laws(shop, which.into_iter());
    let bench = shop.bench();
    let observation = bench.observations().get(id).ok_or_else(|| Problem::not_found("observation", id))?;
    Ok(builder.json(wire(shop, &bench, &laws, observation)))
}

async fn observe(shop: Shop, body: Body<Observe>) -> Answer {
    let (said, once) = body.split();
    let at_ms = When { at: said.at, minutes_ago: said.minutes_ago }.ms(shop.now().ms())?;
    let id = said.id.unwrap_or_else(|| new_id('o'));
    let Observe { cure, stage, reached, by, note, .. } = said;
    let fact = Fact::ObservationMade(ObservationMade { id: id.clone(), cure, stage, reached, by, note });
    let said = shop.say_fact(fact, at_ms, "bench", once.answer(id.as_str())).await?;
    answer(&shop, &super::id_of(&said, id.as_str()), HttpResponse::Created())
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = WithdrawObservation)]
struct Withdraw {
    reason: String,
}

async fn withdraw(shop: Shop, id: web::Path<String>, body: Body<Withdraw>) -> Answer {
    let observation = {
        let bench = shop.bench();
        let known = bench.observations().get_key_value(id.as_str()).map(|(id, _)| id.clone());
        known.ok_or_else(|| Problem::not_found("observation", &id))?
    };
    let kept = body.answer(&id);
    let fact = Fact::ObservationWithdrawn { observation, reason: body.value.reason };
    shop.say_fact(fact, shop.now().ms(), "bench", kept).await?;
    answer(&shop, &id, HttpResponse::Ok())
}
