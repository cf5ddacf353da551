//! A mix: how much of each for what is wanted, and registering the pot once it is stirred.

use std::collections::BTreeMap;

use actix_web::{HttpResponse, ResponseError, web};
use askama::Template;
use facts::{Fact, LotId, MaterialId};
use rules::By;

use super::{
    choice::{self, Choice},
    form::{Fields, new_key},
    frame::{Frame, see_other, show},
};
use crate::{
    compose::missing,
    now::instant,
    problem::Problem,
    routes::{
        Answer, Shop,
        mixes::{Amounts, HowMuch, Mixed, amounts_of, made},
    },
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/mix").route(web::get().to(ask)).route(web::post().to(stir)));
}

/// A component as it is to be measured out, and as it was.
struct Part {
    name: String,
    amount: String,
    /// Its field of the form; empty for thinner, whose share is asked for instead.
    field: String,
    measured: String,
}

/// What stands before a component's name in its field.
const MEASURED: &str = "measured ";

#[derive(Template)]
#[template(path = "mix.html")]
struct MixPage {
    frame: Frame,
    key: String,
    wrong: String,
    materials: Vec<Choice>,
    zones: Vec<Choice>,
    lots: Vec<Choice>,
    started: Vec<Choice>,
    clock: String,
    material: String,
    wanted_ml: String,
    thinner_pct: String,
    /// What to measure out; empty before anything was asked.
    parts: Vec<Part>,
    /// In what they are measured.
    unit: &'static str,
    working_life_min: f64,
    cautions: Vec<String>,
}

fn how_much(fields: &Fields) -> Result<HowMuch, Problem> {
    Ok(HowMuch {
        material: fields.id("material")?.ok_or_else(|| missing("material"))?,
        wanted_ml: fields.number("wanted_ml")?.ok_or_else(|| missing("wanted_ml"))?,
        thinner_pct: fields.number("thinner_pct")?.unwrap_or(0.0),
    })
}

async fn ask(shop: Shop, asked: web::Query<Vec<(String, String)>>) -> Answer {
    let fields = Fields(asked.into_inner());
    if fields.0.is_empty() {
        return show(&page(&shop, &fields, None, String::new()), HttpResponse::Ok());
    }
    match how_much(&fields).and_then(|asked| amounts_of(&shop, &asked)) {
        Ok(amounts) => show(&page(&shop, &fields, Some(amounts), String::new()), HttpResponse::Ok()),
        Err(wrong) => {
            let builder = HttpResponse::build(wrong.status_code());
            show(&page(&shop, &fields, None, wrong.to_string()), builder)
        }
    }
}

fn page(shop: &Shop, fields: &Fields, amounts: Option<Amounts>, wrong: String) -> MixPage {
    let bench = shop.bench();
    let said = |name: &str| fields.get(name).unwrap_or_default().to_string();
    let mixed = |(id, version): (&MaterialId, &facts::VersionId)| {
        let rule = shop.rulebook.rule(version).ok()?;
        rule.sheet.mix.as_ref()?;
        Some(Choice::new(id.as_str(), &rule.sheet.name, said("material") == id.as_str()))
    };
    let by = amounts.as_ref().map(|amounts| amounts.by);
    let thinned = how_much(fields).is_ok_and(|asked| asked.thinner_pct > 0.0);
    let of_ratio = amounts.as_ref().map_or(0, |amounts| amounts.parts.len() - usize::from(thinned));
    let part = |(i, part): (usize, &facts::MixPart)| Part {
        field: if i < of_ratio { format!("{MEASURED}{}", part.name) } else { String::new() },
        measured: said(&format!("{MEASURED}{}", part.name)),
        name: part.name.clone(),
        amount: match by {
            Some(By::Weight) => format!("{:.2} g ({:.2} ml)", part.g, part.ml),
            _ => format!("{:.2} ml ({:.2} g)", part.ml, part.g),
        },
    };
    MixPage {
        frame: shop.frame("/coats"),
        key: fields.get("key").map_or_else(new_key, str::to_string),
        wrong,
        materials: bench.in_force().iter().filter_map(mixed).collect(),
        zones: choice::zones(&bench, |id| said("zone") == id),
        lots: choice::lots(&bench, |id| fields.all("lot").any(|lot| lot == id)),
        started: choice::started(|value| fields.get("started").unwrap_or("0") == value),
        clock: said("clock"),
        material: said("material"),
        wanted_ml: said("wanted_ml"),
        thinner_pct: said("thinner_pct"),
        parts: amounts.as_ref().map_or_else(Vec::new, |amounts| amounts.parts.iter().enumerate().map(part).collect()),
        unit: if by == Some(By::Weight) { "g" } else { "ml" },
        working_life_min: amounts.as_ref().map_or(0.0, |amounts| amounts.working_life_min),
        cautions: amounts.map_or_else(Vec::new, |amounts| amounts.cautions),
    }
}

async fn stir(shop: Shop, fields: Fields) -> Answer {
    match stirred(&shop, &fields).await {
        Ok(()) => see_other("/coats#pots"),
        Err(wrong) => {
            let amounts = how_much(&fields).and_then(|asked| amounts_of(&shop, &asked)).ok();
            let builder = HttpResponse::build(wrong.status_code());
            show(&page(&shop, &fields, amounts, wrong.to_string()), builder)
        }
    }
}

/// What was really measured, by component; none where nobody said.
fn measured(fields: &Fields) -> Result<Option<BTreeMap<String, f64>>, Problem> {
    let names = fields.0.iter().filter_map(|(field, _)| Some((field, field.strip_prefix(MEASURED)?)));
    let amounts = names.filter_map(|(field, name)| Some((name.to_string(), fields.number(field).transpose()?)));
    let amounts: BTreeMap<_, _> = amounts.map(|(name, amount)| Ok((name, amount?))).collect::<Result<_, Problem>>()?;
    Ok((!amounts.is_empty()).then_some(amounts))
}

async fn stirred(shop: &Shop, fields: &Fields) -> Result<(), Problem> {
    let HowMuch { material, wanted_ml, thinner_pct } = how_much(fields)?;
    let lots = fields.all("lot").map(|id| Ok(LotId::new(id.to_string())?));
    let measured = measured(fields)?;
    let asked = Mixed {
        id: None,
        material,
        zone: fields.id("zone")?.ok_or_else(|| missing("zone"))?,
        wanted_ml: measured.is_none().then_some(wanted_ml),
        measured,
        thinner_pct,
        lots: lots.collect::<Result<_, Problem>>()?,
        at: Some(instant(fields.started_ms(shop)?)),
        minutes_ago: None,
        warn_min: None,
    };
    let (made, at_ms) = made(shop, asked)?;
    let kept = fields.answer("/mix", made.id.as_str());
    shop.say_fact(Fact::MixMade(Box::new(made)), at_ms, "bench", kept).await?;
    Ok(())
}
