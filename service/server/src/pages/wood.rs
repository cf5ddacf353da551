//! The wood of one instrument: where it is, what its plates hold, when they are back in the shop's band, and how far a crack
//! closes. The plates are run beside the requests.

use actix_web::{HttpResponse, ResponseError, web};
use askama::Template;
use clock::{Run, Start, Target, Times, Wood};
use facts::{Cut, FacesOpen, Fact, PlateAdded};

use self::crack::CrackCard;
use super::{
    choice::{self, Choice, WOODS},
    form::{Fields, new_key},
    frame::{Frame, see_other, show},
};
use crate::{
    alerts::words::ESTIMATE,
    compose::missing,
    problem::Problem,
    routes::{
        Answer, Shop,
        moisture::{BASIS, run, waits_badly},
        plates::{Plate, carried, instrument, named},
    },
    state::State,
};

mod crack;

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/instruments/{id}/wood").route(web::get().to(one)))
        .service(web::resource("/instruments/{id}/plates").route(web::post().to(add)))
        .service(web::resource("/instruments/{id}/move").route(web::post().to(carry)));
}

/// A plate as it is now and what comes.
struct PlateCard {
    name: String,
    made: String,
    moisture: String,
    state: String,
    in_band: bool,
    back: String,
    boxed: String,
    /// What the air does to it, if it waits badly.
    warning: String,
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

/// The measures of a plate, in words.
fn made(plate: &PlateAdded) -> String {
    let wood = WOODS.iter().find(|(_, of)| *of == plate.species).map_or("", |(word, _)| word);
    let cut = if plate.cut == Cut::Quarter { "quarter-sawn" } else { "flat-sawn" };
    let faces = if plate.faces_open == FacesOpen::One { "one face open" } else { "both faces open" };
    format!("{wood}, {cut}, {} mm thick, {} mm across, {faces}", plate.thickness_mm, plate.width_mm)
}

/// A plate of an instrument nobody has put anywhere: it cannot be run.
fn unplaced(plate: &PlateAdded) -> PlateCard {
    let (moisture, back, boxed, warning) = Default::default();
    let state = "not followed: nobody said where the instrument is".into();
    PlateCard { name: plate.name.clone(), made: made(plate), state, in_band: false, moisture, back, boxed, warning }
}

/// The three times of a run, in words.
fn times<T: Copy>(times: Times<T>, text: impl Fn(T) -> String) -> String {
    let said = |time: Option<T>| time.map_or_else(|| "not in this air".into(), &text);
    match (times.earliest, times.likely) {
        (None, None) => "not in this air".into(),
        _ => format!("earliest {}, likely {}, safe {}", said(times.earliest), said(times.likely), said(times.safe)),
    }
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

    fn plate_card(&self, run: &Run<'_>, target: Target, now_ms: i64) -> PlateCard {
        let [low, likely, high] = run.moisture_pct();
        let in_band = run.in_band(target);
        let begun = match run.start {
            Start::Measured => "from its measured moisture",
            Start::Assumed => "taken to have been in balance with the first air it was in",
            Start::Forgotten => "what it held at first counts no more",
        };
        let back = times(run.back(target), |ms| self.clock_text(ms, now_ms));
        let boxed = times(run.back_in_target_air(target), |hours| format!("{hours:.0} h"));
        PlateCard {
            name: run.plate.name.clone(),
            made: made(run.plate),
            moisture: format!("{likely:.1} % of moisture ({low:.1} to {high:.1})"),
            state: format!(
                "as in air of {:.0} % RH: {} the shop's band; {begun}",
                target.equivalent_rh_pct(likely),
                if in_band { "in" } else { "out of" }
            ),
            in_band,
            back: if in_band { String::new() } else { format!("Back in the band where it is: {back}.") },
            boxed: if in_band { String::new() } else { format!("In a box in the middle of the band: {boxed}.") },
            warning: run.waiting(target).map_or_else(String::new, |waiting| waits_badly(run, waiting)),
        }
    }
}

async fn one(shop: Shop, id: web::Path<String>, asked: web::Query<Vec<(String, String)>>) -> Answer {
    show(&page(&shop, &id, &Fields(asked.into_inner()), String::new()).await?, HttpResponse::Ok())
}

async fn back(shop: &Shop, id: &str, fields: &Fields, done: Result<(), Problem>) -> Answer {
    match done {
        Ok(()) => see_other(&format!("/instruments/{id}/wood")),
        Err(wrong) => {
            let builder = HttpResponse::build(wrong.status_code());
            show(&page(shop, id, fields, wrong.to_string()).await?, builder)
        }
    }
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
