//! What the air makes of an instrument's wood: its plates' moisture, when they are back, and what becomes of a crack.
//!
//! The solver runs beside the requests, on air taken out of the bench before: neither a reading nor another request
//! waits for it.

use actix_web::{HttpResponse, web};
use clock::{Closing, Run, STILL_PCT_A_DAY, Start, Target, Times, Waiting, Wood};
use facts::within;
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Shop, plates::instrument};
use crate::{
    alerts::words::ESTIMATE,
    openapi::Api,
    problem::{Kind, Problem},
    state::State,
    wire::{ClimateWire, Named},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/instruments/{id}/moisture").route(web::get().to(moisture)))
        .service(web::resource("/instruments/{id}/cracks").route(web::get().to(cracks)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/instruments/{id}/moisture", "Moisture of its plates").or(&[Kind::Conflict]).gives::<MoistureWire>();
    api.get("/instruments/{id}/cracks", "How far a crack closes as the wood takes up moisture")
        .query::<Crack>(json!({"width_mm": 0.4}))
        .or(&[Kind::Conflict])
        .gives::<CrackWire>();
}

/// Said with every figure about wood.
pub(crate) const BASIS: &str = "Moisture across the thickness only, at a pace of wood that is known to a factor of 2.5 either way: \
     low, likely and high, earliest, likely and safe are its three runs. Times are looked for within 60 days.";

#[derive(Serialize, utoipa::ToSchema)]
struct MoistureWire {
    instrument: String,
    zone: String,
    since: String,
    climate: ClimateWire,
    /// Moisture content that the air of its zone draws wood to.
    emc_now_pct: f64,
    emc_week_pct: f64,
    target: TargetWire,
    plates: Vec<PlateWire>,
    basis: &'static str,
    estimate: &'static str,
}

#[derive(Serialize, utoipa::ToSchema)]
struct TargetWire {
    rh_low_pct: f64,
    rh_high_pct: f64,
    /// Temperature at which humidity is turned into moisture of wood and back.
    temp_c: f64,
    moisture_low_pct: f64,
    moisture_high_pct: f64,
}

#[derive(Serialize, utoipa::ToSchema)]
#[schema(as = PlateMoisture)]
struct PlateWire {
    plate: Named,
    moisture_pct: f64,
    moisture_low_pct: f64,
    moisture_high_pct: f64,
    /// Just under the open face, and at the sealed face or in the middle.
    face_pct: f64,
    core_pct: f64,
    /// The humidity in which it would be in balance.
    equivalent_rh_pct: f64,
    in_band: bool,
    /// What this rests on: `measured`, `assumed` balance with its first air, or `forgotten`, so long ago was it.
    begun: &'static str,
    comes_back: TimesWire,
    /// Hours it would take in the middle of the shop's band.
    in_target_air_h: HoursWire,
    #[serde(skip_serializing_if = "Option::is_none")]
    warning: Option<WarningWire>,
}

#[derive(Serialize, utoipa::ToSchema)]
#[schema(as = WoodTimes)]
struct TimesWire {
    earliest_at: Option<String>,
    likely_at: Option<String>,
    safe_at: Option<String>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct HoursWire {
    earliest: Option<f64>,
    likely: Option<f64>,
    safe: Option<f64>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct WarningWire {
    at: String,
    change_pct: f64,
    across_mm: f64,
    says: String,
}

fn round(value: f64) -> f64 {
    (value * 100.0).round() / 100.0
}

fn times(state: &State, times: Times<i64>) -> TimesWire {
    let at = |ms: Option<i64>| ms.map(|ms| state.rfc3339(ms));
    TimesWire { earliest_at: at(times.earliest), likely_at: at(times.likely), safe_at: at(times.safe) }
}

/// The wood of an instrument as it is now.
///
/// # Errors
/// No such instrument, or nobody has said where it is.
pub(crate) fn wood(shop: &Shop, id: &str) -> Result<Wood, Problem> {
    let instrument = instrument(shop, id)?;
    shop.bench().wood(&instrument, shop.now().ms()).ok_or_else(|| {
        let mend = format!("POST /api/v1/instruments/{id}/move with the zone it is in, and since when");
        Problem::new(Kind::Conflict, format!("nobody has said where \"{id}\" is"), mend)
    })
}

/// Runs plates beside the requests.
///
/// # Errors
/// When that broke off.
pub(crate) async fn run<T: Send + 'static>(
    shop: &Shop,
    wood: Wood,
    ask: impl FnOnce(&State, &Wood) -> T + Send + 'static,
) -> Result<T, Problem> {
    let shop = shop.clone();
    let ran = web::block(move || ask(&shop, &wood)).await;
    ran.map_err(|_| Problem::new(Kind::Internal, "running the plates failed", "try again; the log says more"))
}

async fn moisture(shop: Shop, id: web::Path<String>) -> Answer {
    let (wood, id) = (wood(&shop, &id)?, id.into_inner());
    let answer = run(&shop, wood, |state, wood| {
        let target = state.settings.shop.target();
        let (moisture_low_pct, moisture_high_pct) = target.moisture_pct();
        MoistureWire {
            instrument: id,
            zone: wood.zone.to_string(),
            since: state.rfc3339(wood.since_ms),
            climate: state.climate_wire(wood.climate),
            emc_now_pct: round(wood.emc_now_pct),
            emc_week_pct: round(wood.emc_week_pct),
            target: TargetWire {
                rh_low_pct: target.rh_low_pct,
                rh_high_pct: target.rh_high_pct,
                temp_c: target.temp_c,
                moisture_low_pct: round(moisture_low_pct),
                moisture_high_pct: round(moisture_high_pct),
            },
            plates: wood.runs().map(|run| plate_wire(state, &run, target)).collect(),
            basis: BASIS,
            estimate: ESTIMATE,
        }
    });
    Ok(HttpResponse::Ok().json(answer.await?))
}

fn plate_wire(state: &State, run: &Run<'_>, target: Target) -> PlateWire {
    let [low_pct, likely_pct, high_pct] = run.moisture_pct();
    let (face, core) = (run.profile().next(), run.profile().last());
    let of = |cell: Option<(f64, f64)>| round(cell.map_or(likely_pct, |(_, pct)| pct));
    let hours = run.back_in_target_air(target);
    let tenths = |hours: Option<f64>| hours.map(|hours| (hours * 10.0).round() / 10.0);
    PlateWire {
        plate: Named { id: run.plate.id.to_string(), name: run.plate.name.clone() },
        moisture_pct: round(likely_pct),
        moisture_low_pct: round(low_pct),
        moisture_high_pct: round(high_pct),
        face_pct: of(face),
        core_pct: of(core),
        equivalent_rh_pct: round(target.equivalent_rh_pct(likely_pct)),
        in_band: run.in_band(target),
        begun: match run.start {
            Start::Measured => "measured",
            Start::Assumed => "assumed",
            Start::Forgotten => "forgotten",
        },
        comes_back: times(state, run.back(target)),
        in_target_air_h: HoursWire {
            earliest: tenths(hours.earliest),
            likely: tenths(hours.likely),
            safe: tenths(hours.safe),
        },
        warning: run.waiting(target).map(|waiting| warning(state, run, waiting)),
    }
}

fn warning(state: &State, run: &Run<'_>, waiting: Waiting) -> WarningWire {
    let Waiting { at_ms, change_pct, across_mm } = waiting;
    WarningWire {
        at: state.rfc3339(at_ms),
        change_pct: round(change_pct),
        across_mm: round(across_mm),
        says: waits_badly(run, waiting),
    }
}

/// What becomes of a plate in air that is bad for it, in words.
pub(crate) fn waits_badly(run: &Run<'_>, waiting: Waiting) -> String {
    let (plate, mm) = (&run.plate.name, waiting.across_mm.abs());
    if waiting.change_pct < 0.0 {
        format!(
            "In this air the {plate} dries below the shop's band: it shrinks {mm:.1} mm across and its cracks and \
                 seams open. Move it, case it with a humidifier, or dampen the room."
        )
    } else {
        format!(
            "In this air the {plate} takes up water beyond the shop's band: it swells {mm:.1} mm across, cracks press \
                 shut and the top rises. Move it or dry the room."
        )
    }
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Crack {
    /// Which plate it is in; may be left out when the instrument has one.
    plate: Option<String>,
    /// How wide it stands open now.
    width_mm: Option<f64>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct CrackWire {
    plate: Named,
    width_mm: f64,
    moisture_pct: f64,
    change_per_pct: f64,
    change_of: &'static str,
    change_source: &'static str,
    /// When the plate is back in the shop's band at every pace; none if the air of its zone does not bring it there.
    when_back: Option<ClosingWire>,
    /// After 60 days where it is.
    in_the_end: ClosingWire,
    glue: GlueWire,
    basis: &'static str,
    says: &'static str,
    estimate: &'static str,
}

#[derive(Serialize, utoipa::ToSchema)]
struct ClosingWire {
    at: String,
    moisture_pct: f64,
    closes_mm: f64,
    closes_least_mm: f64,
    closes_most_mm: f64,
    /// What stays open by the likely run; 0 where the wood would close more than there is.
    left_mm: f64,
}

#[derive(Serialize, utoipa::ToSchema)]
struct GlueWire {
    now: bool,
    opens: TimesWire,
    closes_at: Option<String>,
    rule: String,
}

/// Said with every answer about a crack.
pub(crate) const CRACK_SAYS: &str = "The plate is taken to be held at its edges and free between them, with this one crack: several \
     share the movement, braces hold some of it back. What stays open when the plate is back is not for clamps: let in \
     a sliver of the same wood.";

async fn cracks(shop: Shop, id: web::Path<String>, crack: web::Query<Crack>) -> Answer {
    let wood = wood(&shop, &id)?;
    let (plate, width_mm) = (place(&wood, crack.plate.as_deref(), &id)?, width(crack.width_mm)?);
    let answer = run(&shop, wood, move |state, wood| crack_wire(state, &wood.run(plate), width_mm));
    Ok(HttpResponse::Ok().json(answer.await?))
}

/// How wide a crack stands open, checked.
///
/// # Errors
/// When it is not said, or no crack is so wide.
pub(crate) fn width(width_mm: Option<f64>) -> Result<f64, Problem> {
    let mend = "how wide it stands open, for example ?plate=top&width_mm=0.4";
    let width_mm =
        width_mm.ok_or_else(|| Problem::new(Kind::Invalid, "width_mm is missing", mend).about("width_mm"))?;
    Ok(within("width_mm", width_mm, 0.01, 20.0, "mm", mend)?)
}

/// Which of the instrument's plates is meant.
///
/// # Errors
/// When it has none of that id, or several and none is named.
pub(crate) fn place(wood: &Wood, plate: Option<&str>, instrument: &str) -> Result<usize, Problem> {
    let ids: Vec<&str> = wood.plates().map(|plate| plate.id.as_str()).collect();
    let known = match ids.as_slice() {
        [] => format!("POST /api/v1/instruments/{instrument}/plates adds one"),
        ids => format!("it has: {}", ids.join(", ")),
    };
    let (kind, detail) = match (plate, ids.as_slice()) {
        (None, [_]) => return Ok(0),
        (None, _) => (Kind::Invalid, "plate is missing".into()),
        (Some(plate), ids) => match ids.iter().position(|id| *id == plate) {
            Some(place) => return Ok(place),
            None => (Kind::UnknownReference, format!("\"{instrument}\" has no plate \"{plate}\"")),
        },
    };
    Err(Problem::new(kind, detail, known).about("plate"))
}

/// When a crack may be glued.
pub(crate) fn glue_rule() -> String {
    format!(
        "The plate is in the shop's band and stays in it for the coming day, moving no more than {STILL_PCT_A_DAY} % of \
         moisture (common practice, no source)."
    )
}

fn crack_wire(state: &State, run: &Run<'_>, width_mm: f64) -> CrackWire {
    let (target, movement, glue) =
        (state.settings.shop.target(), run.movement(), run.gluing(state.settings.shop.target()));
    let closing = |closing: Closing| {
        let [least_mm, likely_mm, most_mm] = closing.closes_mm;
        ClosingWire {
            at: state.rfc3339(closing.at_ms),
            moisture_pct: round(closing.moisture_pct),
            closes_mm: round(likely_mm),
            closes_least_mm: round(least_mm),
            closes_most_mm: round(most_mm),
            left_mm: round((width_mm - likely_mm).max(0.0)),
        }
    };
    CrackWire {
        plate: Named { id: run.plate.id.to_string(), name: run.plate.name.clone() },
        width_mm,
        moisture_pct: round(run.moisture_pct()[1]),
        change_per_pct: movement.across(run.plate.cut),
        change_of: movement.species,
        change_source: movement.source,
        when_back: run.closing_when_back(target).map(closing),
        in_the_end: closing(run.closing_in_the_end()),
        glue: GlueWire {
            now: run.may_be_glued_now(target),
            opens: times(state, glue.opens),
            closes_at: glue.closes_ms.map(|ms| state.rfc3339(ms)),
            rule: glue_rule(),
        },
        basis: BASIS,
        says: CRACK_SAYS,
        estimate: ESTIMATE,
    }
}
