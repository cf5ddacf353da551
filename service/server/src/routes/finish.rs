//! The finish of an instrument: what may touch it now, when the rest may, and where each surface stands.

use actix_web::{HttpResponse, web};
use clock::{Bench, Cure, RecoatWindow, Touch};
use serde::Serialize;

use super::{Answer, Shop, plates::instrument};
use crate::{alerts::words::ESTIMATE, openapi::Api, state::State, wire::Named};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/instruments/{id}/finish").route(web::get().to(finish)));
}

pub(super) fn describe(api: &mut Api) {
    api.get("/instruments/{id}/finish", "What may touch the finish, and what may be laid on it").gives::<FinishWire>();
}

#[derive(Serialize, utoipa::ToSchema)]
struct FinishWire {
    instrument: String,
    at: String,
    touches: Vec<TouchWire>,
    surfaces: Vec<SurfaceWire>,
    cautions: Vec<String>,
    estimate: &'static str,
}

#[derive(Serialize, utoipa::ToSchema)]
struct TouchWire {
    touch: &'static str,
    /// The stage it waits for.
    stage: &'static str,
    may_now: bool,
    /// From when on it may, at the time that does no harm.
    from: Option<String>,
    /// The surface that lets it last.
    #[serde(skip_serializing_if = "Option::is_none")]
    last: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    warning: Option<String>,
}

#[derive(Serialize, utoipa::ToSchema)]
struct SurfaceWire {
    surface: String,
    coat: String,
    material: Named,
    coats_beneath: usize,
    solvent_beneath_um: f64,
    /// The furthest stage it has come to.
    reached: Option<String>,
    recoat: RecoatWire,
}

/// The window to recoat, as answers have it.
#[derive(Serialize, utoipa::ToSchema)]
pub(crate) struct RecoatWire {
    /// `wet` where it has not had its light, `stays` where it never closes, `closes`, `closed`.
    state: &'static str,
    closes_at: Option<String>,
    says: &'static str,
}

impl State {
    /// The window to recoat of a top coat.
    pub(crate) fn recoat_wire(&self, bench: &Bench, cure: &Cure, now_ms: i64) -> RecoatWire {
        let (state, closes_ms, says) = match bench.recoat_window(cure, now_ms) {
            RecoatWindow::Wet => ("wet", None, "expose it again first: it has not had its light"),
            RecoatWindow::Stays => ("stays", None, "the next coat bites whenever it is laid"),
            RecoatWindow::Closes(ms) => ("closes", ms, "lay the next coat before it closes, or abrade first"),
            RecoatWindow::Closed(ms) => ("closed", Some(ms), ABRADE),
        };
        RecoatWire { state, closes_at: closes_ms.map(|ms| self.rfc3339(ms)), says }
    }
}

/// Said once a window to recoat has closed.
pub(crate) const ABRADE: &str = "abrade before recoat";

async fn finish(shop: Shop, id: web::Path<String>) -> Answer {
    let instrument = instrument(&shop, &id)?;
    let (bench, now_ms) = (shop.bench(), shop.now().ms());
    let rule = |coat: &Cure| shop.rulebook.rule(&coat.begun.rule_version).ok();
    let tops = bench.top_coats(instrument.as_str());
    let touch = |touch: Touch| {
        let states = bench.touched(instrument.as_str(), touch, now_ms);
        let marked = tops.iter().find(|coat| {
            let film = rule(coat).and_then(|rule| rule.sheet.film.clone());
            film.is_some_and(|film| film.marked_by.iter().any(|name| name == touch.name()))
        });
        let last = states.last();
        TouchWire {
            touch: touch.name(),
            stage: touch.stage(),
            may_now: states.iter().all(|state| state.now),
            from: last.and_then(|state| state.from_ms).map(|ms| shop.rfc3339(ms)),
            last: last.and_then(|state| state.coat.begun.surface.clone()),
            warning: marked.map(|coat| {
                format!("{} can be marked by it for as long as it lives: keep cloth between", coat.begun.material)
            }),
        }
    };
    let surface = |coat: &&Cure| {
        let milestones = bench.milestones(coat, now_ms);
        let furthest = milestones.iter().rfind(|m| m.reached && m.target.meets == facts::Meets::Opens);
        let beneath = coat.begun.coat.as_ref().map_or(&[][..], |laid| &laid.beneath);
        let held_um: f64 = beneath.iter().map(|coat| coat.solvent_um).sum();
        SurfaceWire {
            surface: coat.begun.surface.clone().unwrap_or_default(),
            coat: coat.begun.id.to_string(),
            material: Named {
                id: coat.begun.material.to_string(),
                name: rule(coat).map_or_else(String::new, |rule| rule.sheet.name.clone()),
            },
            coats_beneath: beneath.len(),
            solvent_beneath_um: (held_um * 100.0).round() / 100.0,
            reached: furthest.map(|m| m.target.stage.clone()),
            recoat: shop.recoat_wire(&bench, coat, now_ms),
        }
    };
    let mut cautions: Vec<String> = Vec::new();
    for caution in tops.iter().filter_map(|coat| rule(coat)).flat_map(|rule| rule.sheet.cautions.clone()) {
        if !cautions.contains(&caution) {
            cautions.push(caution);
        }
    }
    Ok(HttpResponse::Ok().json(FinishWire {
        instrument: instrument.to_string(),
        at: shop.rfc3339(now_ms),
        touches: Touch::ALL.into_iter().map(touch).collect(),
        surfaces: tops.iter().map(surface).collect(),
        cautions,
        estimate: ESTIMATE,
    }))
}
