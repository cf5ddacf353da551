//! The pages of the workshop: every rule, one rule to edit, and a form to write one from a data sheet. They work without a
//! script; with one the text is checked and coloured as it is typed.

use actix_web::{HttpResponse, web};
use askama::Template;
use facts::{MaterialId, VersionId};
use rules::{Class, DataSheet, FunctionDoc};
use serde_json::{Map, Value};

use super::{
    form::Fields,
    frame::{Frame, see_other, show},
};
use crate::{
    access, body,
    problem::Problem,
    routes::{
        Answer, Shop,
        rules::{
            changes::{self, ChangeWire},
            drafted, material, wire,
        },
    },
    scripts::{self, Saving},
    state::BENCH,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/rules").route(web::get().to(all)))
        .service(web::resource("/rules/new").route(web::get().to(form)).route(web::post().to(write)))
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

fn said_of(change: ChangeWire) -> (String, String, String) {
    let what = match (change.material, change.cure) {
        (Some(material), _) => format!("{material}, version {}", change.version),
        (None, cure) => format!("{} goes by version {}", cure.unwrap_or_default(), change.version),
    };
    let reason =
        change.override_reason.map_or_else(String::new, |reason| format!(" although its table fails: {reason}"));
    (change.at, change.by, format!("{what}{reason}"))
}

async fn all(shop: Shop) -> Answer {
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

/// One rule to edit.
#[derive(Template)]
#[template(path = "rule.html")]
struct RulePage {
    frame: Frame,
    material: String,
    text: String,
    /// Version of the text it replaces; empty for a new one.
    version: String,
    in_force: String,
    excused: String,
    reason: String,
    wrong: String,
    said: String,
    functions: Vec<FunctionDoc>,
}

impl RulePage {
    fn new(shop: &Shop, material: &MaterialId, text: String) -> Self {
        Self {
            frame: shop.frame("/rules"),
            material: material.to_string(),
            text,
            version: String::new(),
            in_force: String::new(),
            excused: String::new(),
            reason: String::new(),
            wrong: String::new(),
            said: String::new(),
            functions: rules::functions().collect(),
        }
    }
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    let material = material(&id)?;
    let wire = wire(&shop, &material)?;
    let fault = wire.faults.first().map_or_else(String::new, |fault| format!("This text is not in force: {fault}"));
    let page = RulePage {
        version: wire.version.unwrap_or_default(),
        in_force: wire.in_force.unwrap_or_default(),
        excused: wire.override_reason.unwrap_or_default(),
        wrong: fault,
        ..RulePage::new(&shop, &material, wire.text)
    };
    show(&page, HttpResponse::Ok())
}

/// A field as it was sent: the blanks of a script are its own.
fn field<'a>(fields: &'a Fields, name: &str) -> Option<&'a str> {
    fields.0.iter().find(|(n, v)| n == name && !v.trim().is_empty()).map(|(_, v)| v.as_str())
}

async fn save(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let material = material(&id)?;
    // A form sends its lines with carriage returns, which no file here has.
    let text = field(&fields, "text").unwrap_or_default().replace("\r\n", "\n");
    let version = field(&fields, "version").map(str::to_string);
    let reason = field(&fields, "override_reason").map(|reason| reason.trim().to_string());
    let saved = async {
        let replaces = version.clone().map(VersionId::new).transpose()?;
        let (material, text, override_reason) = (material.clone(), text.clone(), reason.clone());
        scripts::save(&shop, Saving { material, text, replaces, by: access::said_by(BENCH), override_reason }).await
    };
    match saved.await {
        Ok(()) => see_other(&format!("/rules/{material}")),
        Err(problem) => {
            let page = RulePage {
                version: version.unwrap_or_default(),
                reason: reason.unwrap_or_default(),
                wrong: problem.to_string(),
                ..RulePage::new(&shop, &material, text)
            };
            show(&page, HttpResponse::UnprocessableEntity())
        }
    }
}

/// Shows a draft in the editor, in place of the text it would replace; nothing is saved.
async fn draft(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let material = material(&id)?;
    let wire = wire(&shop, &material)?;
    let text = field(&fields, "text").unwrap_or_default().replace("\r\n", "\n");
    let page = RulePage {
        version: wire.version.unwrap_or_default(),
        in_force: wire.in_force.unwrap_or_default(),
        said: "A draft, not saved yet: look at the numbers it changes.".into(),
        ..RulePage::new(&shop, &material, text)
    };
    show(&page, HttpResponse::Ok())
}

/// A field of the form: its name, what it asks, its unit.
struct Asked {
    name: &'static str,
    says: &'static str,
    value: String,
}

/// Writing a rule from a data sheet.
#[derive(Template)]
#[template(path = "rule_new.html")]
struct SheetPage {
    frame: Frame,
    wrong: String,
    material: String,
    name: String,
    /// Value, name, whether it is chosen.
    classes: Vec<(String, &'static str, bool)>,
    asked: Vec<Asked>,
}

const NUMBERS: [(&str, &str); 20] = [
    ("temp_c", "The times hold at, °C"),
    ("rh_pct", "... and at, % relative humidity"),
    ("clamp_off_h", "Glue: clamp time, h"),
    ("full_strength_h", "Glue: full strength, h"),
    ("open_time_min", "Glue: open time, min"),
    ("working_life_min", "Working life of a mix, min"),
    ("dust_free_h", "Finish: dust free, h"),
    ("recoat_opens_h", "Finish: recoat from, h"),
    ("recoat_closes_h", "Finish: recoat before, h"),
    ("sandable_h", "Finish: sand from, h"),
    ("dry_through_h", "Finish: dry through, h"),
    ("film_um", "Finish: wet film, µm"),
    ("min_temp_c", "Minimum temperature, °C"),
    ("film_forming_c", "Film-forming temperature, °C"),
    ("min_rh_pct", "Humidity at least, %"),
    ("max_rh_pct", "Humidity at most, %"),
    ("storage_days", "Keeps opened, days"),
    ("q10", "So much faster 10 K warmer"),
    ("second_temp_c", "Or: the same time at another temperature, °C"),
    ("second_hours", "... is, h"),
];

fn sheet_page(shop: &Shop, fields: Option<&Fields>, wrong: String) -> SheetPage {
    let said = |name: &str| fields.and_then(|fields| field(fields, name)).unwrap_or_default().to_string();
    let class = |class: Class| {
        let value = serde_json::to_value(class).ok().and_then(|v| v.as_str().map(str::to_string)).unwrap_or_default();
        let chosen = value == said("class");
        (value, class.name(), chosen)
    };
    SheetPage {
        frame: shop.frame("/rules"),
        wrong,
        material: said("material"),
        name: said("name"),
        classes: Class::ALL.map(class).to_vec(),
        asked: NUMBERS.map(|(name, says)| Asked { name, says, value: said(name) }).into(),
    }
}

async fn form(shop: Shop) -> Answer {
    show(&sheet_page(&shop, None, String::new()), HttpResponse::Ok())
}

/// Shows the script it wrote, to be looked at and saved; nothing is saved yet.
async fn write(shop: Shop, fields: Fields) -> Answer {
    let written = async {
        let sheet = read(&fields)?;
        let written = sheet.script()?;
        let (_, rows) = drafted(&shop, Some(&sheet.material), written.text.clone()).await??;
        Ok::<_, Problem>((sheet, written, rows.len()))
    };
    match written.await {
        Ok((sheet, written, rows)) => {
            let said = format!(
                "Written from the sheet and not saved yet. It gives the sheet's own {rows} value(s). Assumed from the \
                 class: {}.",
                written.assumed.join(", ")
            );
            show(&RulePage { said, ..RulePage::new(&shop, &sheet.material, written.text) }, HttpResponse::Ok())
        }
        Err(problem) => {
            show(&sheet_page(&shop, Some(&fields), problem.to_string()), HttpResponse::UnprocessableEntity())
        }
    }
}

/// The form's fields as the sheet the interface takes.
fn read(fields: &Fields) -> Result<DataSheet, Problem> {
    let number = |name: &'static str| Ok::<_, Problem>(fields.number(name)?.map(Value::from));
    let mut sheet = Map::new();
    for name in ["material", "name", "class"] {
        if let Some(said) = field(fields, name) {
            sheet.insert(name.into(), said.trim().into());
        }
    }
    for (name, _) in NUMBERS.iter().filter(|(name, _)| !name.starts_with("second")) {
        number(name)?.into_iter().for_each(|value| drop(sheet.insert((*name).into(), value)));
    }
    let second = [("temp_c", number("second_temp_c")?), ("hours", number("second_hours")?)];
    if second.iter().any(|(_, value)| value.is_some()) {
        let second = second.into_iter().filter_map(|(name, value)| Some((name.to_string(), value?)));
        sheet.insert("second".into(), Value::Object(second.collect()));
    }
    serde_json::from_value(Value::Object(sheet)).map_err(|e| body::of_reader(&e))
}
