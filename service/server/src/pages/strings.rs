//! The strings of one instrument: whether they may go on, which they are and what each pulls, what they load, and the
//! stages of stringing up. One string is changed in `strings/gauges.rs`, a joint is added in `strings/joints.rs` and its load
//! said in `strings/loads.rs`, another tuning is tried in `strings/retuned.rs`.

mod gauges;
mod joints;
mod loads;
mod retuned;

use actix_web::{HttpResponse, web};
use askama::Template;
use clock::{StringUp, family_of};
use facts::{Fact, JointAdded, Note, StageReached};

use self::{gauges::GaugeForm, loads::JointForm, retuned::Retuned};
use super::{
    choice::{Choice, FAMILIES, POROSITIES},
    form::{Fields, new_key},
    frame::{Frame, or_again, show},
    string_up::StringUpSheet,
};
use crate::{
    alerts::words::{ESTIMATE, spoken},
    compose::missing,
    problem::Problem,
    routes::{
        Answer, Shop,
        plates::instrument,
        strings::{Fit, fitted},
    },
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/instruments/{id}/strings").route(web::get().to(one)).route(web::post().to(fit)))
        .service(web::resource("/instruments/{id}/string-stages").route(web::post().to(reach)))
        .configure(gauges::configure)
        .configure(joints::configure)
        .configure(loads::configure);
}

#[derive(Template)]
#[template(path = "strings_of.html")]
struct StringsOfPage {
    frame: Frame,
    key: String,
    wrong: String,
    id: String,
    name: String,
    part: &'static str,
    /// The answer; none while nobody said which strings it is to have.
    sheet: Option<StringUpSheet>,
    families: Vec<Choice>,
    /// Name, what it asks, what stands in it.
    asked: Vec<(&'static str, &'static str, String)>,
    gauge: Option<GaugeForm>,
    /// What another tuning would do, where it was asked.
    retuned: Option<Retuned>,
    /// That tuning, as it was asked.
    other: String,
    joints: Vec<JointForm>,
    /// What was filled in for a joint that is to be added, if it was wrong.
    new_joint: String,
    gap: String,
    thin_unit: &'static str,
    porosities: Vec<Choice>,
    estimate: &'static str,
}

async fn page(shop: &Shop, id: &str, fields: &Fields, mut wrong: String) -> Result<StringsOfPage, Problem> {
    let instrument = instrument(shop, id)?;
    let up = shop.string_up(&instrument).await?;
    let fitted = up.as_ref().map(|up| &up.strung.fitted);
    let (name, words, joints) = {
        let bench = shop.bench();
        let known = bench.instruments().get(&instrument).ok_or_else(|| Problem::not_found("instrument", id))?;
        let joints = bench.joints().values().filter(|joint| joint.instrument == instrument).cloned();
        (known.name.clone(), known.family.clone(), joints.collect::<Vec<JointAdded>>())
    };
    let retuned = fitted.zip(fields.get("other")).map(|(fitted, notes)| Retuned::of(fitted, notes)).transpose();
    let retuned = retuned.unwrap_or_else(|problem| {
        wrong = problem.to_string();
        None
    });
    let family = fitted.map(|fitted| fitted.family).or_else(|| family_of(&words));
    Ok(StringsOfPage {
        frame: shop.frame("/instruments"),
        key: new_key(),
        id: id.into(),
        name,
        part: "Strings",
        families: FAMILIES.map(|(word, of)| Choice::new(word, spoken(word), family == Some(of))).into(),
        asked: asked(up.as_ref(), fields, !wrong.is_empty() && fields.get("other").is_none()),
        other: fields.get("other").unwrap_or_default().into(),
        retuned,
        gauge: fitted.map(|fitted| GaugeForm::of(fitted, shop.settings.shop.length_unit, fields)),
        joints: joints.iter().map(|joint| shop.joint_form(joint, family, fields)).collect(),
        new_joint: fields.get("joint_name").unwrap_or_default().into(),
        gap: fields.get("gap").unwrap_or_default().into(),
        thin_unit: shop.settings.shop.length_unit.thin().0,
        porosities: POROSITIES
            .map(|(word, says)| Choice::new(word, says, word == fields.get("porosity").unwrap_or("normal")))
            .into(),
        sheet: up.as_ref().map(|up| shop.string_up_page(up)),
        wrong,
        estimate: ESTIMATE,
    })
}

/// The fields of the set: what was sent if it was wrong, else what is known.
fn asked(up: Option<&StringUp>, fields: &Fields, again: bool) -> Vec<(&'static str, &'static str, String)> {
    let fitted = up.map(|up| &up.strung.fitted);
    let value = |name: &str, known: Option<String>| match again {
        false => known.unwrap_or_default(),
        true => fields.get(name).unwrap_or_default().into(),
    };
    let tuning = fitted.map(|fitted| fitted.strings.iter().map(|s| s.note.to_string()).collect::<Vec<_>>().join(" "));
    let hours = fitted.and_then(|of| of.half_tension_h).map(|h| h.to_string());
    vec![
        ("scale_mm", "Scale, mm", value("scale_mm", fitted.map(|of| format!("{:.1}", of.scale_mm)))),
        ("tuning", "Tuning, in the order of the set", value("tuning", tuning)),
        ("a4_hz", "A4, Hz", value("a4_hz", fitted.map(|of| of.a4_hz.to_string()))),
        ("half_tension_h", "Hours at half tension first", value("half_tension_h", hours)),
    ]
}

async fn one(shop: Shop, id: web::Path<String>, asked: web::Query<Vec<(String, String)>>) -> Answer {
    show(&page(&shop, &id, &Fields(asked.into_inner()), String::new()).await?, HttpResponse::Ok())
}

/// Back to the page of the instrument: with what was wrong, if anything was.
async fn back(shop: &Shop, id: &str, fields: &Fields, done: Result<(), Problem>) -> Answer {
    let to = format!("/instruments/{id}/strings");
    or_again(&to, done, async |wrong| page(shop, id, fields, wrong).await).await
}

/// Notes with blanks or commas between.
fn notes(text: &str) -> Result<Vec<Note>, Problem> {
    let notes = text.split([' ', ',']).filter(|note| !note.is_empty()).map(Note::new).collect::<Result<_, _>>();
    notes.map_err(|e| Problem::from(e).about("tuning"))
}

async fn fit(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let done = async {
        let tuning = fields.get("tuning").map(notes).transpose()?;
        let fit = Fit {
            family: fields.word("family")?,
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
        let instrument = instrument(&shop, &id)?;
        let stage = fields.word("stage")?.ok_or_else(|| missing("stage"))?;
        let kept = fields.answer(&format!("/instruments/{id}/string-stages"), &id);
        let at_ms = fields.pressed_ms(shop.now().ms())?;
        shop.say_fact(Fact::StageReached(StageReached { instrument, stage }), at_ms, "bench", kept).await?;
        Ok(())
    };
    let done = done.await;
    back(&shop, &id, &fields, done).await
}
