//! Plates of an instrument, whose moisture is followed, and putting an instrument in another zone.

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use facts::{Cut, FacesOpen, Fact, InstrumentId, InstrumentMoved, PlateAdded, PlateId, RhPct, SpeciesGroup};
use serde::{Deserialize, Serialize};
use serde_json::json;
use store::Saying;

use super::{Answer, Paging, Shop, cures::Move};
use crate::{
    body::Body,
    compose::{When, new_id},
    openapi::Api,
    problem::{Kind, Problem},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/instruments/{id}/plates").route(web::get().to(list)).route(web::post().to(add)))
        .service(web::resource("/instruments/{id}/move").route(web::post().to(carry)));
}

pub(super) fn describe(api: &mut Api) {
    api.post("/instruments/{id}/move", "Carries an instrument and what cures on it to a zone")
        .takes::<Move>(json!({"zone": "bench"}))
        .gives::<MovedWire>();
    api.get("/instruments/{id}/plates", "Plates of an instrument").query::<Paging>(json!({})).lists::<PlateWire>();
    api.post("/instruments/{id}/plates", "Adds a plate")
        .takes::<Plate>(json!({"id": "top", "name": "top", "species": "spruce", "cut": "quarter", "thickness_mm": 2.8,
"width_mm": 400, "faces_open": "one"}))
        .makes::<PlateWire>();
}

/// An instrument of the shop by the id in the address.
pub(super) fn instrument(shop: &Shop, id: &str) -> Result<InstrumentId, Problem> {
    let bench = shop.bench();
    let known = bench.instruments().get(id).ok_or_else(|| Problem::not_found("instrument", id))?;
    Ok(known.id.clone())
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Plate {
    id: Option<PlateId>,
    name: String,
    #[schema(value_type = crate::twins::SpeciesGroup)]
    species: SpeciesGroup,
    #[schema(value_type = crate::twins::Cut)]
    cut: Cut,
    thickness_mm: f64,
    width_mm: f64,
    #[schema(value_type = crate::twins::FacesOpen)]
    faces_open: FacesOpen,
    /// Moisture content, if it was measured.
    moisture_pct: Option<f64>,
    /// The humidity it lived in until now, if that is what is known.
    lived_at_rh_pct: Option<f64>,
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct PlateWire {
    #[serde(flatten)]
    #[schema(value_type = crate::twins::PlateAdded)]
    added: PlateAdded,
    /// Change of its width per 1 % of moisture, and whose figure that is.
    change_per_pct: f64,
    change_of: &'static str,
    change_source: &'static str,
}

fn wire(plate: &clock::Plate) -> PlateWire {
    let movement = clock::movement(plate.added.species);
    PlateWire {
        added: plate.added.clone(),
        change_per_pct: movement.across(plate.added.cut),
        change_of: movement.species,
        change_source: movement.source,
    }
}

async fn list(shop: Shop, id: web::Path<String>, paging: web::Query<Paging>) -> Answer {
    let id = instrument(&shop, &id)?;
    let bench = shop.bench();
    let of_it = bench.plates().iter().filter(|(_, plate)| plate.added.instrument == id);
    Ok(HttpResponse::Ok().json(paging.part(of_it, wire)?))
}

async fn add(shop: Shop, instrument_id: web::Path<String>, body: Body<Plate>) -> Answer {
    let instrument = instrument(&shop, &instrument_id)?;
    let id = body.value.id.clone().unwrap_or_else(|| new_id('p'));
    let kept = body.answer(id.as_str());
    let Plate { name, species, cut, thickness_mm, width_mm, faces_open, .. } = body.value;
    let moisture_pct = match (body.value.moisture_pct, body.value.lived_at_rh_pct) {
        (Some(_), Some(_)) => {
            let detail = "both moisture_pct and lived_at_rh_pct are given";
            let mend = "send the one that was measured; without either, balance with the air of its zone is assumed";
            return Err(Problem::new(Kind::Invalid, detail, mend).about("lived_at_rh_pct"));
        }
        (None, Some(rh_pct)) => {
            let rh = RhPct::new(rh_pct).map_err(|e| Problem::from(e).about("lived_at_rh_pct"))?;
            Some(shop.settings.shop.target().moisture_at_pct(rh.get()))
        }
        (measured, None) => measured,
    };
    let at_ms = When { at: body.value.at, minutes_ago: body.value.minutes_ago }.ms(shop.now().ms())?;
    let fact = Fact::PlateAdded(PlateAdded {
        id: id.clone(),
        instrument,
        name,
        species,
        cut,
        thickness_mm,
        width_mm,
        faces_open,
        moisture_pct,
    });
    let said = shop.say_fact(fact, at_ms, "bench", kept).await?;
    let id = super::id_of(&said, id.as_str());
    let bench = shop.bench();
    let known = bench.plates().get(id.as_str()).ok_or_else(|| Problem::not_found("plate", &id))?;
    Ok(HttpResponse::Created().json(wire(known)))
}

#[derive(Serialize, utoipa::ToSchema)]
struct MovedWire {
    instrument: String,
    zone: String,
    since: String,
    /// Glue-ups and coats that cure on it and went along.
    carried: Vec<String>,
}

/// The instrument takes what cures on it along: one saying, so that they are never in two places.
async fn carry(shop: Shop, id: web::Path<String>, body: Body<Move>) -> Answer {
    let instrument = instrument(&shop, &id)?;
    let kept = body.answer(&id);
    let at_ms = When { at: body.value.at, minutes_ago: body.value.minutes_ago }.ms(shop.now().ms())?;
    let zone = body.value.zone;
    let carried = shop.bench().carried(&id, zone.as_str(), at_ms);
    let moved = Fact::InstrumentMoved(InstrumentMoved { instrument, zone: zone.clone() });
    let mut saying = shop.saying(moved, at_ms, "bench", vec![], kept);
    let along = carried.iter().map(|cure| Fact::CureMoved { cure: cure.clone(), zone: zone.clone() });
    let along: Vec<Saying> = along.map(|fact| shop.saying(fact, at_ms, "bench", vec![], None)).collect();
    saying.entries.extend(along.into_iter().flat_map(|saying| saying.entries));
    let said = shop.say_once(saying).await?;
    let carried = if matches!(said, store::Said::Before(_)) { vec![] } else { carried };
    let bench = shop.bench();
    let (zone, since_ms) = bench.place(&id).ok_or_else(|| Problem::not_found("instrument", &id))?;
    Ok(HttpResponse::Ok().json(MovedWire {
        instrument: id.to_string(),
        zone: zone.to_string(),
        since: shop.rfc3339(since_ms),
        carried: carried.iter().map(ToString::to_string).collect(),
    }))
}
