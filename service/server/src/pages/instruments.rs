//! The instruments of the shop, each with whether it may be strung, and adding one.

use actix_web::{HttpResponse, ResponseError, web};
use askama::Template;
use clock::StringUp;
use facts::{Fact, InstrumentAdded, InstrumentId, Stage};

use super::{
    choice::{Choice, FAMILIES},
    form::{Fields, new_key},
    frame::{Frame, see_other, show},
};
use crate::{
    alerts::words::{ESTIMATE, spoken},
    compose::new_id,
    problem::Problem,
    routes::{Answer, Shop},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/instruments").route(web::get().to(all)).route(web::post().to(add)));
}

/// An instrument with its answer.
struct InstrumentCard {
    id: String,
    name: String,
    /// Its family and the zone it is in, as far as they were said.
    about: String,
    says: String,
    ready: bool,
    /// Whether somebody said which strings it is to have.
    strung: bool,
}

#[derive(Template)]
#[template(path = "instruments.html")]
struct InstrumentsPage {
    frame: Frame,
    key: String,
    wrong: String,
    name: String,
    families: Vec<Choice>,
    instruments: Vec<InstrumentCard>,
    estimate: &'static str,
}

async fn all(shop: Shop) -> Answer {
    show(&page(&shop, &Fields(vec![]), String::new()).await?, HttpResponse::Ok())
}

async fn page(shop: &Shop, fields: &Fields, wrong: String) -> Result<InstrumentsPage, Problem> {
    let known: Vec<(InstrumentId, String, String)> = {
        let bench = shop.bench();
        let zone = |id: &str| bench.place(id).and_then(|(zone, _)| bench.zone(zone.as_str())).map(|zone| &zone.name);
        let about = |of: &InstrumentAdded| {
            let words = [Some(&of.family), zone(of.id.as_str())].into_iter().flatten();
            words.filter(|words| !words.is_empty()).map(String::as_str).collect::<Vec<_>>().join(", ")
        };
        bench.instruments().values().map(|of| (of.id.clone(), of.name.clone(), about(of))).collect()
    };
    let mut instruments = Vec::new();
    for (id, name, about) in known {
        let up = shop.string_up(&id).await?;
        instruments.push(InstrumentCard {
            id: id.to_string(),
            name,
            about,
            says: up.as_ref().map_or_else(|| "Nobody said which strings it is to have.".into(), |up| shop.said_of(up)),
            ready: up.as_ref().is_some_and(|up| up.ready() && !at_pitch(up)),
            strung: up.is_some(),
        });
    }
    instruments.sort_by_key(|card| (!card.ready, !card.strung));
    let family = fields.get("family").unwrap_or_default();
    Ok(InstrumentsPage {
        frame: shop.frame("/instruments"),
        key: fields.get("key").map_or_else(new_key, str::to_string),
        wrong,
        name: fields.get("name").unwrap_or_default().into(),
        families: FAMILIES.map(|(word, _)| Choice::new(word, spoken(word), word == family)).into(),
        instruments,
        estimate: ESTIMATE,
    })
}

fn at_pitch(up: &StringUp) -> bool {
    up.strung.stages.contains_key(&Stage::FullPitch)
}

async fn add(shop: Shop, fields: Fields) -> Answer {
    let name = fields.get("name").unwrap_or_default().to_string();
    let family = fields.get("family").map(spoken).unwrap_or_default();
    let added = InstrumentAdded { id: new_id('i'), name, family };
    let kept = fields.answer("/instruments", added.id.as_str());
    match shop.say_fact(Fact::InstrumentAdded(added), shop.now().ms(), "bench", kept).await {
        Ok(_) => see_other("/instruments"),
        Err(wrong) => {
            let builder = HttpResponse::build(wrong.status_code());
            show(&page(&shop, &fields, wrong.to_string()).await?, builder)
        }
    }
}
