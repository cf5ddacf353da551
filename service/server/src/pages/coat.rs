//! Registering a coat: choose the planned step, or the surface that gets its next one; look at what is proposed, press
//! Register.

use actix_web::{HttpResponse, ResponseError, web};
use askama::Template;
use clock::{Bench, Cure};
use facts::{CureKind, Fact, InstrumentId, Method, StepKind};
use rules::MaterialKind;
use serde::Deserialize;

use super::{
    choice::{self, Cautions, Choice},
    form::{Fields, new_key},
    frame::{Frame, see_other, show},
    glue_up::{PlannedStep, planned_steps, step_of},
};
use crate::{
    alerts::words::place,
    coating::CoatRequest,
    now::instant,
    problem::{Kind, Problem},
    routes::{Answer, Shop, id_of},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/coat").route(web::get().to(choose_or_fill)).route(web::post().to(register)));
}

/// A surface that has a coat.
struct Surface {
    coat: String,
    name: String,
    says: String,
}

#[derive(Template)]
#[template(path = "coat_choose.html")]
struct ChoosePage {
    frame: Frame,
    steps: Vec<PlannedStep>,
    surfaces: Vec<Surface>,
}

#[derive(Template)]
#[template(path = "coat.html")]
struct CoatPage {
    frame: Frame,
    key: String,
    wrong: String,
    step: String,
    title: String,
    /// What is said of the coat it goes on.
    beneath: Vec<String>,
    instruments: Vec<Choice>,
    surface: String,
    surfaces: Vec<String>,
    materials: Vec<Choice>,
    zones: Vec<Choice>,
    lots: Vec<Choice>,
    mixes: Vec<Choice>,
    started: Vec<Choice>,
    clock: String,
    methods: Vec<Choice>,
    abraded: Vec<Choice>,
    film: String,
    film_unit: &'static str,
    /// Name, what it asks, what was filled in.
    numbers: Vec<(&'static str, &'static str, String)>,
    /// Cautions of the finish that is proposed.
    minded: Vec<Cautions>,
}

const METHODS: [(&str, &str); 6] =
    [("", "not said"), ("brush", "brush"), ("pad", "pad"), ("spray", "spray"), ("wipe", "wipe"), ("flood", "flood")];
const ABRADED: [(&str, &str); 3] = [("", "not said"), ("yes", "yes"), ("no", "no")];
const NUMBERS: [(&str, &str); 8] = [
    ("passes", "Passes, where the film was not measured"),
    ("spread_m2_l", "… and what a litre covers in one, m²"),
    ("thinner_parts", "Thinner, parts to one of finish"),
    ("retarder_parts", "Retarder, parts to one of finish"),
    ("air_m_s", "Air moved over it, m/s"),
    ("exposure_mj_cm2", "Light it got, mJ/cm²"),
    ("prepare_min", "The next coat takes to prepare, min"),
    ("surface_temp_c", "Its surface, °C, if measured"),
];

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Chosen {
    /// Job and step with a blank between, or "none" for a coat nobody planned.
    step: Option<String>,
    /// The coat it goes on.
    on: Option<String>,
}

async fn choose_or_fill(shop: Shop, chosen: web::Query<Chosen>) -> Answer {
    let Chosen { step, on } = chosen.into_inner();
    if step.is_none() && on.is_none() {
        return show(&shop.choose_coat(), HttpResponse::Ok());
    }
    let said = [("step", step), ("on", on)].into_iter().filter_map(|(name, value)| Some((name.to_string(), value?)));
    show(&shop.coat_page(&Fields(said.collect()), String::new()), HttpResponse::Ok())
}

/// The coat that the new one is most like: the one it goes on, else the last of its instrument, else the last of all.
fn last_like<'a>(bench: &'a Bench, on: Option<&str>, instrument: Option<&InstrumentId>) -> Option<&'a Cure> {
    let coats = || bench.cures().iter().filter(|cure| cure.begun.cure_kind == CureKind::Coat);
    let last = |of: Option<&InstrumentId>| {
        let of_it = coats().filter(|cure| cure.withdrawn.is_none() && of.is_none_or(|id| cure.begun.instrument == *id));
        of_it.max_by_key(|cure| cure.begun.started_at)
    };
    let on = on.and_then(|id| bench.cure(id)).filter(|cure| cure.begun.cure_kind == CureKind::Coat);
    on.or_else(|| last(Some(instrument?))).or_else(|| last(None))
}

impl State {
    fn choose_coat(&self) -> ChoosePage {
        let (bench, now_ms) = (self.bench(), self.now().ms());
        let surface = |coat: &Cure| Surface {
            coat: coat.begun.id.to_string(),
            name: place(&bench, coat),
            says: format!("{}; {}", self.material_name(coat), self.recoat_said(&bench, coat, now_ms)),
        };
        ChoosePage {
            frame: self.frame("/coats"),
            steps: planned_steps(&bench, StepKind::Coat),
            surfaces: bench.instruments().keys().flat_map(|id| bench.top_coats(id.as_str())).map(surface).collect(),
        }
    }

    /// The form: what was filled in already, and what is proposed where nothing was.
    fn coat_page(&self, fields: &Fields, wrong: String) -> CoatPage {
        let (bench, now_ms) = (self.bench(), self.now().ms());
        let planned = step_of(fields).ok().flatten();
        let planned = planned.and_then(|(job, step)| {
            let job = bench.jobs().get(&job)?;
            Some((job, job.opened.steps.iter().find(|of_job| of_job.id == step)?))
        });
        let of_job = planned.map(|(job, _)| &job.opened.instrument);
        let last = last_like(&bench, fields.get("on"), of_job);
        let same = last.filter(|coat| of_job.is_none_or(|id| coat.begun.instrument == *id));
        let same = same.filter(|_| of_job.is_some() || fields.get("on").is_some());
        let said = planned.and_then(|(_, step)| step.material.clone());
        let material = said.or_else(|| last.map(|coat| coat.begun.material.clone()));
        let again = !wrong.is_empty();
        let is = |name: &str, value: &str, proposed: Option<&str>| match again {
            true => fields.get(name).unwrap_or_default() == value,
            false => proposed.unwrap_or_default() == value,
        };
        let instrument = of_job.or_else(|| same.map(|coat| &coat.begun.instrument));
        let beneath = same.filter(|_| !again).map(|coat| self.beneath_said(&bench, coat, now_ms));
        let live = bench.mixes().values().filter(|mix| bench.mix_state(mix, now_ms) != clock::MixState::Gelled);
        let pot = |mix: &clock::Mix| {
            let (id, text) =
                (mix.made.id.as_str(), format!("{}, {}", mix.made.material, self.clock_text(mix.at_ms, now_ms)));
            Choice::new(id, text, is("mix", id, None))
        };
        let lay = planned.and_then(|(_, step)| step.lay).filter(|_| !again).unwrap_or_default();
        let method = lay.method.map(|method| serde_json::json!(method));
        let list = |name: &str, all: &[(&str, &str)], proposed: Option<&str>| {
            all.iter().map(|(value, text)| Choice::new(*value, *text, is(name, value, proposed))).collect()
        };
        let text = |name: &str| fields.get(name).unwrap_or_default().to_string();
        let proposed = |name: &str, value: Option<f64>| value.map_or_else(|| text(name), |value| value.to_string());
        let (thin_unit, um) = self.settings.shop.length_unit.thin();
        let thinner_parts = lay.thinner_pct.map(|pct| f64::from(pct) / 100.0);
        let number = |(name, says): (&'static str, &'static str)| {
            (name, says, proposed(name, thinner_parts.filter(|_| name == "thinner_parts")))
        };
        let mut surfaces: Vec<String> = bench.cures().iter().filter_map(|cure| cure.begun.surface.clone()).collect();
        surfaces.sort();
        surfaces.dedup();
        CoatPage {
            frame: self.frame("/coats"),
            key: fields.get("key").map_or_else(new_key, str::to_string),
            wrong,
            step: fields.get("step").unwrap_or("none").into(),
            title: planned.map_or_else(String::new, |(job, step)| format!("{}: {}", job.opened.title, step.title)),
            beneath: beneath.unwrap_or_default(),
            instruments: bench
                .instruments()
                .values()
                .filter(|known| of_job.is_none_or(|id| known.id == *id))
                .map(|known| {
                    let chosen = is("instrument", known.id.as_str(), instrument.map(|id| id.as_str()));
                    Choice::new(known.id.as_str(), &known.name, chosen)
                })
                .collect(),
            surface: match again {
                true => text("surface"),
                false => same.and_then(|coat| coat.begun.surface.clone()).unwrap_or_default(),
            },
            surfaces,
            materials: self.materials(&bench, MaterialKind::Finish, |id| {
                is("material", id, material.as_ref().map(|m| m.as_str()))
            }),
            zones: choice::zones(&bench, |id| is("zone", id, last.map(|coat| coat.begun.zone.as_str()))),
            lots: choice::lots(&bench, |id| is("lot", id, None)),
            mixes: live.map(pot).collect(),
            started: choice::started(|value| is("started", value, Some("0"))),
            clock: fields.get("clock").unwrap_or_default().into(),
            methods: list("method", &METHODS, method.as_ref().and_then(serde_json::Value::as_str)),
            abraded: list("abraded", &ABRADED, None),
            film: proposed("film", lay.film_um.map(|film_um| f64::from(film_um) / um)),
            film_unit: thin_unit,
            numbers: NUMBERS.map(number).into(),
            minded: self.cautions(&bench, material.iter()),
        }
    }

    /// What is to be known of the coat beneath before the next one goes on.
    fn beneath_said(&self, bench: &Bench, coat: &Cure, now_ms: i64) -> Vec<String> {
        let begun = self.clock_text(coat.begun.started_at.timestamp_millis(), now_ms);
        let on = format!("On {}: {}, laid {begun}.", place(bench, coat), self.material_name(coat));
        vec![on, format!("To recoat: {}.", self.recoat_said(bench, coat, now_ms))]
    }

    /// The window to recoat of a top coat, in words.
    pub(super) fn recoat_said(&self, bench: &Bench, coat: &Cure, now_ms: i64) -> String {
        let milestones = bench.milestones(coat, now_ms);
        let opens = milestones.iter().find(|m| m.target.stage == "recoat_opens" && !m.reached);
        let from = opens.map(|m| {
            m.safe_ms.map_or_else(|| "not in this air".into(), |ms| format!("from {}", self.clock_text(ms, now_ms)))
        });
        let until = match bench.recoat_window(coat, now_ms) {
            clock::RecoatWindow::Wet => return "not before it has had its light".into(),
            clock::RecoatWindow::Stays => "whenever you like".into(),
            clock::RecoatWindow::Closes(None) => "no end in this air".into(),
            clock::RecoatWindow::Closes(Some(ms)) => format!("before {}", self.clock_text(ms, now_ms)),
            clock::RecoatWindow::Closed(ms) => {
                format!("closed {}: {}", self.clock_text(ms, now_ms), crate::routes::ABRADE)
            }
        };
        from.map_or_else(|| until.clone(), |from| format!("{from}, {until}"))
    }
}

async fn register(shop: Shop, fields: Fields) -> Answer {
    match registered(&shop, &fields).await {
        Ok(id) => see_other(&format!("/cures/{id}")),
        Err(problem) => {
            let builder = HttpResponse::build(problem.status_code());
            show(&shop.coat_page(&fields, problem.to_string()), builder)
        }
    }
}

/// The coat of a form.
fn asked(shop: &Shop, fields: &Fields) -> Result<CoatRequest, Problem> {
    let (job, step) = step_of(fields)?.unzip();
    let zone = fields.id("zone")?.ok_or_else(|| {
        Problem::new(Kind::Invalid, "the zone is missing", "say where it lies; a new zone is added on the page Climate")
            .about("zone")
    })?;
    let method = fields.get("method").map(|word| serde_json::from_value::<Method>(word.into()));
    let method = method.transpose().map_err(|_| {
        Problem::new(Kind::Invalid, "there is no such way of laying it", "choose one of the list").about("method")
    })?;
    let (_, um) = shop.settings.shop.length_unit.thin();
    Ok(CoatRequest {
        instrument: fields.id("instrument")?,
        job,
        step,
        material: fields.id("material")?,
        lot: fields.id("lot")?,
        mix: fields.id("mix")?,
        started_at: Some(instant(fields.started_ms(shop)?)),
        film_um: fields.number("film")?.map(|film| film * um),
        passes: fields.number("passes")?,
        spread_m2_l: fields.number("spread_m2_l")?,
        method,
        thinner_parts: fields.number("thinner_parts")?.unwrap_or(0.0),
        retarder_parts: fields.number("retarder_parts")?.unwrap_or(0.0),
        abraded: fields.get("abraded").map(|word| word == "yes"),
        exposure_mj_cm2: fields.number("exposure_mj_cm2")?,
        air_m_s: fields.number("air_m_s")?,
        prepare_min: fields.number("prepare_min")?,
        surface_temp_c: fields.number("surface_temp_c")?,
        ..CoatRequest::on(fields.get("surface").unwrap_or_default(), zone)
    })
}

async fn registered(shop: &Shop, fields: &Fields) -> Result<String, Problem> {
    let begun = shop.coat(asked(shop, fields)?)?;
    let (id, at_ms) = (begun.id.to_string(), begun.started_at.timestamp_millis());
    let kept = fields.answer("/coat", &id);
    let said = shop.say_fact(Fact::CureBegun(begun.into()), at_ms, "bench", kept).await?;
    Ok(id_of(&said, &id))
}
