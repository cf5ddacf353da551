//! How the strings load a joint: the path of their pull, with measures of its own or those usual in its family.

use actix_web::{HttpResponse, web};
use clock::{PATHS, lacks, stress, usual_load, wood_bound};
use facts::{Fact, Family, JointId, JointLoaded, LoadPath, SpeciesGroup};
use serde::{Deserialize, Serialize};
use serde_json::json;
use serde_json::{Map, Value};

use super::{Answer, Shop};
use crate::{
    body::Body,
    openapi::Api,
    problem::{Kind, Problem},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/joints/{id}/load").route(web::get().to(show)).route(web::post().to(say)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/joints/{id}/load", "How the strings load a joint").or(&[Kind::Conflict]).gives::<LoadWire<'static>>();
    api.post("/joints/{id}/load", "Says how the strings load a joint")
        .takes::<Load>(json!({"path": "bridge_foot"}))
        .makes::<LoadWire<'static>>();
}

/// How a joint is loaded, as it is said.
#[derive(Deserialize, utoipa::ToSchema)]
pub(crate) struct Load {
    pub(crate) path: String,
    #[schema(value_type = Option<crate::twins::SpeciesGroup>)]
    pub(crate) wood: Option<SpeciesGroup>,
    #[serde(default)]
    pub(crate) starved: bool,
    #[serde(default)]
    pub(crate) reopened: bool,
    #[serde(default)]
    pub(crate) sound: bool,
    /// Measures of the path; those left out are the family's.
    #[serde(flatten)]
    pub(crate) measures: Map<String, Value>,
}

/// The joint in the address, and the family of its instrument.
fn joint(shop: &Shop, id: &str) -> Result<(JointId, Option<Family>), Problem> {
    let bench = shop.bench();
    let joint = bench.joints().get(id).ok_or_else(|| Problem::not_found("joint", id))?;
    Ok((joint.id.clone(), bench.family(joint.instrument.as_str())))
}

fn invalid(detail: String, mend: String, field: &str) -> Problem {
    Problem::new(Kind::Invalid, detail, mend).about(field)
}

/// The path with the measures given, and those of the family where none is.
fn filled(load: &Load, family: Option<Family>) -> Result<(LoadPath, SpeciesGroup), Problem> {
    if !PATHS.contains(&load.path.as_str()) {
        let mend = format!("send one of {}", PATHS.join(", "));
        return Err(invalid(format!("\"{}\" is no load path", load.path), mend, "path"));
    }
    let usual = family.and_then(|family| usual_load(family, &load.path));
    // What a path is made of is learnt from a family that has all of them.
    let shape = usual.or_else(|| usual_load(Family::SteelStringGuitar, &load.path));
    let (shape, wood) = shape.expect("a steel-string guitar has every path");
    let Ok(Value::Object(mut fields)) = serde_json::to_value(shape) else { unreachable!("a path is an object") };
    if let Some((unknown, _)) = load.measures.iter().find(|(name, _)| !fields.contains_key(*name)) {
        let names: Vec<&str> = fields.keys().map(String::as_str).filter(|name| *name != "path").collect();
        let mend = format!("{} takes {}", load.path, names.join(", "));
        return Err(invalid(format!("\"{unknown}\" is no measure of this path"), mend, unknown));
    }
    let missing = fields.keys().find(|name| *name != "path" && !load.measures.contains_key(*name));
    if let (None, Some(missing)) = (usual, missing) {
        let (why, mend) = match family.and_then(|family| lacks(family, &load.path)) {
            Some(why) => {
                (format!("nothing is usual in its family: {why}"), "send every measure, if this one is built so")
            }
            None => (
                "what is usual in this instrument's family is not known".into(),
                "send every measure, or the family of the instrument with its strings",
            ),
        };
        return Err(invalid(format!("{missing} is missing, and {why}"), mend.into(), missing));
    }
    fields.extend(load.measures.clone());
    let path = serde_json::from_value(Value::Object(fields));
    let path =
        path.map_err(|e| invalid(e.to_string(), "measures are numbers in millimetres and degrees".into(), "path"))?;
    Ok((path, load.wood.unwrap_or(wood)))
}

async fn say(shop: Shop, id: web::Path<String>, body: Body<Load>) -> Answer {
    let kept = body.answer(&id);
    let fact = Fact::JointLoaded(loaded(&shop, &id, &body.value)?);
    shop.say_fact(fact, shop.now().ms(), "bench", kept).await?;
    answer(&shop, &id, HttpResponse::Created())
}

/// The fact a load is, with the family's measures where none are given.
///
/// # Errors
/// No such joint, no such path, or a measure that is missing or wrong.
pub(crate) fn loaded(shop: &Shop, id: &str, said: &Load) -> Result<JointLoaded, Problem> {
    let (joint, family) = joint(shop, id)?;
    let (load, wood) = filled(said, family)?;
    let Load { starved, reopened, sound, .. } = *said;
    Ok(JointLoaded { joint, load, wood, starved, reopened, sound })
}

async fn show(shop: Shop, id: web::Path<String>) -> Answer {
    joint(&shop, &id)?;
    answer(&shop, &id, HttpResponse::Ok())
}

#[derive(Serialize, utoipa::ToSchema)]
struct LoadWire<'a> {
    #[serde(flatten)]
    #[schema(value_type = crate::twins::JointLoaded)]
    said: &'a JointLoaded,
    bound_shear_mpa: f64,
    bound_peel_mpa: f64,
    bound_species: &'static str,
    bound_source: &'static str,
    /// At full pitch of the strings the instrument is to have.
    #[serde(skip_serializing_if = "Option::is_none")]
    shear_mpa: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    peel_mpa: Option<f64>,
}

fn answer(shop: &Shop, id: &str, mut builder: actix_web::HttpResponseBuilder) -> Answer {
    let bench = shop.bench();
    let said = bench.loads().get(id).ok_or_else(|| {
        let mend = format!("POST /api/v1/joints/{id}/load with a path, one of {}", PATHS.join(", "));
        Problem::new(Kind::Conflict, format!("nobody has said how the strings load \"{id}\""), mend)
    })?;
    let bound = wood_bound(said.wood);
    let strung = bench.joints().get(id).and_then(|joint| bench.strung(joint.instrument.as_str()));
    let pulls = strung.map(|strung| clock::Pulls::of(&strung.fitted));
    let stress = pulls.and_then(|pulls| stress(&said.load, &pulls).ok().flatten());
    let tenths = |mpa: f64| (mpa * 1e4).round() / 1e4;
    Ok(builder.json(LoadWire {
        said,
        bound_shear_mpa: bound.shear_mpa,
        bound_peel_mpa: bound.peel_mpa,
        bound_species: bound.species,
        bound_source: bound.source,
        shear_mpa: stress.map(|stress| tenths(stress.shear_mpa)),
        peel_mpa: stress.map(|stress| tenths(stress.peel_mpa)),
    }))
}
