//! Safe to string: the answer with what holds it back, the stages, and the chart of strength.

use actix_web::{HttpResponse, web};
use chrono::{DateTime, Utc};
use clock::{Item, JointStanding, StageDue, StringUp, Times, Wait};
use facts::{Fact, JointLoaded, Stage, StageReached};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Shop, plates::instrument, strings::no_strings};
use crate::{
    alerts::words::ESTIMATE,
    body::Body,
    chart::width_px,
    compose::When,
    openapi::Api,
    problem::{Kind, Problem},
    state::State,
    strength_chart,
    string_up::{not_judged, standing, word},
    wire::{List, Named},
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/instruments/{id}/string-up").route(web::get().to(show)))
        .service(web::resource("/instruments/{id}/string-up/chart.svg").route(web::get().to(chart)))
        .service(
            web::resource("/instruments/{id}/string-stages").route(web::get().to(stages)).route(web::post().to(reach)),
        );
}

pub(super) fn describe(api: &mut Api) {
    api.get("/instruments/{id}/string-up", "When it may be strung, and what it waits for")
        .or(&[Kind::Conflict])
        .gives::<StringUpWire>();
    api.get("/instruments/{id}/string-up/chart.svg", "The strength of its joints as a chart")
        .query::<Drawn>(json!({"width": 420}))
        .or(&[Kind::Conflict])
        .gives_media("image/svg+xml");
    api.get("/instruments/{id}/string-stages", "The stages of stringing up").or(&[Kind::Conflict]).lists::<StageWire>();
    api.post("/instruments/{id}/string-stages", "Says that a stage is reached")
        .takes::<Reach>(json!({"stage": "half_tension"}))
        .makes::<StringUpWire>();
}

/// Said with every answer: how it was come by.
const BASIS: &str = "Load by simple statics from the pull of the strings; strength by the rule of the glue at its age in this \
     zone's air, of clear wood at 12 % moisture; safe is the slow end of both the rule's spread and the forecast.";

#[derive(Serialize, utoipa::ToSchema)]
struct TimesWire {
    earliest_at: Option<String>,
    likely_at: Option<String>,
    safe_at: Option<String>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct ItemWire {
    kind: &'static str,
    id: String,
    name: String,
    /// `holds`: nothing more is needed; `waits` for time; `to_do` for somebody; `never` by waiting.
    state: &'static str,
    #[serde(flatten)]
    times: Option<TimesWire>,
    says: String,
    #[serde(skip_serializing_if = "String::is_empty")]
    mend: String,
}

#[derive(Serialize, utoipa::ToSchema)]
struct LimitingWire {
    #[serde(flatten)]
    item: ItemWire,
    /// Hours by which the next thing trails it.
    next_trails_h: Option<f64>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct JointWire {
    joint: Named,
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(value_type = Option<crate::twins::JointLoaded>)]
    load: Option<JointLoaded>,
    #[serde(skip_serializing_if = "Option::is_none")]
    shear_mpa: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    peel_mpa: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bound_shear_mpa: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bound_peel_mpa: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    bound_source: Option<&'static str>,
    reduction: f64,
    /// Share of full strength that is asked, none while nobody said how it is loaded, and that has developed, at the safe end.
    required: Option<f64>,
    developed: f64,
    curve: Vec<PointWire>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct PointWire {
    at: String,
    likely: f64,
    safe: f64,
}

#[derive(Serialize, utoipa::ToSchema)]
struct StageWire {
    #[schema(value_type = crate::twins::Stage)]
    stage: Stage,
    due_at: Option<String>,
    reached_at: Option<String>,
    may_be_done: bool,
}

#[derive(Serialize, utoipa::ToSchema)]
struct ElsewhereWire {
    temp_c: f64,
    /// Its humidity: of a warm box what it is to be kept at, of a cold room what it comes to.
    rh_pct: f64,
    /// Of the box: what its air would come to if it were only warmed.
    #[serde(skip_serializing_if = "Option::is_none")]
    unkept_rh_pct: Option<f64>,
    safe_at: Option<String>,
    saves_h: Option<f64>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct StringUpWire {
    instrument: Named,
    /// `ready`, `not_yet`, `not_judged` while nobody said how a joint is loaded and nothing else holds it back; `strung` once
    /// it is at pitch, `slack_off` while what bears the strings is not ready for that.
    state: &'static str,
    says: String,
    #[serde(flatten)]
    times: TimesWire,
    limiting: Option<LimitingWire>,
    items: Vec<ItemWire>,
    joints: Vec<JointWire>,
    total_n: f64,
    margin: f64,
    elsewhere: Vec<ElsewhereWire>,
    elsewhere_says: Vec<String>,
    stages: Vec<StageWire>,
    not_judged: Vec<String>,
    cautions: Vec<String>,
    basis: &'static str,
    estimate: &'static str,
}

fn places(value: f64, n: i32) -> f64 {
    let by = 10_f64.powi(n);
    (value * by).round() / by
}

fn times(state: &State, times: Times<i64>) -> TimesWire {
    let at = |ms: Option<i64>| ms.map(|ms| state.rfc3339(ms));
    TimesWire { earliest_at: at(times.earliest), likely_at: at(times.likely), safe_at: at(times.safe) }
}

fn item_wire(state: &State, item: &Item, now_ms: i64) -> ItemWire {
    ItemWire {
        kind: word(item.kind),
        id: item.id.clone(),
        name: item.name.clone(),
        state: standing(item, now_ms),
        times: if let Wait::Until(of) = item.wait { Some(times(state, of)) } else { None },
        says: item.says.clone(),
        mend: item.mend.clone(),
    }
}

fn joint_wire(state: &State, joint: &JointStanding) -> JointWire {
    let point = |point: &clock::CurvePoint| PointWire {
        at: state.rfc3339(point.at_ms),
        likely: places(point.likely, 3),
        safe: places(point.safe, 3),
    };
    JointWire {
        joint: Named { id: joint.joint.id.to_string(), name: joint.joint.name.clone() },
        load: joint.load.clone(),
        shear_mpa: joint.stress.map(|stress| places(stress.shear_mpa, 4)),
        peel_mpa: joint.stress.map(|stress| places(stress.peel_mpa, 4)),
        bound_shear_mpa: joint.bound.map(|bound| bound.shear_mpa),
        bound_peel_mpa: joint.bound.map(|bound| bound.peel_mpa),
        bound_source: joint.bound.map(|bound| bound.source),
        reduction: places(joint.reduction, 3),
        required: joint.load.as_ref().map(|_| places(joint.required, 4)),
        developed: places(joint.developed, 4),
        curve: joint.curve.iter().map(point).collect(),
    }
}

fn stage_wire(state: &State, up: &StringUp, due: &StageDue) -> StageWire {
    StageWire {
        stage: due.stage,
        due_at: due.due_ms.map(|ms| state.rfc3339(ms)),
        reached_at: due.reached_ms.map(|ms| state.rfc3339(ms)),
        may_be_done: due.reached_ms.is_none() && up.may_be_done(due),
    }
}

fn wire(state: &State, up: &StringUp) -> StringUpWire {
    let name = state.bench().instruments().get(&up.instrument).map_or_else(String::new, |i| i.name.clone());
    let limiting = up.limiting().map(|(item, next_trails_h)| LimitingWire {
        item: item_wire(state, item, up.now_ms),
        next_trails_h: next_trails_h.map(|h| places(h, 1)),
    });
    let elsewhere = up.elsewhere().into_iter().map(|other| ElsewhereWire {
        temp_c: other.other.air.temp_c,
        rh_pct: places(other.other.air.rh_pct, 1),
        unkept_rh_pct: other.other.unkept_rh_pct.map(|pct| places(pct, 1)),
        safe_at: other.safe_ms.map(|ms| state.rfc3339(ms)),
        saves_h: other.saves_h.map(|h| places(h, 1)),
    });
    StringUpWire {
        instrument: Named { id: up.instrument.to_string(), name },
        state: match (up.strung.stages.contains_key(&Stage::FullPitch), up.ready()) {
            (true, _) if up.too_soon().is_some() => "slack_off",
            (true, _) => "strung",
            (false, true) => "ready",
            (false, false) if up.not_judged() => "not_judged",
            (false, false) => "not_yet",
        },
        says: state.said_of(up),
        times: times(state, up.times()),
        limiting,
        items: up.items.iter().map(|item| item_wire(state, item, up.now_ms)).collect(),
        joints: up.joints.iter().map(|joint| joint_wire(state, joint)).collect(),
        total_n: places(up.pulls.total_n(), 1),
        margin: up.margin,
        elsewhere: elsewhere.collect(),
        elsewhere_says: state.elsewhere_said(up),
        stages: up.schedule().iter().map(|due| stage_wire(state, up, due)).collect(),
        not_judged: not_judged(up),
        cautions: state.string_up_cautions(up),
        basis: BASIS,
        estimate: ESTIMATE,
    }
}

/// The answer for the instrument in the address.
///
/// # Errors
/// No such instrument, or nobody has said which strings it is to have.
pub(crate) async fn answered(shop: &Shop, id: &str) -> Result<StringUp, Problem> {
    let instrument = instrument(shop, id)?;
    shop.string_up(&instrument).await?.ok_or_else(|| no_strings(id))
}

async fn show(shop: Shop, id: web::Path<String>) -> Answer {
    let up = answered(&shop, &id).await?;
    Ok(HttpResponse::Ok().json(wire(&shop, &up)))
}

/// How a chart is drawn.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = DrawnStrength)]
struct Drawn {
    /// How wide, 320 to 2000 pixels; 1000 if not said.
    width: Option<u32>,
}

async fn chart(shop: Shop, id: web::Path<String>, drawn: web::Query<Drawn>) -> Answer {
    let width_px = width_px(drawn.width)?;
    let up = answered(&shop, &id).await?;
    let svg =
        strength_chart::svg(&up, width_px).map_err(|what| Problem::new(Kind::Internal, what, "the log says more"))?;
    Ok(HttpResponse::Ok().content_type("image/svg+xml").body(svg))
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Reach {
    #[schema(value_type = crate::twins::Stage)]
    stage: Stage,
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
}

async fn reach(shop: Shop, id: web::Path<String>, body: Body<Reach>) -> Answer {
    let instrument = instrument(&shop, &id)?;
    let kept = body.answer(&id);
    let Reach { stage, at, minutes_ago } = body.value;
    let at_ms = When { at, minutes_ago }.ms(shop.now().ms())?;
    let fact = Fact::StageReached(StageReached { instrument, stage });
    shop.say_fact(fact, at_ms, "bench", kept).await?;
    let up = answered(&shop, &id).await?;
    Ok(HttpResponse::Created().json(wire(&shop, &up)))
}

async fn stages(shop: Shop, id: web::Path<String>) -> Answer {
    let up = answered(&shop, &id).await?;
    let stages: Vec<_> = up.schedule().iter().map(|due| stage_wire(&shop, &up, due)).collect();
    Ok(HttpResponse::Ok().json(List::whole(stages)))
}
