//! The rule workshop: a rule's text as it stands on disk, saving it, writing one from a data sheet, checking a draft.

pub(crate) mod changes;
pub(crate) mod trying;
pub(crate) mod versions;

use std::sync::{Arc, PoisonError};

use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder, http::header, web};
use facts::{MaterialId, VersionId};
use rules::{Class, DataSheet, ExpectedRow, Fault, FunctionDoc, Rule, Span};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Shop, materials::FaultWire};
use crate::{
    access,
    body::Body,
    openapi::Api,
    problem::{Kind, Problem},
    scripts::{self, Saving},
    state::{BENCH, State},
    wire::List,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/rules/functions").route(web::get().to(functions)))
        .service(web::resource("/rules/from-sheet").route(web::post().to(from_sheet)))
        .service(web::resource("/rules/check").route(web::post().to(check)))
        .configure(trying::configure)
        .configure(changes::configure)
        .configure(versions::configure)
        .service(web::resource("/rules/{material}").route(web::get().to(one)).route(web::put().to(save)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/rules/functions", "What a rule may call").gives::<Functions>();
    api.post("/rules/from-sheet", "Writes a rule from the numbers of a data sheet")
        .takes::<crate::twins::DataSheet>(
            json!({"material": "white-glue", "class": "aliphatic_resin", "clamp_off_h": 0.5}),
        )
        .gives::<WrittenWire>();
    api.post("/rules/check", "Checks the text of a rule")
        .takes::<Draft>(json!({"text": "fn describe() {}"}))
        .gives::<Checked>();
    api.get("/rules/{id}", "The rule of a material").gives::<RuleWire>();
    api.put("/rules/{id}", "Puts a rule in force")
        .replaces()
        .takes::<Save>(
            json!({"text": include_str!("../../../../scripts/materials/aliphatic-resin.rhai"), "by": "bench"}),
        )
        .gives::<RuleWire>();
    trying::describe(api);
    changes::describe(api);
    versions::describe(api);
}

/// The file a material's rule stands in; what a draft goes by in faults.
pub(crate) fn file_of(material: Option<&MaterialId>) -> String {
    material.map_or_else(|| "draft".into(), |material| format!("materials/{material}.rhai"))
}

/// A draft judged off the request's thread: the rule, and what its expected values came to.
pub(crate) async fn drafted(
    state: &Arc<State>,
    material: Option<&MaterialId>,
    text: String,
) -> Result<Result<(Rule, Vec<ExpectedRow>), Fault>, Problem> {
    let (book, file) = (state.rulebook.clone(), file_of(material));
    let judged = tokio::task::spawn_blocking(move || book.draft(&file, &text)).await;
    judged.map_err(|_| Problem::new(Kind::Internal, "the check did not end", "send it again; the log says more"))
}

#[derive(Serialize, utoipa::ToSchema)]
struct Functions {
    /// What a script may call besides the language's own.
    #[schema(value_type = Vec<crate::twins::FunctionDoc>)]
    items: Vec<FunctionDoc>,
    /// Classes a data sheet can be of, with their names.
    #[schema(value_type = Vec<(crate::twins::Class, String)>)]
    classes: Vec<(Class, &'static str)>,
    /// The whole reference: what a rule says, its functions and its limits, as Markdown.
    reference: String,
}

async fn functions() -> HttpResponse {
    HttpResponse::Ok().json(Functions {
        items: rules::functions().collect(),
        classes: Class::ALL.into_iter().map(|class| (class, class.name())).collect(),
        reference: rules::contract_markdown(),
    })
}

#[derive(Serialize, utoipa::ToSchema)]
struct WrittenWire {
    material: String,
    #[serde(flatten)]
    #[schema(value_type = crate::twins::Written)]
    written: rules::Written,
    #[schema(value_type = Vec<crate::twins::ExpectedRow>)]
    expected: Vec<ExpectedRow>,
}

async fn from_sheet(shop: Shop, body: Body<DataSheet>) -> Answer {
    let sheet = body.value;
    let written = sheet.script()?;
    let (_, expected) = drafted(&shop, Some(&sheet.material), written.text.clone()).await??;
    Ok(HttpResponse::Ok().json(WrittenWire { material: sheet.material.to_string(), written, expected }))
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Draft {
    #[serde(default)]
    material: Option<MaterialId>,
    text: String,
}

#[derive(Serialize, utoipa::ToSchema)]
struct Checked {
    version: String,
    /// Whether it could come in force as it is.
    good: bool,
    faults: Vec<FaultWire>,
    /// What its own table came to; empty while a fault stands before it.
    #[schema(value_type = Vec<crate::twins::ExpectedRow>)]
    expected: Vec<ExpectedRow>,
    /// Its words in order, in characters from the beginning, for whoever shows it.
    #[schema(value_type = Vec<crate::twins::Span>)]
    words: Vec<Span>,
}

async fn check(shop: Shop, body: Body<Draft>) -> Answer {
    let Draft { material, text } = body.value;
    let (version, words) = (Rule::version_of(&text).to_string(), rules::spans(&text));
    let checked = match drafted(&shop, material.as_ref(), text).await? {
        Ok((_, expected)) => {
            Checked { version, good: expected.iter().all(|row| row.met), faults: vec![], expected, words }
        }
        Err(fault) => Checked { version, good: false, faults: vec![(&fault).into()], expected: vec![], words },
    };
    Ok(HttpResponse::Ok().json(checked))
}

#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct RuleWire {
    pub(crate) material: String,
    /// Version of the text on disk: what If-Match must say to replace it. None where there is no file.
    pub(crate) version: Option<String>,
    pub(crate) text: String,
    /// Version in force, if any.
    pub(crate) in_force: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(crate) override_reason: Option<String>,
    /// Why the text on disk is not in force.
    pub(crate) faults: Vec<FaultWire>,
}

/// The text on disk; that in force where the file is gone.
pub(crate) fn wire(state: &State, material: &MaterialId) -> Result<RuleWire, Problem> {
    let in_force = state.bench().in_force().get(material).cloned();
    let stands = scripts::on_disk(state, material)?;
    let text = stands.clone().or_else(|| state.rulebook.text(in_force.as_ref()?));
    let faults = state.faults.read().unwrap_or_else(PoisonError::into_inner);
    Ok(RuleWire {
        material: material.to_string(),
        version: stands.as_deref().map(|text| Rule::version_of(text).to_string()),
        text: text.ok_or_else(|| Problem::not_found("rule", material.as_str()))?,
        override_reason: in_force.as_ref().and_then(|version| state.rulebook.excused(version)),
        in_force: in_force.map(|version| version.to_string()),
        faults: faults.get(&file_of(Some(material))).map(FaultWire::from).into_iter().collect(),
    })
}

fn answer(state: &State, material: &MaterialId, mut builder: HttpResponseBuilder) -> Answer {
    let wire = wire(state, material)?;
    if let Some(version) = &wire.version {
        builder.insert_header((header::ETAG, format!("\"{version}\"")));
    }
    Ok(builder.json(wire))
}

pub(crate) fn material(id: &str) -> Result<MaterialId, Problem> {
    Ok(MaterialId::new(id.to_string())?)
}

/// The material whose rule is asked for: none has an id that cannot be.
pub(crate) fn asked(id: &str) -> Result<MaterialId, Problem> {
    MaterialId::new(id.to_string()).map_err(|_| Problem::not_found("rule", id))
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    answer(&shop, &asked(&id)?, HttpResponse::Ok())
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Save {
    text: String,
    /// Why it is to come in force though its own table fails.
    #[serde(default)]
    override_reason: Option<String>,
    /// Who saves it.
    #[serde(default)]
    by: Option<String>,
}

async fn save(shop: Shop, request: HttpRequest, id: web::Path<String>, body: Body<Save>) -> Answer {
    let material = material(&id)?;
    let replaces = if_match(&request)?;
    let Save { text, override_reason, by } = body.value;
    let by = access::said_by(by.as_deref().unwrap_or(BENCH));
    scripts::save(&shop, Saving { material: material.clone(), text, replaces, by, override_reason }).await?;
    answer(&shop, &material, HttpResponse::Ok())
}

/// The version in If-Match, with or without its quotes.
fn if_match(request: &HttpRequest) -> Result<Option<VersionId>, Problem> {
    let Some(sent) = request.headers().get(header::IF_MATCH) else { return Ok(None) };
    let version = VersionId::new(sent.to_str().unwrap_or_default().trim().trim_matches('"').to_string());
    version.map(Some).map_err(|_| {
        let mend = "send the ETag of GET /api/v1/rules/{material} as it came";
        Problem::new(Kind::Malformed, "If-Match is no version of a rule", mend).about("If-Match")
    })
}

/// A list of what is there, for `GET /api/v1/rules/{material}/versions` and the like.
fn list<T: Serialize>(items: impl IntoIterator<Item = T>) -> Answer {
    Ok(HttpResponse::Ok().json(List::whole(items)))
}
