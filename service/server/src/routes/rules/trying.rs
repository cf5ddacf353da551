//! What-if: a draft over an air beside the version in force, and what it would change now. Nothing is put in force.

use std::sync::Arc;

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use clock::Air;
use facts::{JointState, MaterialId, Porosity, RhPct, TempC, within};
use rules::Rule;
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Shop, drafted, material};
use crate::{
    alerts::words::ESTIMATE,
    body::Body,
    openapi::Api,
    problem::{Kind, Problem},
    state::State,
    workshop::{Course, MovedCure, Over, Trying},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/rules/try").route(web::post().to(attempt)))
        .service(web::resource("/rules/{material}/what-would-change").route(web::post().to(what_would_change)));
}

pub(super) fn describe(api: &mut Api) {
    api.post("/rules/try", "Runs a rule in some air")
        .takes::<Try>(json!({"material": "aliphatic-resin", "air": {"temp_c": 15, "rh_pct": 60}}))
        .gives::<Tried>();
    api.post("/rules/{id}/what-would-change", "Which open cures a text would move")
        .takes::<Change>(json!({"text": include_str!("../../../../../scripts/materials/aliphatic-resin.rhai")}))
        .gives::<Changes>();
}

/// The air to try in: constant, or that of a zone.
#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct AirSaid {
    pub(crate) temp_c: Option<TempC>,
    pub(crate) rh_pct: Option<RhPct>,
    pub(crate) zone: Option<String>,
    /// From when; from now, over the forecast, if not said.
    pub(crate) from: Option<DateTime<Utc>>,
    pub(crate) until: Option<DateTime<Utc>>,
}

#[derive(Debug, Clone, Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct JointSaid {
    pub(crate) gap_um: Option<f64>,
    pub(crate) film_um: Option<f64>,
    #[serde(default)]
    #[schema(value_type = crate::twins::Porosity)]
    pub(crate) porosity: Porosity,
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Try {
    /// Whose version in force stands beside the draft; none if not said.
    pub(crate) material: Option<MaterialId>,
    /// The draft; the version in force alone if not said.
    pub(crate) text: Option<String>,
    pub(crate) air: AirSaid,
    pub(crate) joint: Option<JointSaid>,
    /// How far to look; 72 h if neither this nor `until` is said.
    pub(crate) hours: Option<f64>,
    /// Points of the curve, 2 to 1000; 97 if not said.
    pub(crate) points: Option<usize>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct Tried {
    from: Option<String>,
    hours: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    draft: Option<Course>,
    #[serde(skip_serializing_if = "Option::is_none")]
    in_force: Option<Course>,
    estimate: &'static str,
}

/// Longest that is tried, h: a year and a day.
const LONGEST_H: f64 = 24.0 * 366.0;

fn invalid(field: &str, detail: impl Into<String>, mend: &str) -> Problem {
    Problem::new(Kind::Invalid, detail, mend).about(field)
}

/// What was said as what is tried, and when it begins where that is an instant.
///
/// # Errors
/// What is missing or out of range, and a zone whose air is not known then.
pub(crate) fn trying(state: &State, said: &Try) -> Result<(Trying, Option<i64>), Problem> {
    let now_ms = state.now().ms();
    let air = &said.air;
    let (over, from_ms) = match (air.temp_c, air.rh_pct, &air.zone) {
        (Some(temp_c), Some(rh_pct), None) if air.from.is_none() && air.until.is_none() => {
            (Over::Constant(Air::new(temp_c, rh_pct)), None)
        }
        (None, None, Some(zone)) => {
            let from_ms = air.from.map_or(now_ms, |from| from.timestamp_millis());
            kept(state, zone, from_ms, now_ms)?;
            (Over::Zone { zone: zone.clone(), from_ms }, Some(from_ms))
        }
        _ => {
            let mend = "send {\"temp_c\": 20, \"rh_pct\": 50}, or {\"zone\": \"bench\"} with from and until if it was";
            return Err(invalid("air", "air is neither constant nor that of a zone", mend));
        }
    };
    let until_h = air.until.zip(from_ms).map(|(until, from_ms)| (until.timestamp_millis() - from_ms) as f64 / 3.6e6);
    let hours = match (until_h, said.hours) {
        (Some(_), Some(_)) => return Err(invalid("hours", "both hours and until are given", "send one of them")),
        (Some(hours), None) => {
            within("until", hours, 0.01, LONGEST_H, "h after from", "until is at most a year later")?
        }
        (None, hours) => within("hours", hours.unwrap_or(72.0), 0.01, LONGEST_H, "h", "a year at most")?,
    };
    let points = said.points.unwrap_or(97);
    if !(2..=1000).contains(&points) {
        return Err(invalid("points", format!("points is {points}; it must be 2 to 1000"), "leave it out for 97"));
    }
    Ok((Trying { over, joint: joint(said.joint.as_ref())?, hours, points }, from_ms))
}

/// Whether the air of a zone is known from an instant on.
fn kept(state: &State, zone: &str, from_ms: i64, now_ms: i64) -> Result<(), Problem> {
    let bench = state.bench();
    let timeline = bench.timeline(zone).ok_or_else(|| {
        let detail = format!("there is no zone \"{zone}\"");
        Problem::new(Kind::UnknownReference, detail, "GET /api/v1/zones lists them").about("air.zone")
    })?;
    let first_ms = timeline.first().map(|(first_ms, _)| first_ms);
    if from_ms > now_ms {
        return Err(invalid("from", "from lies in the future", "leave it out to try the forecast from now on"));
    }
    match first_ms.is_none_or(|first_ms| from_ms < first_ms) && from_ms < now_ms {
        true => {
            let since = first_ms
                .map_or("no readings are kept".into(), |ms| format!("readings are kept since {}", state.rfc3339(ms)));
            Err(invalid("from", format!("the air of \"{zone}\" is not known then; {since}"), "choose a later time"))
        }
        false => Ok(()),
    }
}

fn joint(said: Option<&JointSaid>) -> Result<JointState, Problem> {
    let gap_um = said.and_then(|joint| joint.gap_um).unwrap_or(100.0);
    let film_um = said.and_then(|joint| joint.film_um).unwrap_or(0.0);
    Ok(JointState {
        gap_um: within("gap_um", gap_um, 0.0, 5000.0, "µm", "a good fit is about 100 µm")?,
        film_um: within("film_um", film_um, 0.0, 2000.0, "µm", "a wet coat is 50 to 150 µm")?,
        porosity: said.map_or_else(Porosity::default, |joint| joint.porosity),
    })
}

/// The version in force of a material.
///
/// # Errors
/// When it no longer compiles.
pub(crate) fn in_force(state: &State, material: &MaterialId) -> Result<Option<Arc<Rule>>, Problem> {
    let version = state.bench().in_force().get(material).cloned();
    Ok(version.map(|version| state.rulebook.rule(&version)).transpose()?)
}

async fn attempt(shop: Shop, body: Body<Try>) -> Answer {
    let mut said = body.value;
    let (trying, from_ms) = trying(&shop, &said)?;
    let beside = said.material.as_ref().map(|material| in_force(&shop, material)).transpose()?.flatten();
    let draft = match said.text.take() {
        Some(text) => Some(drafted(&shop, said.material.as_ref(), text).await??.0),
        None if beside.is_none() => {
            return Err(invalid(
                "text",
                "there is nothing to try",
                "send the draft as text, or a material with a rule",
            ));
        }
        None => None,
    };
    let (state, hours) = (shop.get_ref().clone(), trying.hours);
    let tried = tokio::task::spawn_blocking(move || {
        let draft = draft.map(|draft| state.course(&draft, &trying)).transpose()?;
        let beside = beside.map(|rule| state.course(&rule, &trying)).transpose()?;
        Ok::<_, Problem>((draft, beside))
    });
    let (draft, in_force) = tried.await.map_err(|_| ended())??;
    let from = from_ms.map(|ms| shop.rfc3339(ms));
    Ok(HttpResponse::Ok().json(Tried { from, hours, draft, in_force, estimate: ESTIMATE }))
}

/// What is said when a trial was cut off by a stopping service.
pub(crate) fn ended() -> Problem {
    Problem::new(Kind::Internal, "the trial did not end", "send it again; the log says more")
}

/// Most cures looked at for one answer.
pub(crate) const MOST_CURES: usize = 2000;

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Change {
    text: String,
}

#[derive(Serialize, utoipa::ToSchema)]
struct Changes {
    items: Vec<MovedCure>,
    /// Open glue-ups and coats of the material that were looked at, and how many there are.
    looked_at: usize,
    open: usize,
    estimate: &'static str,
}

async fn what_would_change(shop: Shop, id: web::Path<String>, body: Body<Change>) -> Answer {
    let material = material(&id)?;
    let (draft, _) = drafted(&shop, Some(&material), body.value.text).await??;
    let state = shop.get_ref().clone();
    let asked = tokio::task::spawn_blocking(move || state.what_moves(material.as_str(), &draft, MOST_CURES));
    let (items, looked_at, open) = asked.await.map_err(|_| ended())??;
    Ok(HttpResponse::Ok().json(Changes { items, looked_at, open, estimate: ESTIMATE }))
}
