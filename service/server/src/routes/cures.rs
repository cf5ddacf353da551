//! Glue-ups and coats: registering one, looking at it, taking its clamps off, moving it, changing the version of its rule,
//! withdrawing it.

use std::future::{Ready, ready};

use actix_web::{FromRequest, HttpRequest, HttpResponse, HttpResponseBuilder, dev::Payload, web};
use chrono::{DateTime, Utc};
use clock::{AlertState, Bench, Cure};
use facts::{AlertId, ClampId, CureBegun, CureId, CureKind, Fact, VersionId, ZoneId};
use serde::{Deserialize, Serialize};
use serde_json::json;

use super::{Answer, Paging, Shop};
use crate::{
    alerts::taken_back,
    body::Body,
    coating::CoatRequest,
    compose::{GlueUpRequest, When},
    openapi::Api,
    problem::Problem,
    state::State,
    wire::{CureWire, List, MilestoneWire},
    workshop::Moved,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/glue-ups").route(web::get().to(glue_ups)).route(web::post().to(glue_up)))
        .service(web::resource("/glue-ups/{id}").route(web::get().to(one)))
        .service(web::resource("/glue-ups/{id}/milestones").route(web::get().to(milestones)))
        .service(web::resource("/glue-ups/{id}/clamps-off").route(web::post().to(clamps_off)))
        .service(web::resource("/glue-ups/{id}/move").route(web::post().to(carry)))
        .service(web::resource("/glue-ups/{id}/rule").route(web::post().to(change_rule)))
        .service(web::resource("/glue-ups/{id}/withdraw").route(web::post().to(withdraw)))
        .service(web::resource("/coats").route(web::get().to(coats)).route(web::post().to(coat)))
        .service(web::resource("/coats/{id}").route(web::get().to(one)))
        .service(web::resource("/coats/{id}/milestones").route(web::get().to(milestones)))
        .service(web::resource("/coats/{id}/exposures").route(web::post().to(expose)))
        .service(web::resource("/coats/{id}/move").route(web::post().to(carry)))
        .service(web::resource("/coats/{id}/rule").route(web::post().to(change_rule)))
        .service(web::resource("/coats/{id}/withdraw").route(web::post().to(withdraw)));
}

pub(super) fn describe(api: &mut Api) {
    for (list, one) in [("glue-ups", "glue-up"), ("coats", "coat")] {
        let moved = json!({"zone": "bench"});
        api.get(&format!("/{list}"), &format!("Every {one}, in order of id"))
            .query::<Paging>(json!({}))
            .lists::<CureWire>();
        api.get(&format!("/{list}/{{id}}"), &format!("One {one}")).gives::<CureWire>();
        api.get(&format!("/{list}/{{id}}/milestones"), "Its milestones").lists::<MilestoneWire>();
        api.post(&format!("/{list}/{{id}}/move"), "Carries it to a zone").takes::<Move>(moved).gives::<CureWire>();
        api.post(&format!("/{list}/{{id}}/rule"), "Moves it to another version of its rule")
            .takes::<ChangeRule>(json!({"dry_run": true}))
            .gives::<RuleChanged>();
    }
    api.post("/glue-ups", "Registers a glue-up")
        .takes::<GlueUpRequest>(
            json!({"id": "glue-1", "joint": "bridge", "material": "aliphatic-resin", "zone": "bench",
"clamps": ["cam-1"]}),
        )
        .makes::<CureWire>();
    api.post("/coats", "Registers a coat")
        .takes::<CoatRequest>(json!({"id": "coat-1", "instrument": "guitar", "surface": "top", "material": "shellac",
"zone": "bench", "minutes_ago": 30}))
        .makes::<CureWire>();
    api.post("/coats/{id}/exposures", "It got more light")
        .takes::<Exposure>(json!({"exposure_mj_cm2": 250}))
        .gives::<CureWire>();
    api.post("/glue-ups/{id}/clamps-off", "Takes its clamps off").takes::<ClampsOff>(json!({})).gives::<CureWire>();
    for list in ["glue-ups", "coats"] {
        api.post(&format!("/{list}/{{id}}/withdraw"), "It was registered by mistake")
            .takes::<Withdraw>(json!({"reason": "registered twice"}))
            .gives::<CureWire>();
    }
}

/// The glue-up or coat an address names: each is found under its own list only.
struct Asked {
    kind: CureKind,
    id: String,
}

impl FromRequest for Asked {
    type Error = Problem;
    type Future = Ready<Result<Self, Problem>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let coat = request.match_pattern().is_some_and(|pattern| pattern.starts_with("/api/v1/coats/"));
        let kind = if coat { CureKind::Coat } else { CureKind::GlueUp };
        ready(Ok(Self { kind, id: request.match_info().query("id").into() }))
    }
}

impl Asked {
    fn cure<'a>(&self, bench: &'a Bench) -> Result<&'a Cure, Problem> {
        let word = |kind| if kind == CureKind::Coat { ("coat", "coats") } else { ("glue-up", "glue-ups") };
        match bench.cure(&self.id) {
            Some(cure) if cure.begun.cure_kind == self.kind => Ok(cure),
            Some(cure) => {
                let (what, list) = word(cure.begun.cure_kind);
                let mut problem = Problem::not_found(word(self.kind).0, &self.id);
                problem.mend = format!("it is a {what}: ask for /api/v1/{list}/{}", self.id);
                Err(problem)
            }
            None => Err(Problem::not_found(word(self.kind).0, &self.id)),
        }
    }

    fn known(&self, shop: &Shop) -> Result<CureId, Problem> {
        Ok(self.cure(&shop.bench())?.begun.id.clone())
    }
}

async fn glue_ups(shop: Shop, paging: web::Query<Paging>) -> Answer {
    list(&shop, &paging, CureKind::GlueUp)
}

async fn coats(shop: Shop, paging: web::Query<Paging>) -> Answer {
    list(&shop, &paging, CureKind::Coat)
}

fn list(shop: &Shop, paging: &Paging, kind: CureKind) -> Answer {
    let (bench, now_ms) = (shop.bench(), shop.now().ms());
    let mut of_kind: Vec<_> = bench.cures().iter().filter(|cure| cure.begun.cure_kind == kind).collect();
    of_kind.sort_by(|a, b| a.begun.id.cmp(&b.begun.id));
    let all = of_kind.into_iter().map(|cure| (&cure.begun.id, cure));
    Ok(HttpResponse::Ok().json(paging.part(all, |cure| shop.cure_wire(&bench, cure, now_ms))?))
}

async fn one(shop: Shop, asked: Asked) -> Answer {
    asked.known(&shop)?;
    answer(&shop, &asked.id, HttpResponse::Ok())
}

fn answer(shop: &Shop, id: &str, mut builder: HttpResponseBuilder) -> Answer {
    let bench = shop.bench();
    let cure = bench.cure(id).ok_or_else(|| Problem::not_found("glue-up or coat", id))?;
    Ok(builder.json(shop.cure_wire(&bench, cure, shop.now().ms())))
}

async fn milestones(shop: Shop, asked: Asked) -> Answer {
    let bench = shop.bench();
    let cure = asked.cure(&bench)?;
    Ok(HttpResponse::Ok().json(List::whole(shop.milestones_wire(&bench, cure, shop.now().ms()))))
}

async fn glue_up(shop: Shop, body: Body<GlueUpRequest>) -> Answer {
    let begun = shop.glue_up(body.value.clone())?;
    begin(&shop, begun, &body).await
}

async fn coat(shop: Shop, body: Body<CoatRequest>) -> Answer {
    let begun = shop.coat(body.value.clone())?;
    begin(&shop, begun, &body).await
}

async fn begin<T>(shop: &Shop, begun: CureBegun, body: &Body<T>) -> Answer {
    let id = begun.id.to_string();
    let at_ms = begun.started_at.timestamp_millis();
    let said = shop.say_fact(Fact::CureBegun(begun.into()), at_ms, "bench", body.answer(&id)).await?;
    answer(shop, &super::id_of(&said, &id), HttpResponse::Created())
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct ClampsOff {
    /// Which; all that are on it if not said.
    clamps: Option<Vec<ClampId>>,
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
}

async fn clamps_off(shop: Shop, asked: Asked, body: Body<ClampsOff>) -> Answer {
    let (cure, on) = {
        let bench = shop.bench();
        let known = asked.cure(&bench)?;
        (known.begun.id.clone(), known.clamps_on.clone())
    };
    let kept = body.answer(&asked.id);
    let at_ms = When { at: body.value.at, minutes_ago: body.value.minutes_ago }.ms(shop.now().ms())?;
    let clamps = body.value.clamps.unwrap_or(on);
    shop.clamps_off(cure, clamps, at_ms, kept).await?;
    answer(&shop, &asked.id, HttpResponse::Ok())
}

impl State {
    /// Takes clamps off. Whoever takes the last one off has seen what was told of that glue-up.
    ///
    /// # Errors
    /// When they are not on it, or the store failed.
    pub(crate) async fn clamps_off(
        &self,
        cure: CureId,
        clamps: Vec<ClampId>,
        at_ms: i64,
        kept: Option<store::Answer>,
    ) -> Result<(), Problem> {
        let seen: Vec<Fact> = {
            let bench = self.bench();
            let stay = bench.cure(cure.as_str()).is_some_and(|c| c.clamps_on.iter().any(|on| !clamps.contains(on)));
            let told = if stay { vec![] } else { bench.waiting_alerts(cure.as_str()) };
            let is_open = |alert: &AlertId| bench.alerts().get(alert).is_some_and(|a| a.state == AlertState::Open);
            told.into_iter().filter(is_open).map(|alert| Fact::AlertAcknowledged { alert }).collect()
        };
        let mut saying = self.saying(Fact::ClampsOff { cure, clamps }, at_ms, "bench", vec![], kept);
        let now_ms = self.now().ms();
        saying
            .entries
            .extend(seen.into_iter().flat_map(|fact| self.saying(fact, now_ms, "bench", vec![], None).entries));
        self.say_once(saying).await.map(drop)
    }
}

/// Where something is carried, and when; a cure alone or an instrument with all that cures on it.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Move {
    pub(super) zone: ZoneId,
    pub(super) at: Option<DateTime<Utc>>,
    pub(super) minutes_ago: Option<f64>,
}

/// Light that a coat got which light cures.
#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Exposure {
    /// This time, mJ/cm²; what it had before counts too.
    exposure_mj_cm2: f64,
    at: Option<DateTime<Utc>>,
    minutes_ago: Option<f64>,
}

async fn expose(shop: Shop, asked: Asked, body: Body<Exposure>) -> Answer {
    let cure = asked.known(&shop)?;
    let kept = body.answer(&asked.id);
    let at_ms = When { at: body.value.at, minutes_ago: body.value.minutes_ago }.ms(shop.now().ms())?;
    let exposed = shop.exposed(&cure, body.value.exposure_mj_cm2)?;
    shop.say_fact(Fact::CoatExposed(exposed), at_ms, "bench", kept).await?;
    answer(&shop, &asked.id, HttpResponse::Ok())
}

async fn carry(shop: Shop, asked: Asked, body: Body<Move>) -> Answer {
    let cure = asked.known(&shop)?;
    let kept = body.answer(&asked.id);
    let at_ms = When { at: body.value.at, minutes_ago: body.value.minutes_ago }.ms(shop.now().ms())?;
    shop.say_fact(Fact::CureMoved { cure, zone: body.value.zone }, at_ms, "bench", kept).await?;
    answer(&shop, &asked.id, HttpResponse::Ok())
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct Withdraw {
    reason: String,
}

async fn withdraw(shop: Shop, asked: Asked, body: Body<Withdraw>) -> Answer {
    let cure = asked.known(&shop)?;
    let kept = body.answer(&asked.id);
    let reason = body.value.reason;
    let because = format!("\"{cure}\" was withdrawn: {reason}");
    let told = shop.bench().waiting_alerts(cure.as_str());
    let fact = Fact::CureWithdrawn { cure, reason };
    taken_back::say(&shop, fact, &told, &because, "bench", kept).await?;
    answer(&shop, &asked.id, HttpResponse::Ok())
}

#[derive(Deserialize, utoipa::ToSchema)]
#[serde(deny_unknown_fields)]
struct ChangeRule {
    /// A version its material had in force; the one in force now if not said.
    version: Option<VersionId>,
    /// Says what would move and moves nothing.
    #[serde(default)]
    dry_run: bool,
}

#[derive(Serialize, utoipa::ToSchema)]
struct RuleChanged {
    /// The times that move, or would.
    moved: Vec<Moved>,
    #[serde(flatten)]
    cure: CureWire,
}

/// Moves a cure to another version of its rule, over all the air it has had.
async fn change_rule(shop: Shop, asked: Asked, body: Body<ChangeRule>) -> Answer {
    let kept = body.answer(&asked.id);
    let ChangeRule { version, dry_run } = body.value;
    let (change, moved) = {
        let bench = shop.bench();
        let cure = asked.cure(&bench)?;
        let rule = shop.version_for(&bench, cure, version)?;
        let change = shop.rule_change(&bench, cure, &rule)?;
        let moved = shop.moved(&bench, cure, &rule, &change)?;
        (change, moved)
    };
    if !dry_run {
        shop.say_fact(Fact::CureRuleChanged(change.into()), shop.now().ms(), "bench", kept).await?;
    }
    let bench = shop.bench();
    let cure = asked.cure(&bench)?;
    let cure = shop.cure_wire(&bench, cure, shop.now().ms());
    Ok(HttpResponse::Ok().json(RuleChanged { moved, cure }))
}
