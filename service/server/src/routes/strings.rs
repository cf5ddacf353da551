//! The strings of an instrument: its family's, or given one by one; what each pulls, and what another tuning would do.

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use clock::{A4_HZ, Pulls, Strung, doubt, family_of, usual_strings};
use facts::{Fact, Family, Note, StringFitted, StringsFitted};
use physics::strings::{NEWTONS_PER_POUND, stress_mpa};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{
    Answer, Shop,
    made::{Made, Weighed, plain_kg_m3},
    plates::instrument,
};
use crate::{
    body::Body,
    compose::When,
    inches::{Gauge, Inches, scale_mm},
    openapi::Api,
    problem::{Kind, Problem},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/instruments/{id}/strings").route(web::get().to(show)).route(web::post().to(fit)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/instruments/{id}/strings", "The strings and their tension")
        .or(&[Kind::Conflict])
        .query::<Show>(json!({}))
        .gives::<StringsWire>();
    api.post("/instruments/{id}/strings", "Says which strings an instrument is to have")
        .takes::<Fit>(json!({"family": "steel_string_guitar"}))
        .makes::<StringsWire>();
}

#[derive(Default, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Fit {
    /// Left out, the family the instrument was added with.
    #[schema(value_type = Option<crate::twins::Family>)]
    pub(crate) family: Option<Family>,
    pub(crate) scale_mm: Option<f64>,
    pub(crate) scale_in: Option<Inches>,
    pub(crate) a4_hz: Option<f64>,
    /// Left out, the family's usual set.
    pub(crate) strings: Option<Vec<OneString>>,
    /// Notes in the order of the set, in place of its own.
    pub(crate) tuning: Option<Vec<Note>>,
    /// Hours at half tension before full pitch.
    pub(crate) half_tension_h: Option<f64>,
    pub(crate) at: Option<DateTime<Utc>>,
    pub(crate) minutes_ago: Option<f64>,
}

/// One string as it is sent. What it weighs is given, or follows from core and winding, or from gauge and density.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct OneString {
    pub(crate) note: Note,
    pub(crate) gauge_mm: Option<f64>,
    pub(crate) gauge_in: Option<Inches>,
    pub(crate) gauge_thou: Option<f64>,
    /// Left out, a thin string is plain, and a thick one of steel is asked about.
    pub(crate) wound: Option<bool>,
    pub(crate) unit_kg_m: Option<f64>,
    pub(crate) core_mm: Option<f64>,
    pub(crate) wrap_mm: Option<f64>,
    pub(crate) core_kg_m3: Option<f64>,
    pub(crate) wrap_kg_m3: Option<f64>,
    pub(crate) density_kg_m3: Option<f64>,
    pub(crate) length_mm: Option<f64>,
}

pub(super) fn out_of_range(e: physics::OutOfRange) -> Problem {
    Problem::new(Kind::Invalid, e.to_string(), "correct the number, or its unit").about(e.argument)
}

impl OneString {
    /// A string as it is fitted already.
    pub(crate) fn of(fitted: &StringFitted) -> Self {
        let StringFitted { note, gauge_mm, wound, unit_kg_m, length_mm } = *fitted;
        Self {
            gauge_mm: Some(gauge_mm),
            wound: Some(wound),
            unit_kg_m: Some(unit_kg_m),
            length_mm: Some(length_mm),
            ..Self::tuned_to(note)
        }
    }

    /// A string of which nothing but its note is known.
    pub(crate) fn tuned_to(note: Note) -> Self {
        let (gauge_mm, gauge_in, gauge_thou, wound, unit_kg_m, core_mm, wrap_mm, length_mm) = Default::default();
        let (core_kg_m3, wrap_kg_m3, density_kg_m3) = Default::default();
        Self {
            note,
            gauge_mm,
            gauge_in,
            gauge_thou,
            wound,
            unit_kg_m,
            core_mm,
            wrap_mm,
            core_kg_m3,
            wrap_kg_m3,
            density_kg_m3,
            length_mm,
        }
    }

    fn fitted(self, family: Family, scale_mm: f64) -> Result<StringFitted, Problem> {
        let Self { note, gauge_mm, gauge_in, gauge_thou, wound, unit_kg_m, core_mm, wrap_mm, .. } = self;
        let Self { core_kg_m3, wrap_kg_m3, density_kg_m3, length_mm, .. } = self;
        let gauge_mm = Gauge { gauge_mm, gauge_in, gauge_thou }.mm()?;
        let made = Made { gauge_mm, wound, unit_kg_m, core_mm, wrap_mm, core_kg_m3, wrap_kg_m3, density_kg_m3 };
        let weighed = made.weigh(note, plain_kg_m3(family))?;
        let gauge_mm = weighed.gauge_mm.ok_or_else(|| {
            let mend = "send gauge_mm, gauge_in or gauge_thou; or core_mm and wrap_mm";
            Problem::new(Kind::Invalid, format!("the string {note} has no gauge"), mend).about("gauge_mm")
        })?;
        let Weighed { wound, unit_kg_m, .. } = weighed;
        Ok(StringFitted { note, gauge_mm, wound, unit_kg_m, length_mm: length_mm.unwrap_or(scale_mm) })
    }
}

async fn fit(shop: Shop, id: web::Path<String>, body: Body<Fit>) -> Answer {
    let kept = body.answer(&id);
    let (fitted, at_ms) = fitted(&shop, &id, body.value)?;
    shop.say_fact(Fact::StringsFitted(fitted), at_ms, "bench", kept).await?;
    answer(&shop, &id, None, HttpResponse::Created())
}

/// The fact a set of strings is, and when it was said, ms.
///
/// # Errors
/// No such instrument, no family, or strings that cannot be.
pub(crate) fn fitted(shop: &Shop, id: &str, fit: Fit) -> Result<(StringsFitted, i64), Problem> {
    let instrument = instrument(shop, id)?;
    let known = shop.bench().instruments().get(&instrument).map(|added| added.family.clone()).unwrap_or_default();
    let family = fit.family.or_else(|| family_of(&known)).ok_or_else(|| {
        let detail = format!("which family \"{id}\" belongs to is not known");
        Problem::new(Kind::Invalid, detail, "send family; GET /api/v1/string-families lists them").about("family")
    })?;
    let given_mm = scale_mm(fit.scale_mm, fit.scale_in.as_ref())?;
    let (scale_mm, usual) = usual_strings(family, given_mm);
    let mut strings = match fit.strings {
        Some(strings) => strings.into_iter().map(|s| s.fitted(family, scale_mm)).collect::<Result<Vec<_>, _>>()?,
        None => usual,
    };
    if let Some(tuning) = &fit.tuning {
        retune(&mut strings, tuning)?;
    }
    let a4_hz = fit.a4_hz.unwrap_or(A4_HZ);
    let at_ms = When { at: fit.at, minutes_ago: fit.minutes_ago }.ms(shop.now().ms())?;
    let half_tension_h = fit.half_tension_h;
    Ok((StringsFitted { instrument, family, scale_mm, a4_hz, strings, half_tension_h }, at_ms))
}

/// Tunes strings to other notes.
///
/// # Errors
/// When there are not as many notes as strings.
pub(crate) fn retune(strings: &mut [StringFitted], tuning: &[Note]) -> Result<(), Problem> {
    if strings.len() != tuning.len() {
        let detail = format!("the tuning has {} notes for {} strings", tuning.len(), strings.len());
        return Err(
            Problem::new(Kind::Invalid, detail, "give one note for each string, in their order").about("tuning")
        );
    }
    strings.iter_mut().zip(tuning).for_each(|(string, note)| string.note = *note);
    Ok(())
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Show {
    /// Notes with commas between: what that tuning would do to the strings there are.
    tuning: Option<String>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct StringsWire {
    instrument: String,
    since: String,
    #[schema(value_type = crate::twins::Family)]
    family: Family,
    scale_mm: f64,
    a4_hz: f64,
    strings: Vec<StringWire>,
    total_n: f64,
    total_lbf: f64,
    /// Against the strings as they are tuned; 0 where no other tuning was asked about.
    change_n: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    half_tension_h: Option<f64>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct StringWire {
    note: Note,
    gauge_mm: f64,
    wound: bool,
    unit_kg_m: f64,
    length_mm: f64,
    tension_n: f64,
    tension_lbf: f64,
    /// Of a plain string; the core of a wound one is not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    stress_mpa: Option<f64>,
    /// Why it is likely to break, where it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    doubt: Option<String>,
    change_n: f64,
}

pub(super) fn hundredths(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

fn wire(shop: &Shop, strung: &Strung, tuned: &StringsFitted) -> StringsWire {
    let (before, after) = (Pulls::of(&strung.fitted), Pulls::of(tuned));
    let each = tuned.strings.iter().zip(before.each_n.iter().zip(&after.each_n));
    let string = |(string, (before_n, tension_n)): (&StringFitted, (&f64, &f64))| StringWire {
        note: string.note,
        gauge_mm: string.gauge_mm,
        wound: string.wound,
        unit_kg_m: string.unit_kg_m,
        length_mm: hundredths(string.length_mm),
        tension_n: hundredths(*tension_n),
        tension_lbf: hundredths(tension_n / NEWTONS_PER_POUND),
        stress_mpa: (!string.wound).then(|| stress_mpa(*tension_n, string.gauge_mm).ok().map(hundredths)).flatten(),
        doubt: doubt(string, *tension_n),
        change_n: hundredths(tension_n - before_n),
    };
    StringsWire {
        instrument: tuned.instrument.to_string(),
        since: shop.rfc3339(strung.at_ms),
        family: tuned.family,
        scale_mm: tuned.scale_mm,
        a4_hz: tuned.a4_hz,
        strings: each.map(string).collect(),
        total_n: hundredths(after.total_n()),
        total_lbf: hundredths(after.total_n() / NEWTONS_PER_POUND),
        change_n: hundredths(after.total_n() - before.total_n()),
        half_tension_h: tuned.half_tension_h,
    }
}

/// What to say while nobody has said which strings an instrument is to have.
pub(super) fn no_strings(id: &str) -> Problem {
    let mend = format!("POST /api/v1/instruments/{id}/strings with its family, or its strings, first");
    Problem::new(Kind::Conflict, format!("nobody has said which strings \"{id}\" is to have"), mend)
}

fn answer(shop: &Shop, id: &str, tuning: Option<&[Note]>, mut builder: actix_web::HttpResponseBuilder) -> Answer {
    let bench = shop.bench();
    let strung = bench.strung(id).ok_or_else(|| no_strings(id))?;
    let mut tuned = strung.fitted.clone();
    if let Some(tuning) = tuning {
        retune(&mut tuned.strings, tuning)?;
    }
    Ok(builder.json(wire(shop, strung, &tuned)))
}

async fn show(shop: Shop, id: web::Path<String>, query: web::Query<Show>) -> Answer {
    instrument(&shop, &id)?;
    let notes = |text: &String| text.split(',').map(Note::new).collect::<Result<Vec<_>, _>>();
    let tuning = query.tuning.as_ref().map(notes).transpose().map_err(|e| Problem::from(e).about("tuning"))?;
    answer(&shop, &id, tuning.as_deref(), HttpResponse::Ok())
}
