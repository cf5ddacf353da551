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

/// A field of the form: its name, what it asks in which unit, what was said.
struct Asked {
    name: &'static str,
    says: String,
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

/// What a number of the form is in.
#[derive(Clone, Copy)]
enum In {
    /// What is asked says it.
    Said,
    /// Degrees of the shop.
    Degrees,
    /// Ten kelvin, in degrees of the shop.
    TenKelvin,
    /// What the shop says thin films in.
    Thin,
}

/// Each number: its field of the form, that of the sheet, what is asked, in what.
const NUMBERS: [(&str, &str, &str, In); 20] = [
    ("temp", "temp_c", "The times hold at", In::Degrees),
    ("rh_pct", "rh_pct", "... and at, % relative humidity", In::Said),
    ("clamp_off_h", "clamp_off_h", "Glue: clamp time, h", In::Said),
    ("full_strength_h", "full_strength_h", "Glue: full strength, h", In::Said),
    ("open_time_min", "open_time_min", "Glue: open time, min", In::Said),
    ("working_life_min", "working_life_min", "Working life of a mix, min", In::Said),
    ("dust_free_h", "dust_free_h", "Finish: dust free, h", In::Said),
    ("recoat_opens_h", "recoat_opens_h", "Finish: recoat from, h", In::Said),
    ("recoat_closes_h", "recoat_closes_h", "Finish: recoat before, h", In::Said),
    ("sandable_h", "sandable_h", "Finish: sand from, h", In::Said),
    ("dry_through_h", "dry_through_h", "Finish: dry through, h", In::Said),
    ("film", "film_um", "Finish: wet film", In::Thin),
    ("min_temp", "min_temp_c", "Minimum temperature", In::Degrees),
    ("film_forming", "film_forming_c", "Film-forming temperature", In::Degrees),
    ("min_rh_pct", "min_rh_pct", "Humidity at least, %", In::Said),
    ("max_rh_pct", "max_rh_pct", "Humidity at most, %", In::Said),
    ("storage_days", "storage_days", "Keeps opened, days", In::Said),
    ("q10", "q10", "So many times faster when warmer by", In::TenKelvin),
    (SECOND[0], "temp_c", "Or: clamp time (a finish: recoat from) at another temperature", In::Degrees),
    (SECOND[1], "hours", "... is, h", In::Said),
];
/// Those that belong to a second temperature.
const SECOND: [&str; 2] = ["second_temp", "second_hours"];

fn sheet_page(shop: &Shop, fields: Option<&Fields>, wrong: String) -> SheetPage {
    let said = |name: &str| fields.and_then(|fields| field(fields, name)).unwrap_or_default().to_string();
    let class = |class: Class| {
        let value = serde_json::to_value(class).ok().and_then(|v| v.as_str().map(str::to_string)).unwrap_or_default();
        let chosen = value == said("class");
        (value, class.name(), chosen)
    };
    let (temp, thin) = (shop.settings.shop.temp_unit, shop.settings.shop.length_unit.thin().0);
    let asked = |(name, _, says, is_in): (&'static str, _, &str, In)| {
        let says = match is_in {
            In::Said => says.to_string(),
            In::Degrees => format!("{says}, {}", temp.sign()),
            In::TenKelvin => format!("{says} {} {}", temp.of_difference(10.0), temp.sign()),
            In::Thin => format!("{says}, {thin}"),
        };
        Asked { name, says, value: said(name) }
    };
    SheetPage {
        frame: shop.frame("/rules"),
        wrong,
        material: said("material"),
        name: said("name"),
        classes: Class::ALL.map(class).to_vec(),
        asked: NUMBERS.map(asked).into(),
    }
}

async fn form(shop: Shop) -> Answer {
    show(&sheet_page(&shop, None, String::new()), HttpResponse::Ok())
}

/// Shows the script it wrote, to be looked at and saved; nothing is saved yet.
async fn write(shop: Shop, fields: Fields) -> Answer {
    let written = async {
        let sheet = read(&shop, &fields)?;
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
fn read(shop: &Shop, fields: &Fields) -> Result<DataSheet, Problem> {
    let (temp, um) = (shop.settings.shop.temp_unit, shop.settings.shop.length_unit.thin().1);
    let mut sheet = Map::new();
    for name in ["material", "name", "class"] {
        if let Some(said) = field(fields, name) {
            sheet.insert(name.into(), said.trim().into());
        }
    }
    let mut second = Map::new();
    for (name, of_sheet, _, is_in) in NUMBERS {
        let Some(said) = fields.number(name)? else { continue };
        let si = match is_in {
            In::Said | In::TenKelvin => said,
            In::Degrees => hundredths(temp.celsius(said)),
            In::Thin => hundredths(said * um),
        };
        let into = if SECOND.contains(&name) { &mut second } else { &mut sheet };
        into.insert(of_sheet.into(), Value::from(si));
    }
    if !second.is_empty() {
        sheet.insert("second".into(), Value::Object(second));
    }
    serde_json::from_value(Value::Object(sheet)).map_err(|e| body::of_reader(&e))
}

/// A rule is read by people: 70 °F stands in it as 21.11 °C.
fn hundredths(number: f64) -> f64 {
    (number * 100.0).round() / 100.0
}
