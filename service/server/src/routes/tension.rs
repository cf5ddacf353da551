//! What a string pulls, and what another note or gauge would do; the usual strings of each family.

use actix_web::{HttpResponse, web};
use clock::{A4_HZ, FAMILIES, Pulls, doubt_of, usual_strings};
use facts::{Family, Note, StringsFitted};
use physics::strings::{NEWTONS_PER_POUND, STEEL_KG_M3, equal_temperament_hz, stress_mpa, tension_n};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{
    Answer,
    made::{Made, Weighed},
    strings::{hundredths, out_of_range},
};
use crate::{
    inches::{Gauge, Inches, scale_mm},
    openapi::Api,
    problem::{Kind, Problem},
    wire::List,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/string-tension").route(web::get().to(tension)))
        .service(web::resource("/string-families").route(web::get().to(families)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/string-tension", "What a string pulls")
        .query::<Ask>(json!({"scale_mm": 648, "note": "E4", "gauge_thou": 12}))
        .gives::<TensionWire>();
    api.get("/string-families", "Usual strings of the families").lists::<FamilyWire>();
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Ask {
    note: String,
    scale_mm: Option<f64>,
    scale_in: Option<Inches>,
    a4_hz: Option<f64>,
    gauge_mm: Option<f64>,
    gauge_in: Option<Inches>,
    gauge_thou: Option<f64>,
    /// Density of a plain string, steel if it is not said.
    density_kg_m3: Option<f64>,
    /// Left out, a thin string is plain, and a thick one of steel is asked about.
    wound: Option<bool>,
    /// Mass per length, for a wound string.
    unit_kg_m: Option<f64>,
    /// Or its core and its winding.
    core_mm: Option<f64>,
    wrap_mm: Option<f64>,
    core_kg_m3: Option<f64>,
    wrap_kg_m3: Option<f64>,
    instead_note: Option<String>,
    instead_gauge_mm: Option<f64>,
    instead_gauge_in: Option<Inches>,
    instead_gauge_thou: Option<f64>,
}

/// One string at pitch.
#[derive(Serialize, utoipa::ToSchema)]
struct Pull {
    note: Note,
    frequency_hz: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    gauge_mm: Option<f64>,
    unit_kg_m: f64,
    tension_n: f64,
    tension_lbf: f64,
    /// In a plain string, or in the core of a wound one, as far as it is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    stress_mpa: Option<f64>,
    /// Why it is likely to break, where it is.
    #[serde(skip_serializing_if = "Option::is_none")]
    doubt: Option<String>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct TensionWire {
    scale_mm: f64,
    a4_hz: f64,
    #[serde(flatten)]
    pull: Pull,
    #[serde(skip_serializing_if = "Option::is_none")]
    instead: Option<Pull>,
    #[serde(skip_serializing_if = "Option::is_none")]
    change_n: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    change_pct: Option<f64>,
    basis: &'static str,
}

/// What stays the same of a string that is asked about.
struct Same {
    scale_mm: f64,
    a4_hz: f64,
    made: Made,
}

impl Same {
    fn pull(&self, note: Note, gauge_mm: Option<f64>) -> Result<Pull, Problem> {
        let Weighed { gauge_mm, unit_kg_m, carries, .. } = Made { gauge_mm, ..self.made }.weigh(note, STEEL_KG_M3)?;
        let frequency_hz = equal_temperament_hz(self.a4_hz, note.semitones_from_a4()).map_err(out_of_range)?;
        let pull_n = tension_n(self.scale_mm, frequency_hz, unit_kg_m).map_err(out_of_range)?;
        let stress = carries.and_then(|(mm, kg_m3)| Some((stress_mpa(pull_n, mm).ok()?, kg_m3)));
        Ok(Pull {
            note,
            frequency_hz: (frequency_hz * 1e4).round() / 1e4,
            gauge_mm,
            unit_kg_m,
            tension_n: hundredths(pull_n),
            tension_lbf: hundredths(pull_n / NEWTONS_PER_POUND),
            stress_mpa: stress.map(|(mpa, _)| hundredths(mpa)),
            doubt: stress.and_then(|(mpa, kg_m3)| doubt_of(kg_m3, mpa)),
        })
    }
}

fn note(text: &str, field: &str) -> Result<Note, Problem> {
    Note::new(text).map_err(|e| Problem::from(e).about(field))
}

async fn tension(ask: web::Query<Ask>) -> Answer {
    let ask = ask.into_inner();
    let scale_mm = scale_mm(ask.scale_mm, ask.scale_in.as_ref())?.ok_or_else(|| {
        Problem::new(Kind::Invalid, "the scale length is missing", "send scale_mm or scale_in").about("scale_mm")
    })?;
    let gauge_mm = Gauge { gauge_mm: ask.gauge_mm, gauge_in: ask.gauge_in, gauge_thou: ask.gauge_thou }.mm()?;
    let instead =
        Gauge { gauge_mm: ask.instead_gauge_mm, gauge_in: ask.instead_gauge_in, gauge_thou: ask.instead_gauge_thou };
    let instead_mm = instead.mm()?;
    if instead_mm.is_some() && (ask.unit_kg_m.is_some() || ask.core_mm.is_some()) {
        let detail = "what another gauge of a wound string weighs cannot be told from this one's weight";
        let mend = "ask for the other string by itself, with its unit_kg_m or its core_mm and wrap_mm";
        return Err(Problem::new(Kind::Invalid, detail, mend).about("instead_gauge_mm"));
    }
    let a4_hz = ask.a4_hz.unwrap_or(A4_HZ);
    let Ask { wound, unit_kg_m, core_mm, wrap_mm, core_kg_m3, wrap_kg_m3, density_kg_m3, .. } = ask;
    let made = Made { gauge_mm, wound, unit_kg_m, core_mm, wrap_mm, core_kg_m3, wrap_kg_m3, density_kg_m3 };
    let same = Same { scale_mm, a4_hz, made };
    let first = note(&ask.note, "note")?;
    let pull = same.pull(first, gauge_mm)?;
    let instead_note = ask.instead_note.as_deref().map(|text| note(text, "instead_note")).transpose()?;
    let other = instead_note.is_some() || instead_mm.is_some();
    let instead = other.then(|| same.pull(instead_note.unwrap_or(first), instead_mm.or(gauge_mm))).transpose()?;
    let change_n = instead.as_ref().map(|instead| instead.tension_n - pull.tension_n);
    Ok(HttpResponse::Ok().json(TensionWire {
        scale_mm,
        a4_hz,
        change_n: change_n.map(hundredths),
        change_pct: change_n.map(|n| hundredths(n / pull.tension_n * 100.0)),
        pull,
        instead,
        basis: "T = 4 L² f² μ, the ideal string in equal temperament; steel of 7850 kg/m³ where no density is given",
    }))
}

#[derive(Serialize, utoipa::ToSchema)]
struct FamilyWire {
    #[schema(value_type = crate::twins::Family)]
    family: Family,
    scale_mm: f64,
    #[schema(value_type = Vec<crate::twins::StringFitted>)]
    strings: Vec<facts::StringFitted>,
    total_n: f64,
    source: &'static str,
}

async fn families() -> Answer {
    let wire = |family: Family| {
        let (scale_mm, strings) = usual_strings(family, None);
        let instrument = facts::Id::new("any").expect("letters make an id");
        let fitted = StringsFitted { instrument, family, scale_mm, a4_hz: A4_HZ, strings, half_tension_h: None };
        let total_n = hundredths(Pulls::of(&fitted).total_n());
        FamilyWire { family, scale_mm, strings: fitted.strings, total_n, source: "common practice, no source" }
    };
    Ok(HttpResponse::Ok().json(List::whole(FAMILIES.map(wire))))
}
