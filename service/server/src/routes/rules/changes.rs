//! Who changed which rule: every text that came in force, and every open cure that was moved to another, newest first.

use std::{collections::HashMap, sync::Arc};

use actix_web::{HttpResponse, web};
use facts::{Fact, Recorded};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Shop};
use crate::{openapi::Api, problem::Problem, state::State, wire::List};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/rule-changes").route(web::get().to(list)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/rule-changes", "Who changed which rule, newest first").query::<Before>(json!({})).lists::<ChangeWire>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[schema(as = RuleChangesBefore)]
#[serde(deny_unknown_fields)]
struct Before {
    /// Only those before this place in the journal: `next` of the part before.
    before: Option<i64>,
}

/// One change of what is judged by.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct ChangeWire {
    /// Place in the journal.
    pub(crate) seq: i64,
    pub(crate) at: String,
    /// Name of the token; `bench` from the service's own machine, `scripts` for a file that was edited.
    pub(crate) by: String,
    /// The material whose rule came in force; none where a cure was moved.
    pub(crate) material: Option<String>,
    /// The glue-up or coat that was moved to another rule; none where a rule came in force.
    pub(crate) cure: Option<String>,
    /// The version that counts from then on.
    pub(crate) version: String,
    /// The version before; none for the first of a material, and where a cure is moved the first time.
    pub(crate) replaced: Option<String>,
    /// Why it came in force though its own table fails.
    pub(crate) override_reason: Option<String>,
    /// The time once more, as a page reads it, ms.
    #[serde(skip)]
    pub(crate) at_ms: i64,
}

const PART: usize = 100;

async fn list(shop: Shop, asked: web::Query<Before>) -> Answer {
    let mut changes = changes(&shop).await?;
    changes.retain(|change| asked.before.is_none_or(|before| change.seq < before));
    let next = changes.get(PART).and_then(|_| changes.get(PART - 1)).map(|last| last.seq.to_string());
    changes.truncate(PART);
    Ok(HttpResponse::Ok().json(List { items: changes, next }))
}

/// Every change, newest first.
pub(crate) async fn changes(state: &Arc<State>) -> Result<Vec<ChangeWire>, Problem> {
    let mut facts = state.read(|database| database.facts_of("rule_put_in_force")).await?;
    facts.extend(state.read(|database| database.facts_of("cure_rule_changed")).await?);
    facts.sort_by_key(|fact| fact.seq);
    // What counted last, by material and by cure.
    let mut last: HashMap<String, String> = HashMap::new();
    let mut changes: Vec<_> = facts.into_iter().filter_map(|fact| wire(state, fact, &mut last)).collect();
    changes.reverse();
    Ok(changes)
}

fn wire(state: &State, recorded: Recorded, last: &mut HashMap<String, String>) -> Option<ChangeWire> {
    let at_ms = recorded.happened_at.timestamp_millis();
    let at = state.rfc3339(at_ms);
    let (material, cure, version, override_reason) = match recorded.fact {
        Fact::RulePutInForce(rule) => {
            (Some(rule.material.to_string()), None, rule.version.to_string(), rule.override_reason)
        }
        Fact::CureRuleChanged(change) => (None, Some(change.cure.to_string()), change.rule_version.to_string(), None),
        _ => return None,
    };
    let whose = format!("{material:?} {cure:?}");
    let replaced = last.insert(whose, version.clone());
    Some(ChangeWire {
        seq: recorded.seq,
        at,
        by: recorded.by,
        material,
        cure,
        version,
        replaced,
        override_reason,
        at_ms,
    })
}
