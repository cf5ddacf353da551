//! The pages of the workshop: every rule, and one rule to edit. They work without a script; with one the text is checked
//! and coloured as it is typed.

use actix_web::{HttpResponse, web};
use askama::Template;
use facts::{MaterialId, VersionId};
use rules::FunctionDoc;
use serde::Deserialize;

use super::{
    form::Fields,
    frame::{Frame, see_other, show},
    rule_try::Tried,
    trial_form::TrialForm,
};
use crate::{
    access,
    problem::{Kind, Problem},
    routes::{
        Answer, Shop,
        rules::{
            asked,
            changes::{self, ChangeWire},
            file_of, material, wire,
        },
    },
    scripts::{self, Saving},
    state::BENCH,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/rules").route(web::get().to(all)))
        .service(web::resource("/rules/{material}").route(web::get().to(one)).route(web::post().to(save)))
        .service(web::resource("/rules/{material}/draft").route(web::post().to(draft)));
}

/// Every rule, and those files that are not in force.
#[derive(Template)]
#[template(path = "rules.html")]
struct RulesPage {
    frame: Frame,
    /// Id, name, version, why it is in force though its table fails.
    rules: Vec<(String, String, String, String)>,
    faults: Vec<String>,
    /// When, by whom, what; the newest first.
    changes: Vec<(String, String, String)>,
}

/// Changes shown on the page; the interface has them all.
const CHANGES: usize = 20;

fn what_changed(change: ChangeWire) -> String {
    let what = match (change.material, change.cure) {
        (Some(material), _) => format!("{material}, version {}", change.version),
        (None, cure) => format!("{} goes by version {}", cure.unwrap_or_default(), change.version),
    };
    let reason =
        change.override_reason.map_or_else(String::new, |reason| format!(" although its table fails: {reason}"));
    format!("{what}{reason}")
}

async fn all(shop: Shop) -> Answer {
    let now_ms = shop.now().ms();
    let said_of = |change: ChangeWire| (shop.clock_text(change.at_ms, now_ms), change.by.clone(), what_changed(change));
    let changes = changes::changes(&shop).await?;
    let in_force = shop.bench().in_force().clone();
    let row = |(id, version): (&MaterialId, &VersionId)| {
        let name = shop.rulebook.rule(version).map_or_else(|fault| fault.to_string(), |rule| rule.sheet.name.clone());
        (id.to_string(), name, version.to_string(), shop.rulebook.excused(version).unwrap_or_default())
    };
    let faults = shop.faults.read().unwrap_or_else(std::sync::PoisonError::into_inner);
    let page = RulesPage {
        frame: shop.frame("/rules"),
        rules: in_force.iter().map(row).collect(),
        changes: changes.into_iter().take(CHANGES).map(said_of).collect(),
        faults: faults.values().map(|fault| format!("{fault}; {}", fault.mend)).collect(),
    };
    show(&page, HttpResponse::Ok())
}

/// One rule to edit, and what came of trying it.
#[derive(Template)]
#[template(path = "rule.html")]
pub(super) struct RulePage {
    frame: Frame,
    material: String,
    text: String,
    /// Version of the text it replaces; empty for a new one.
    pub(super) version: String,
    in_force: String,
    excused: String,
    reason: String,
    by: String,
    pub(super) wrong: String,
    pub(super) said: String,
    form: TrialForm,
    pub(super) tried: Option<Tried>,
    functions: Vec<FunctionDoc>,
}

impl RulePage {
    pub(super) fn new(shop: &Shop, material: &MaterialId, text: String) -> Self {
        let in_force = shop.bench().in_force().get(material).map_or_else(String::new, ToString::to_string);
        Self {
            frame: shop.frame("/rules"),
            material: material.to_string(),
            text,
            version: String::new(),
            in_force,
            excused: String::new(),
            reason: String::new(),
            by: String::new(),
            wrong: String::new(),
            said: String::new(),
            form: TrialForm::new(shop, &Fields(vec![])),
            tried: None,
            functions: rules::functions().collect(),
        }
    }

    /// The page with what was filled in.
    pub(super) fn of_form(shop: &Shop, material: &MaterialId, fields: &Fields) -> Self {
        Self {
            version: field(fields, "version").unwrap_or_default().into(),
            reason: field(fields, "override_reason").unwrap_or_default().trim().into(),
            by: field(fields, "by").unwrap_or_default().trim().into(),
            form: TrialForm::new(shop, fields),
            ..Self::new(shop, material, Self::text_of(fields))
        }
    }

    /// The text that was sent. A form sends its lines with carriage returns, which no file here has.
    pub(super) fn text_of(fields: &Fields) -> String {
        field(fields, "text").unwrap_or_default().replace("\r\n", "\n")
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Wanted {
    /// A version it had in force, whose text is brought back to the editor.
    version: Option<VersionId>,
}

async fn one(shop: Shop, id: web::Path<String>, wanted: web::Query<Wanted>) -> Answer {
    let material = asked(&id)?;
    let wire = wire(&shop, &material)?;
    let fault = wire.faults.first().map_or_else(String::new, |fault| format!("This text is not in force: {fault}"));
    let (text, wrong, said) = match wanted.into_inner().version {
        Some(version) => {
            let text =
                shop.rulebook.text(&version).filter(|_| shop.rulebook.stood_in(&version, &file_of(Some(&material))));
            let text = text.ok_or_else(|| Problem::not_found("rule version", version.as_str()))?;
            (text, String::new(), format!("The text of version {version}, not saved yet."))
        }
        None => (wire.text, fault, String::new()),
    };
    let page = RulePage {
        version: wire.version.unwrap_or_default(),
        excused: wire.override_reason.unwrap_or_default(),
        wrong,
        said,
        ..RulePage::new(&shop, &material, text)
    };
    show(&page, HttpResponse::Ok())
}

/// A field as it was sent: the blanks of a script are its own.
pub(super) fn field<'a>(fields: &'a Fields, name: &str) -> Option<&'a str> {
    fields.0.iter().find(|(n, v)| n == name && !v.trim().is_empty()).map(|(_, v)| v.as_str())
}

async fn save(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let material = material(&id)?;
    let text = RulePage::text_of(&fields);
    let version = field(&fields, "version").map(str::to_string);
    let reason = field(&fields, "override_reason").map(|reason| reason.trim().to_string());
    let by = access::said_by(field(&fields, "by").unwrap_or(BENCH));
    let saved = async {
        let replaces = version.map(VersionId::new).transpose()?;
        let material = material.clone();
        scripts::save(&shop, Saving { material, text, replaces, by, override_reason: reason }).await
    };
    match saved.await {
        Ok(()) => see_other(&format!("/rules/{material}")),
        Err(problem) => {
            let page = RulePage { wrong: of_saving(&problem), ..RulePage::of_form(&shop, &material, &fields) };
            show(&page, HttpResponse::UnprocessableEntity())
        }
    }
}

/// Why a text was not saved, for whoever has it before them.
fn of_saving(problem: &Problem) -> String {
    match problem.kind {
        Kind::Changed | Kind::Unseen => format!(
            "{}; your text stands below and is not saved: open the rule beside it, see what was changed there, and put your \
             changes into that",
            problem.detail
        ),
        _ => problem.to_string(),
    }
}

/// Shows a draft in the editor, in place of the text it was made from; nothing is saved. A text saved meanwhile is not
/// written over: the draft says what it replaces.
async fn draft(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let material = material(&id)?;
    let stands = wire(&shop, &material)?.version;
    let made_from = field(&fields, "version").map(str::to_string);
    let changed = stands.is_some() && stands != made_from;
    let page = RulePage {
        version: stands.and(made_from).unwrap_or_default(),
        wrong: match changed {
            true => {
                "The file of this rule is not the text this draft was made from: it was edited or saved meanwhile. The \
                     draft cannot be saved over it; mend or save that text first, and make the draft anew."
                    .into()
            }
            false => String::new(),
        },
        said: "A draft, not saved yet: look at the numbers it changes.".into(),
        ..RulePage::new(&shop, &material, RulePage::text_of(&fields))
    };
    show(&page, HttpResponse::Ok())
}
