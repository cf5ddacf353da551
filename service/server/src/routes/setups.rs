//! Set-up as it was measured over the years: what a day at pitch changed, and when the neck angle will need attention.

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use clock::{NeckAngle, Setup, USUAL_YEARS, Wanted, neck_angle, spares, wanted};
use facts::{Fact, InstrumentId, SetupMeasured, Stage};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Shop, plates::instrument, strings::hundredths};
use crate::{
    alerts::words::ESTIMATE,
    body::Body,
    chart::{Look, width_px},
    compose::When,
    openapi::Api,
    problem::{Kind, Problem},
    setup_chart::{self, SetupChart},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/instruments/{id}/setups").route(web::get().to(list)).route(web::post().to(measure)))
        .service(web::resource("/instruments/{id}/setups/chart.svg").route(web::get().to(chart_svg)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/instruments/{id}/setups", "Set-ups measured").gives::<SetupsWire>();
    api.post("/instruments/{id}/setups", "A set-up measured")
        .takes::<Measure>(json!({"relief_mm": 0.2, "action_mm": 2.4}))
        .makes::<SetupsWire>();
    api.get("/instruments/{id}/setups/chart.svg", "Set-ups over the years, and the saddle to spare, as a chart")
        .query::<Drawn>(json!({"look": "dark"}))
        .gives_media("image/svg+xml");
}

/// How a chart is drawn.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = DrawnSetups)]
struct Drawn {
    /// On what ground.
    #[serde(default)]
    look: Look,
    /// How wide, 320 to 2000 pixels; 1000 if not said.
    width: Option<u32>,
}

async fn chart_svg(shop: Shop, id: web::Path<String>, drawn: web::Query<Drawn>) -> Answer {
    let id = instrument(&shop, &id)?;
    let (look, width_px) = (drawn.look, width_px(drawn.width)?);
    let (setups, wanted) = {
        let bench = shop.bench();
        (bench.setups(id.as_str()).to_vec(), wanted(bench.family(id.as_str())))
    };
    let chart =
        SetupChart { setups: &setups, wanted, zone: shop.zone, unit: shop.settings.shop.length_unit, look, width_px };
    let svg = setup_chart::svg(&chart).map_err(|why| Problem::new(Kind::Internal, why, "the log says more"))?;
    Ok(HttpResponse::Ok().content_type("image/svg+xml").body(svg))
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Measure {
    relief_mm: Option<f64>,
    action_mm: Option<f64>,
    saddle_mm: Option<f64>,
    /// How far off the figures may be; 0.1 mm if it is not said.
    sigma_mm: Option<f64>,
    /// It may lie years back: an instrument comes with a history.
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
}

/// What a careful hand reads. Common practice, no source.
pub(crate) const CAREFUL_MM: f64 = 0.1;
/// A look this long after pitch shows what settling did, ms: a night and more.
const SETTLED_MS: i64 = 20 * 3_600_000;

async fn measure(shop: Shop, id: web::Path<String>, body: Body<Measure>) -> Answer {
    let instrument = instrument(&shop, &id)?;
    let kept = body.answer(&id);
    let Measure { relief_mm, action_mm, saddle_mm, sigma_mm, at, minutes_ago } = body.value;
    let at_ms = When { at, minutes_ago }.ms(shop.now().ms())?;
    let sigma_mm = sigma_mm.unwrap_or(CAREFUL_MM);
    saddle_is_asked(&shop, &instrument, saddle_mm)?;
    let fact = Fact::SetupMeasured(SetupMeasured { instrument, relief_mm, action_mm, saddle_mm, sigma_mm });
    shop.say_fact(fact, at_ms, "bench", kept).await?;
    answer(&shop, &id, HttpResponse::Created())
}

/// A saddle is measured only where one stands in a glued bridge.
///
/// # Errors
/// Names the saddle of an instrument that has none.
pub(crate) fn saddle_is_asked(shop: &Shop, instrument: &InstrumentId, saddle_mm: Option<f64>) -> Result<(), Problem> {
    let asked = wanted(shop.bench().family(instrument.as_str())).is_some();
    match saddle_mm {
        Some(_) if !asked => {
            let detail = "this family has no saddle in a glued bridge";
            let mend = "leave saddle_mm out: relief and action are kept, and no neck angle is foretold from them";
            Err(Problem::new(Kind::Invalid, detail, mend).about("saddle_mm"))
        }
        _ => Ok(()),
    }
}

async fn list(shop: Shop, id: web::Path<String>) -> Answer {
    instrument(&shop, &id)?;
    answer(&shop, &id, HttpResponse::Ok())
}

#[derive(Serialize, utoipa::ToSchema)]
struct SetupWire {
    at: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    relief_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    action_mm: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    saddle_mm: Option<f64>,
    sigma_mm: f64,
}

/// What a day at pitch changed.
#[derive(Serialize, utoipa::ToSchema)]
struct SettledWire {
    from: String,
    to: String,
    relief_mm: Option<f64>,
    action_mm: Option<f64>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct NeckAngleWire {
    /// Saddle to spare above the least, once the action is what is wanted.
    spare_mm: f64,
    mm_a_year: f64,
    mm_a_year_band: f64,
    earliest_at: Option<String>,
    likely_at: Option<String>,
    latest_at: Option<String>,
    says: String,
}

#[derive(Serialize, utoipa::ToSchema)]
struct SetupsWire {
    items: Vec<SetupWire>,
    #[serde(skip_serializing_if = "Option::is_none")]
    settled: Option<SettledWire>,
    #[serde(skip_serializing_if = "Option::is_none")]
    neck_angle: Option<NeckAngleWire>,
    /// Why there is no forecast, or how it was come by.
    basis: String,
    estimate: &'static str,
}

/// What a day at pitch changed: from when to when, ms, and by how much.
pub(crate) struct Settled {
    pub(crate) from_ms: i64,
    pub(crate) to_ms: i64,
    pub(crate) relief_mm: Option<f64>,
    pub(crate) action_mm: Option<f64>,
}

/// The last set-up before a day at pitch was over, against the first after it.
pub(crate) fn settled(setups: &[Setup], pitch_ms: i64) -> Option<Settled> {
    let after = setups.iter().find(|setup| setup.at_ms >= pitch_ms + SETTLED_MS)?;
    let before = setups.iter().rfind(|setup| (pitch_ms..pitch_ms + SETTLED_MS).contains(&setup.at_ms))?;
    let change = |of: fn(&SetupMeasured) -> Option<f64>| {
        of(&after.measured).zip(of(&before.measured)).map(|(after, before)| hundredths(after - before))
    };
    let (from_ms, to_ms) = (before.at_ms, after.at_ms);
    Some(Settled { from_ms, to_ms, relief_mm: change(|m| m.relief_mm), action_mm: change(|m| m.action_mm) })
}

fn settled_wire(state: &State, settled: Settled) -> SettledWire {
    let Settled { from_ms, to_ms, relief_mm, action_mm } = settled;
    SettledWire { from: state.rfc3339(from_ms), to: state.rfc3339(to_ms), relief_mm, action_mm }
}

/// What the forecast of a neck angle comes to, in a sentence.
pub(crate) fn neck_says(state: &State, neck: &NeckAngle) -> String {
    let spare_mm = neck.spares.last().map_or(0.0, |spare| spare.spare_mm);
    match neck.due.likely {
        _ if spare_mm <= 0.0 => "There is no saddle left to spare: the neck angle needs attention now.".into(),
        Some(_) if neck.due.safe.is_none() => {
            "The line reaches the end of the saddle, but the measurements do not yet show that it must.".into()
        }
        Some(ms) => format!("The neck angle will need attention about {}.", &state.rfc3339(ms)[..4]),
        None => "These measurements show no end of the saddle within 60 years.".into(),
    }
}

/// How that forecast was come by, or why there is none.
pub(crate) fn basis(setups: &[Setup], wanted: Option<Wanted>, neck: Option<&NeckAngle>) -> String {
    let Some(wanted) = wanted else {
        return "A neck angle is foretold from the saddle of a glued bridge. This family has none: its bridge is cut or raised, \
                and its neck is judged by where the fingerboard points at the bridge."
            .into();
    };
    let (low, high) = USUAL_YEARS;
    let usual = format!("By construction a neck angle lasts {low:.0} to {high:.0} years: common practice, no source.");
    match neck {
        Some(neck) => {
            let Wanted { action_mm, least_saddle_mm } = wanted;
            format!(
                "A weighted line with its 80 % band through {} set-ups: saddle above {least_saddle_mm} mm, less twice the \
                 action above {action_mm} mm. {usual}",
                neck.spares.len()
            )
        }
        None => format!(
            "A forecast needs action and saddle (action_mm, saddle_mm) on at least three days; there are {} such set-ups. \
             {usual}",
            spares(setups, wanted).len()
        ),
    }
}

fn neck_wire(state: &State, neck: &NeckAngle) -> NeckAngleWire {
    let spare_mm = neck.spares.last().map_or(0.0, |spare| spare.spare_mm);
    let at = |ms: Option<i64>| ms.map(|ms| state.rfc3339(ms));
    NeckAngleWire {
        spare_mm: hundredths(spare_mm),
        mm_a_year: (neck.mm_a_year * 1e4).round() / 1e4,
        mm_a_year_band: (neck.mm_a_year_band * 1e4).round() / 1e4,
        earliest_at: at(neck.due.earliest),
        likely_at: at(neck.due.likely),
        latest_at: at(neck.due.safe),
        says: neck_says(state, neck),
    }
}

fn answer(shop: &Shop, id: &str, mut builder: actix_web::HttpResponseBuilder) -> Answer {
    let bench = shop.bench();
    let setups = bench.setups(id);
    let pitch_ms = bench.strung(id).and_then(|strung| strung.stages.get(&Stage::FullPitch).copied());
    let wanted = wanted(bench.family(id));
    let neck = wanted.and_then(|wanted| neck_angle(setups, wanted));
    let wire = |setup: &Setup| SetupWire {
        at: shop.rfc3339(setup.at_ms),
        relief_mm: setup.measured.relief_mm,
        action_mm: setup.measured.action_mm,
        saddle_mm: setup.measured.saddle_mm,
        sigma_mm: setup.measured.sigma_mm,
    };
    Ok(builder.json(SetupsWire {
        items: setups.iter().map(wire).collect(),
        settled: pitch_ms.and_then(|pitch_ms| settled(setups, pitch_ms)).map(|of| settled_wire(shop, of)),
        neck_angle: neck.as_ref().map(|neck| neck_wire(shop, neck)),
        basis: basis(setups, wanted, neck.as_ref()),
        estimate: ESTIMATE,
    }))
}
