//! Every version of a rule that was in force: its text, since when, by whom, and what changed between two.

use std::sync::Arc;

use actix_web::{HttpResponse, web};
use clock::Cure;
use facts::{Fact, MaterialId, RulePutInForce, VersionId};
use serde::{Deserialize, Serialize};
use serde_json::json;
use similar::TextDiff;

use super::{Answer, Shop, asked, list};
use crate::{openapi::Api, problem::Problem, state::State};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/rules/{material}/versions").route(web::get().to(all)))
        .service(web::resource("/rules/{material}/versions/{version}").route(web::get().to(one)))
        .service(web::resource("/rules/{material}/diff").route(web::get().to(diff)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/rules/{id}/versions", "Versions of a rule, newest first").lists::<VersionWire>();
    api.get("/rules/{id}/versions/{version}", "One version").gives::<VersionWire>();
    api.get("/rules/{id}/diff", "What differs between two versions").query::<Between>(json!({})).gives::<DiffWire>();
}

/// One time that a version was in force.
#[derive(Serialize, utoipa::ToSchema)]
struct VersionWire {
    version: String,
    from: String,
    /// When another came in its place; none for the one in force.
    until: Option<String>,
    by: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    override_reason: Option<String>,
    /// Open glue-ups and coats that go by it.
    open_cures: usize,
    #[serde(skip_serializing_if = "Option::is_none")]
    text: Option<String>,
}

/// What was put in force for a material, oldest first: when, by whom, what.
pub(crate) type History = Vec<(i64, String, RulePutInForce)>;

/// Every text a material had in force.
///
/// # Errors
/// When it never had a rule.
pub(crate) async fn history(state: &Arc<State>, material: &MaterialId) -> Result<History, Problem> {
    let facts = state.read(|database| database.facts_of("rule_put_in_force")).await?;
    let of_material = facts.into_iter().filter_map(|recorded| match recorded.fact {
        Fact::RulePutInForce(rule) if rule.material == *material => {
            Some((recorded.happened_at.timestamp_millis(), recorded.by, rule))
        }
        _ => None,
    });
    let found: Vec<_> = of_material.collect();
    match found.is_empty() {
        true => Err(Problem::not_found("rule", material.as_str())),
        false => Ok(found),
    }
}

fn wires(state: &State, history: History, whole: bool) -> Vec<VersionWire> {
    let bench = state.bench();
    // Two materials may have the same text.
    let open = |rule: &RulePutInForce| {
        let goes_by = |cure: &&Cure| {
            cure.is_open() && cure.begun.material == rule.material && cure.begun.rule_version == rule.version
        };
        bench.cures().iter().filter(goes_by).count()
    };
    let ends: Vec<_> = history.iter().skip(1).map(|(from_ms, ..)| Some(*from_ms)).chain([None]).collect();
    let wire = |((from_ms, by, rule), until_ms): ((i64, String, RulePutInForce), Option<i64>)| VersionWire {
        open_cures: open(&rule),
        version: rule.version.to_string(),
        from: state.rfc3339(from_ms),
        until: until_ms.map(|ms| state.rfc3339(ms)),
        by,
        override_reason: rule.override_reason,
        text: whole.then_some(rule.text),
    };
    // Newest first.
    history.into_iter().zip(ends).rev().map(wire).collect()
}

async fn all(shop: Shop, id: web::Path<String>) -> Answer {
    let history = history(&shop, &asked(&id)?).await?;
    list(wires(&shop, history, false))
}

async fn one(shop: Shop, path: web::Path<(String, String)>) -> Answer {
    let (id, version) = path.into_inner();
    let history = history(&shop, &asked(&id)?).await?;
    let newest = wires(&shop, history, true).into_iter().find(|wire| wire.version == version);
    Ok(HttpResponse::Ok().json(newest.ok_or_else(|| Problem::not_found("rule version", &version))?))
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Between {
    /// The older text; the one before the version in force if not said.
    from: Option<VersionId>,
    /// The newer text; the one in force if not said.
    to: Option<VersionId>,
}

impl Between {
    /// The two texts meant.
    ///
    /// # Errors
    /// When one of them was never in force.
    pub(crate) fn of<'a>(&self, history: &'a History) -> Result<[&'a RulePutInForce; 2], Problem> {
        let last = history.len() - 1;
        let find = |version: &Option<VersionId>, default: usize| match version {
            None => Ok(&history[default].2),
            Some(version) => {
                let found = history.iter().rfind(|(_, _, rule)| rule.version == *version).map(|(_, _, rule)| rule);
                found.ok_or_else(|| Problem::not_found("rule version", version.as_str()))
            }
        };
        Ok([find(&self.from, last.saturating_sub(1))?, find(&self.to, last)?])
    }
}

#[derive(Serialize, utoipa::ToSchema)]
struct DiffWire {
    from: String,
    to: String,
    /// Unified format, as `diff -u` writes it; empty when nothing changed.
    unified: String,
}

async fn diff(shop: Shop, id: web::Path<String>, between: web::Query<Between>) -> Answer {
    let history = history(&shop, &asked(&id)?).await?;
    let [from, to] = between.of(&history)?;
    let changes = TextDiff::from_lines(&from.text, &to.text);
    let header = |rule: &RulePutInForce| format!("{} {}", rule.file, rule.version);
    let unified = changes.unified_diff().header(&header(from), &header(to)).to_string();
    Ok(HttpResponse::Ok().json(DiffWire { from: from.version.to_string(), to: to.version.to_string(), unified }))
}
