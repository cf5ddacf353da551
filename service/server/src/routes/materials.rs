//! Materials: the rules in force, what each says of itself, and the files that are not in force because of a fault.

use std::sync::PoisonError;

use actix_web::{HttpResponse, web};
use rules::{Fault, MaterialSheet};
use serde::Serialize;

use super::{Answer, Shop};
use crate::{problem::Problem, state::State};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/materials").route(web::get().to(list)))
        .service(web::resource("/materials/{id}").route(web::get().to(one)));
}

#[derive(Serialize)]
struct MaterialWire {
    id: String,
    rule_version: String,
    /// Why it is in force though its own expected values fail.
    #[serde(skip_serializing_if = "Option::is_none")]
    override_reason: Option<String>,
    #[serde(flatten)]
    sheet: MaterialSheet,
    #[serde(skip_serializing_if = "Option::is_none")]
    script: Option<String>,
}

/// A script that is not in force, and where it is to be mended.
#[derive(Serialize)]
pub(crate) struct FaultWire {
    file: String,
    line: usize,
    column: usize,
    what: String,
    mend: String,
}

impl std::fmt::Display for FaultWire {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.line {
            0 => write!(f, "{}; {}", self.what, self.mend),
            line => write!(f, "line {line}, column {}: {}; {}", self.column, self.what, self.mend),
        }
    }
}

#[derive(Serialize)]
struct Materials {
    items: Vec<MaterialWire>,
    /// Files whose last good version is still in force.
    faults: Vec<FaultWire>,
}

impl From<&Fault> for FaultWire {
    fn from(fault: &Fault) -> Self {
        let Fault { file, line, column, what, mend } = fault.clone();
        Self { file, line, column, what, mend }
    }
}

fn wire(
    state: &State,
    id: &facts::MaterialId,
    version: &facts::VersionId,
    whole: bool,
) -> Result<MaterialWire, Problem> {
    let rule = state.rulebook.rule(version)?;
    Ok(MaterialWire {
        id: id.to_string(),
        rule_version: version.to_string(),
        override_reason: state.rulebook.excused(version),
        sheet: rule.sheet.clone(),
        script: if whole { state.rulebook.text(version).map(|(_, text)| text) } else { None },
    })
}

async fn list(shop: Shop) -> Answer {
    let in_force = shop.bench().in_force().clone();
    let items = in_force.iter().map(|(id, version)| wire(&shop, id, version, false)).collect::<Result<_, _>>()?;
    let faults = shop.faults.read().unwrap_or_else(PoisonError::into_inner);
    Ok(HttpResponse::Ok().json(Materials { items, faults: faults.values().map(FaultWire::from).collect() }))
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    let known = shop.bench().in_force().get_key_value(id.as_str()).map(|(id, version)| (id.clone(), version.clone()));
    let (id, version) = known.ok_or_else(|| Problem::not_found("material", &id))?;
    Ok(HttpResponse::Ok().json(wire(&shop, &id, &version, true)?))
}
