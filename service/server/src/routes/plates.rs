//! Plates of an instrument, whose moisture is followed, and putting an instrument in another zone.

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use facts::{
    CureId, Cut, FacesOpen, Fact, InstrumentId, InstrumentMoved, PlateAdded, PlateId, RhPct, SpeciesGroup, ZoneId,
};
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
pub(crate) fn instrument(shop: &Shop, id: &str) -> Result<InstrumentId, Problem> {
    let bench = shop.bench();
    let known = bench.instruments().get(id).ok_or_else(|| Problem::not_found("instrument", id))?;
    Ok(known.id.clone())
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Plate {
    pub(crate) id: Option<PlateId>,
    pub(crate) name: String,
    #[schema(value_type = crate::twins::SpeciesGroup)]
    pub(crate) species: SpeciesGroup,
    #[schema(value_type = crate::twins::Cut)]
    pub(crate) cut: Cut,
    pub(crate) thickness_mm: f64,
    pub(crate) width_mm: f64,
    #[schema(value_type = crate::twins::FacesOpen)]
    pub(crate) faces_open: FacesOpen,
    /// Moisture content, if it was measured.
    pub(crate) moisture_pct: Option<f64>,
    /// The humidity it lived in until now, if that is what is known.
    pub(crate) lived_at_rh_pct: Option<f64>,
    pub(crate) at: Option<DateTime<Utc>>,
    pub(crate) minutes_ago: Option<f64>,
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
    let (said, once) = body.split();
    let (added, at_ms) = named(&shop, &instrument_id, said)?;
    let id = added.id.clone();
    let said = shop.say_fact(Fact::PlateAdded(added), at_ms, "bench", once.answer(id.as_str())).await?;
    let id = super::id_of(&said, id.as_str());
    let bench = shop.bench();
    let known = bench.plates().get(id.as_str()).ok_or_else(|| Problem::not_found("plate", &id))?;
    Ok(HttpResponse::Created().json(wire(known)))
}

/// The fact a plate is, and when it was said, ms.
///
/// # Errors
/// No such instrument, or a moisture said twice or out of range.
pub(crate) fn named(shop: &Shop, instrument_id: &str, said: Plate) -> Result<(PlateAdded, i64), Problem> {
    let instrument = instrument(shop, instrument_id)?;
    let Plate { name, species, cut, thickness_mm, width_mm, faces_open, .. } = said;
    let moisture_pct = match (said.moisture_pct, said.lived_at_rh_pct) {
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
    let at_ms = When { at: said.at, minutes_ago: said.minutes_ago }.ms(shop.now().ms())?;
    let id = said.id.unwrap_or_else(|| new_id('p'));
    let added = PlateAdded { id, instrument, name, species, cut, thickness_mm, width_mm, faces_open, moisture_pct };
    Ok((added, at_ms))
}

#[derive(Serialize, utoipa::ToSchema)]
struct MovedWire {
    instrument: String,
    zone: String,
    since: String,
    /// Glue-ups and coats that cure on it and went along.
    carried: Vec<String>,
}

async fn carry(shop: Shop, id: web::Path<String>, body: Body<Move>) -> Answer {
    let (said, once) = body.split();
    let at_ms = When { at: said.at, minutes_ago: said.minutes_ago }.ms(shop.now().ms())?;
    let carried = carried(&shop, &id, &said.zone, at_ms, once.answer(&id)).await?;
    let bench = shop.bench();
    let (zone, since_ms) = bench.place(&id).ok_or_else(|| Problem::not_found("instrument", &id))?;
    Ok(HttpResponse::Ok().json(MovedWire {
        instrument: id.to_string(),
        zone: zone.to_string(),
        since: shop.rfc3339(since_ms),
        carried: carried.iter().map(ToString::to_string).collect(),
    }))
}

/// The instrument takes what cures on it along: one saying, so that they are never in two places. Gives what went along.
///
/// # Errors
/// No such instrument or zone, or a move before the last one.
pub(crate) async fn carried(
    shop: &Shop,
    id: &str,
    zone: &ZoneId,
    at_ms: i64,
    answer: Option<store::Answer>,
) -> Result<Vec<CureId>, Problem> {
    let instrument = instrument(shop, id)?;
    let carried = shop.bench().carried(id, zone.as_str(), at_ms);
    let moved = Fact::InstrumentMoved(InstrumentMoved { instrument, zone: zone.clone() });
    let mut saying = shop.saying(moved, at_ms, "bench", vec![], answer);
    let along = carried.iter().map(|cure| Fact::CureMoved { cure: cure.clone(), zone: zone.clone() });
    let along: Vec<Saying> = along.map(|fact| shop.saying(fact, at_ms, "bench", vec![], None)).collect();
    saying.entries.extend(along.into_iter().flat_map(|saying| saying.entries));
    let said = shop.say_once(saying).await?;
    Ok(if matches!(said, store::Said::Before(_)) { vec![] } else { carried })
}
