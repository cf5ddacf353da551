//! Stringing up: every instrument with its answer, and one with its strings, what they load, and its stages.

use actix_web::{HttpResponse, ResponseError, web};
use askama::Template;
use clock::{PATHS, StringUp, family_of};
use facts::{Fact, Family, InstrumentId, JointAdded, Note, SpeciesGroup, Stage, StageReached};
use serde::de::DeserializeOwned;

use super::{
    choice::Choice,
    form::{Fields, new_key},
    frame::{Frame, see_other, show},
    string_up::StringUpSheet,
};
use crate::{
    alerts::words::{ESTIMATE, spoken},
    problem::{Kind, Problem},
    routes::{
        Answer, Shop,
        loads::{Load, loaded},
        strings::{Fit, fitted},
    },
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/strings").route(web::get().to(all)))
        .service(web::resource("/instruments/{id}/strings").route(web::get().to(one)).route(web::post().to(fit)))
        .service(web::resource("/instruments/{id}/string-stages").route(web::post().to(reach)))
        .service(web::resource("/joints/{id}/load").route(web::post().to(load)));
}

/// An instrument with its answer.
struct InstrumentCard {
    id: String,
    name: String,
    says: String,
    ready: bool,
}

#[derive(Template)]
#[template(path = "strings.html")]
struct StringsPage {
    frame: Frame,
    strung: Vec<InstrumentCard>,
    /// Those of which nobody said which strings they are to have.
    others: Vec<(String, String)>,
    estimate: &'static str,
}

async fn all(shop: Shop) -> Answer {
    let known: Vec<(InstrumentId, String)> = {
        let bench = shop.bench();
        bench.instruments().values().map(|known| (known.id.clone(), known.name.clone())).collect()
    };
    let (mut strung, mut others) = (Vec::new(), Vec::new());
    for (id, name) in known {
        match shop.string_up(&id).await? {
            Some(up) => strung.push(InstrumentCard {
                id: id.to_string(),
                name,
                says: shop.said_of(&up),
                ready: up.ready() && !at_pitch(&up),
            }),
            None => others.push((id.to_string(), name)),
        }
    }
    strung.sort_by_key(|card| !card.ready);
    show(&StringsPage { frame: shop.frame("/strings"), strung, others, estimate: ESTIMATE }, HttpResponse::Ok())
}

fn at_pitch(up: &StringUp) -> bool {
    up.strung.stages.contains_key(&Stage::FullPitch)
}

/// A joint with the form that says how it is loaded.
struct JointForm {
    id: String,
    name: String,
    paths: Vec<Choice>,
    woods: Vec<Choice>,
    /// Name, what it says, whether it is so.
    ticks: Vec<(&'static str, &'static str, bool)>,
    said: bool,
}

#[derive(Template)]
#[template(path = "strings_of.html")]
struct StringsOfPage {
    frame: Frame,
    key: String,
    wrong: String,
    id: String,
    name: String,
    /// The answer; none while nobody said which strings it is to have.
    sheet: Option<StringUpSheet>,
    families: Vec<Choice>,
    /// Name, what it asks, what stands in it.
    asked: Vec<(&'static str, &'static str, String)>,
    joints: Vec<JointForm>,
    estimate: &'static str,
}

const FAMILIES: [(&str, Family); 11] = [
    ("steel_string_guitar", Family::SteelStringGuitar),
    ("classical_guitar", Family::ClassicalGuitar),
    ("twelve_string_guitar", Family::TwelveStringGuitar),
    ("mandolin", Family::Mandolin),
    ("ukulele", Family::Ukulele),
    ("banjo", Family::Banjo),
    ("violin", Family::Violin),
    ("viola", Family::Viola),
    ("cello", Family::Cello),
    ("double_bass", Family::DoubleBass),
    ("bass_guitar", Family::BassGuitar),
];

const WOODS: [(&str, SpeciesGroup); 9] = [
    ("spruce", SpeciesGroup::Spruce),
    ("cedar", SpeciesGroup::Cedar),
    ("maple", SpeciesGroup::Maple),
    ("mahogany", SpeciesGroup::Mahogany),
    ("rosewood", SpeciesGroup::Rosewood),
    ("walnut", SpeciesGroup::Walnut),
    ("cherry", SpeciesGroup::Cherry),
    ("birch", SpeciesGroup::Birch),
    ("ash", SpeciesGroup::Ash),
];

impl State {
    fn joint_form(&self, joint: &JointAdded) -> JointForm {
        let bench = self.bench();
        let said = bench.loads().get(joint.id.as_str());
        let path = said.and_then(|said| serde_json::to_value(said.load).ok());
        let path = path.as_ref().and_then(|path| path["path"].as_str()).unwrap_or_default();
        JointForm {
            id: joint.id.to_string(),
            name: joint.name.clone(),
            paths: PATHS.iter().map(|of| Choice::new(*of, spoken(of), *of == path)).collect(),
            woods: WOODS.map(|(word, wood)| Choice::new(word, word, said.is_some_and(|said| said.wood == wood))).into(),
            ticks: vec![
                ("starved", "too little glue", said.is_some_and(|said| said.starved)),
                ("reopened", "opened before, on old glue", said.is_some_and(|said| said.reopened)),
                ("sound", "tested and vouched for", said.is_some_and(|said| said.sound)),
            ],
            said: said.is_some(),
        }
    }
}

async fn page(shop: &Shop, id: &str, fields: &Fields, wrong: String) -> Result<StringsOfPage, Problem> {
    let (instrument, name, words) = {
        let bench = shop.bench();
        let known = bench.instruments().get(id).ok_or_else(|| Problem::not_found("instrument", id))?;
        (known.id.clone(), known.name.clone(), known.family.clone())
    };
    let up = shop.string_up(&instrument).await?;
    let fitted = up.as_ref().map(|up| &up.strung.fitted);
    let joints: Vec<JointAdded> = {
        let bench = shop.bench();
        bench.joints().values().filter(|joint| joint.instrument == instrument).cloned().collect()
    };
    let family = fitted.map(|fitted| fitted.family).or_else(|| family_of(&words));
    let value = |name: &str, known: Option<String>| match wrong.is_empty() {
        true => known.unwrap_or_default(),
        false => fields.get(name).unwrap_or_default().into(),
    };
    let tuning = fitted.map(|fitted| fitted.strings.iter().map(|s| s.note.to_string()).collect::<Vec<_>>().join(" "));
    Ok(StringsOfPage {
        frame: shop.frame("/strings"),
        key: new_key(),
        id: id.into(),
        name,
        families: FAMILIES.map(|(word, of)| Choice::new(word, spoken(word), family == Some(of))).into(),
        asked: vec![
            ("scale_mm", "Scale, mm", value("scale_mm", fitted.map(|of| format!("{:.1}", of.scale_mm)))),
            ("tuning", "Tuning, in the order of the set", value("tuning", tuning)),
            ("a4_hz", "A4, Hz", value("a4_hz", fitted.map(|of| of.a4_hz.to_string()))),
            (
                "half_tension_h",
                "Hours at half tension first",
                value("half_tension_h", fitted.and_then(|of| of.half_tension_h).map(|h| h.to_string())),
            ),
        ],
        joints: joints.iter().map(|joint| shop.joint_form(joint)).collect(),
        sheet: up.as_ref().map(|up| shop.string_up_page(up)),
        wrong,
        estimate: ESTIMATE,
    })
}

async fn one(shop: Shop, id: web::Path<String>) -> Answer {
    show(&page(&shop, &id, &Fields(vec![]), String::new()).await?, HttpResponse::Ok())
}

/// Back to the page of the instrument: with what was wrong, if anything was.
async fn back(shop: &Shop, id: &str, fields: &Fields, done: Result<(), Problem>) -> Answer {
    match done {
        Ok(()) => see_other(&format!("/instruments/{id}/strings")),
        Err(wrong) => {
            let builder = HttpResponse::build(wrong.status_code());
            show(&page(shop, id, fields, wrong.to_string()).await?, builder)
        }
    }
}

/// A word of a list.
fn word<T: DeserializeOwned>(fields: &Fields, name: &str) -> Result<Option<T>, Problem> {
    let Some(said) = fields.get(name) else { return Ok(None) };
    let word = serde_json::from_value(said.into()).map_err(|_| {
        Problem::new(Kind::Invalid, format!("\"{said}\" is not of the list"), "choose one of the list").about(name)
    })?;
    Ok(Some(word))
}

async fn fit(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let done = async {
        let notes =
            |text: &str| text.split([' ', ',']).filter(|s| !s.is_empty()).map(Note::new).collect::<Result<_, _>>();
        let tuning = fields.get("tuning").map(notes).transpose().map_err(|e| Problem::from(e).about("tuning"))?;
        let fit = Fit {
            family: word(&fields, "family")?,
            scale_mm: fields.number("scale_mm")?,
            a4_hz: fields.number("a4_hz")?,
            tuning,
            half_tension_h: fields.number("half_tension_h")?,
            ..Fit::default()
        };
        let (fitted, at_ms) = fitted(&shop, &id, fit)?;
        let kept = fields.answer(&format!("/instruments/{id}/strings"), &id);
        shop.say_fact(Fact::StringsFitted(fitted), at_ms, "bench", kept).await?;
        Ok(())
    };
    let done = done.await;
    back(&shop, &id, &fields, done).await
}

async fn reach(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let done = async {
        let instrument = shop.bench().instruments().get_key_value(id.as_str()).map(|(id, _)| id.clone());
        let instrument = instrument.ok_or_else(|| Problem::not_found("instrument", &id))?;
        let stage = word(&fields, "stage")?.ok_or_else(|| crate::compose::missing("stage"))?;
        let kept = fields.answer(&format!("/instruments/{id}/string-stages"), &id);
        let at_ms = fields.pressed_ms(shop.now().ms())?;
        shop.say_fact(Fact::StageReached(StageReached { instrument, stage }), at_ms, "bench", kept).await?;
        Ok(())
    };
    let done = done.await;
    back(&shop, &id, &fields, done).await
}

async fn load(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let of = shop.bench().joints().get(id.as_str()).map(|joint| joint.instrument.to_string());
    let of = of.ok_or_else(|| Problem::not_found("joint", &id))?;
    let done = async {
        let ticked = |name: &str| fields.get(name).is_some();
        let said = Load {
            path: fields.get("path").unwrap_or_default().into(),
            wood: word(&fields, "wood")?,
            starved: ticked("starved"),
            reopened: ticked("reopened"),
            sound: ticked("sound"),
            measures: serde_json::Map::new(),
        };
        let fact = Fact::JointLoaded(loaded(&shop, &id, &said)?);
        let kept = fields.answer(&format!("/joints/{id}/load"), &id);
        shop.say_fact(fact, shop.now().ms(), "bench", kept).await?;
        Ok(())
    };
    let done = done.await;
    back(&shop, &of, &fields, done).await
}
