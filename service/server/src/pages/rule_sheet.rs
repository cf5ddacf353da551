//! Writing a rule from the numbers of a data sheet: a form, and the script it writes, shown in the editor to be looked at
//! and saved.

use actix_web::{HttpResponse, web};
use askama::Template;
use rules::{Class, DataSheet};
use serde_json::{Map, Value};

use super::{
    form::Fields,
    frame::{Frame, show},
    rules::{RulePage, field},
};
use crate::{
    body,
    problem::Problem,
    routes::{
        Answer, Shop,
        rules::{drafted, wire},
    },
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/rules/new").route(web::get().to(form)).route(web::post().to(write)));
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
    ("second_temp_c", "Or: clamp time (a finish: recoat from) at another temperature, °C"),
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
            let stands = wire(&shop, &sheet.material).ok().and_then(|rule| rule.version);
            let replaces = match stands {
                Some(_) => " There is a rule of that name already: saved, this takes its place.",
                None => "",
            };
            let mut page = RulePage::new(&shop, &sheet.material, written.text);
            page.version = stands.unwrap_or_default();
            page.said = format!(
                "Written from the sheet and not saved yet.{replaces} It gives the sheet's own {rows} value(s). Assumed from \
                 the class: {}.",
                written.assumed.join(", ")
            );
            show(&page, HttpResponse::Ok())
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
