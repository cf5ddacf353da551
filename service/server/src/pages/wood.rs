//! The wood of one instrument: where it is, what its plates hold, when they are back in the shop's band, and how far a crack
//! closes. The plates are run beside the requests.

mod crack;
mod plate;

use actix_web::{HttpResponse, web};
use askama::Template;
use clock::Wood;
use facts::{Fact, PlateAdded};

use self::{
    crack::CrackCard,
    plate::{PlateCard, unplaced},
};
use super::{
    choice::{self, Choice, WOODS},
    form::{Fields, new_key},
    frame::{Frame, or_again, show},
};
use crate::{
    alerts::words::ESTIMATE,
    compose::missing,
    problem::Problem,
    routes::{
        Answer, Shop,
        moisture::{BASIS, run},
        plates::{Plate, carried, instrument, named},
    },
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/instruments/{id}/wood").route(web::get().to(one)))
        .service(web::resource("/instruments/{id}/plates").route(web::post().to(add)))
        .service(web::resource("/instruments/{id}/move").route(web::post().to(carry)));
}

#[derive(Template)]
#[template(path = "wood.html")]
struct WoodPage {
    frame: Frame,
    key: String,
    wrong: String,
    id: String,
    name: String,
    part: &'static str,
    /// Where it is and what that air makes of wood; empty while nobody said.
    place: Vec<String>,
    zones: Vec<Choice>,
    plates: Vec<PlateCard>,
    crack: Option<CrackCard>,
    /// What was asked about a crack: plate and width.
    crack_in: Vec<Choice>,
    crack_mm: String,
    woods: Vec<Choice>,
    cuts: Vec<Choice>,
    faces: Vec<Choice>,
    /// Name, what it asks, what stands in it.
    asked: Vec<(&'static str, &'static str, String)>,
    basis: &'static str,
    estimate: &'static str,
}

const CUTS: [(&str, &str); 2] = [("quarter", "quarter-sawn"), ("flat", "flat-sawn")];
const FACES: [(&str, &str); 2] = [("one", "one, as a top"), ("both", "both, as a brace")];
const ASKED: [(&str, &str); 4] = [
    ("thickness_mm", "Thickness, mm"),
    ("width_mm", "Width across the grain, mm"),
    ("moisture_pct", "Moisture, %, if measured"),
    ("lived_at_rh_pct", "… or the humidity it lived in, % RH"),
];

async fn page(shop: &Shop, id: &str, fields: &Fields, mut wrong: String) -> Result<WoodPage, Problem> {
    let instrument = instrument(shop, id)?;
    let now_ms = shop.now().ms();
    let wood = shop.bench().wood(&instrument, now_ms);
    let plates: Vec<PlateAdded> = {
        let bench = shop.bench();
        let of_it = bench.plates().values().filter(|plate| plate.added.instrument == instrument);
        of_it.map(|plate| plate.added.clone()).collect()
    };
    let crack = match wood.as_ref().filter(|_| fields.get("crack_mm").is_some()) {
        Some(wood) => crack::asked(shop, wood, fields, id).await.map(Some).unwrap_or_else(|problem| {
            wrong = problem.to_string();
            None
        }),
        None => None,
    };
    let place = wood.as_ref().map_or_else(Vec::new, |wood| shop.place_said(wood, now_ms));
    let here = wood.as_ref().map(|wood| wood.zone.clone());
    let cards = match wood {
        Some(wood) => {
            let cards = move |state: &State, wood: &Wood| -> Vec<PlateCard> {
                let target = state.settings.shop.target();
                wood.runs().map(|run| state.plate_card(&run, target, now_ms)).collect()
            };
            run(shop, wood, cards).await?
        }
        None => plates.iter().map(unplaced).collect(),
    };
    let (bench, text) = (shop.bench(), |name: &str| fields.get(name).unwrap_or_default().to_string());
    let list = |name: &str, all: &[(&str, &str)]| {
        all.iter().map(|(value, says)| Choice::new(*value, *says, text(name) == *value)).collect()
    };
    Ok(WoodPage {
        frame: shop.frame("/instruments"),
        key: new_key(),
        wrong,
        id: id.into(),
        name: bench.instruments().get(&instrument).map_or_else(String::new, |of| of.name.clone()),
        part: "Wood",
        place,
        zones: choice::zones(&bench, |zone| here.as_ref().is_some_and(|here| here.as_str() == zone)),
        plates: cards,
        crack,
        crack_in: plates.iter().map(|p| Choice::new(p.id.as_str(), &p.name, text("plate") == p.id.as_str())).collect(),
        crack_mm: text("crack_mm"),
        woods: WOODS.map(|(word, _)| Choice::new(word, word, text("species") == word)).into(),
        cuts: list("cut", &CUTS),
        faces: list("faces_open", &FACES),
        asked: ASKED.map(|(name, says)| (name, says, text(name))).into(),
        basis: BASIS,
        estimate: ESTIMATE,
    })
}

impl State {
    fn place_said(&self, wood: &Wood, now_ms: i64) -> Vec<String> {
        let bench = self.bench();
        let zone = bench.zone(wood.zone.as_str()).map_or(wood.zone.as_str(), |zone| &zone.name);
        let (low_pct, high_pct) = self.settings.shop.target().moisture_pct();
        let assumed = if wood.climate.is_assumed() { " Part of that air is assumed." } else { "" };
        vec![
            format!("In {zone} since {}.{assumed}", self.clock_text(wood.since_ms, now_ms)),
            format!(
                "Its air draws wood to {:.1} % of moisture now, {:.1} % over the week; the shop's band is {low_pct:.1} to \
                 {high_pct:.1} %.",
                wood.emc_now_pct, wood.emc_week_pct
            ),
        ]
    }
}

async fn one(shop: Shop, id: web::Path<String>, asked: web::Query<Vec<(String, String)>>) -> Answer {
    show(&page(&shop, &id, &Fields(asked.into_inner()), String::new()).await?, HttpResponse::Ok())
}

async fn back(shop: &Shop, id: &str, fields: &Fields, done: Result<(), Problem>) -> Answer {
    let to = format!("/instruments/{id}/wood");
    or_again(&to, done, async |wrong| page(shop, id, fields, wrong).await).await
}

async fn add(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let done = async {
        let said = Plate {
            id: None,
            name: fields.get("name").unwrap_or_default().into(),
            species: fields.word("species")?.ok_or_else(|| missing("species"))?,
            cut: fields.word("cut")?.ok_or_else(|| missing("cut"))?,
            thickness_mm: fields.number("thickness_mm")?.ok_or_else(|| missing("thickness_mm"))?,
            width_mm: fields.number("width_mm")?.ok_or_else(|| missing("width_mm"))?,
            faces_open: fields.word("faces_open")?.ok_or_else(|| missing("faces_open"))?,
            moisture_pct: fields.number("moisture_pct")?,
            lived_at_rh_pct: fields.number("lived_at_rh_pct")?,
            at: None,
            minutes_ago: None,
        };
        let (added, at_ms) = named(&shop, &id, said)?;
        let kept = fields.answer(&format!("/instruments/{id}/plates"), added.id.as_str());
        shop.say_fact(Fact::PlateAdded(added), at_ms, "bench", kept).await?;
        Ok(())
    };
    let done = done.await;
    back(&shop, &id, &fields, done).await
}

async fn carry(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let done = async {
        let zone = fields.id("zone")?.ok_or_else(|| missing("zone"))?;
        let at_ms = fields.pressed_ms(shop.now().ms())?;
        let kept = fields.answer(&format!("/instruments/{id}/move"), &id);
        carried(&shop, &id, &zone, at_ms, kept).await?;
        Ok(())
    };
    let done = done.await;
    back(&shop, &id, &fields, done).await
}
