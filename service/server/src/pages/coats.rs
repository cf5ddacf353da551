//! Coats: where each surface stands, what may touch an instrument, the pots that are stirred, and the air at the gun.

use actix_web::{HttpResponse, web};
use askama::Template;
use clock::{Bench, Cure, Touch};
use facts::{CureKind, InstrumentAdded, MaterialId};
use rules::MaterialKind;
use serde::Deserialize;

use super::{
    choice::{self, Choice},
    frame::{Frame, show},
    moment::Moment,
};
use crate::{
    alerts::words::{ESTIMATE, spoken},
    problem::Problem,
    routes::{
        Answer, Shop,
        spray::{Asked, against, judge},
    },
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/coats").route(web::get().to(coats)));
}

/// A coat in the stack of its surface.
struct CoatRow {
    id: String,
    material: String,
    laid: String,
    /// Dry film, if its rule knows films.
    film: String,
}

struct SurfaceCard {
    name: String,
    top: String,
    /// What the top coat has come to, and what it comes to next.
    reached: String,
    next: Option<(String, Moment)>,
    recoat: String,
    closed: bool,
    beneath: String,
    /// Newest first.
    stack: Vec<CoatRow>,
}

struct TouchRow {
    what: String,
    when: String,
    may: bool,
    warning: bool,
}

struct InstrumentCard {
    id: String,
    name: String,
    surfaces: Vec<SurfaceCard>,
    touches: Vec<TouchRow>,
}

struct PotCard {
    material: String,
    parts: String,
    stirred: String,
    state: &'static str,
    gels: Option<Moment>,
    range: String,
    findings: Vec<String>,
}

/// What the air says to a coat.
struct Gun {
    says: String,
    /// When the air was measured.
    measured: String,
    against: Vec<String>,
    windows: Vec<String>,
    cautions: Vec<String>,
}

#[derive(Template)]
#[template(path = "coats.html")]
struct CoatsPage {
    frame: Frame,
    finishes: Vec<Choice>,
    zones: Vec<Choice>,
    gun: Option<Gun>,
    gun_wrong: String,
    instruments: Vec<InstrumentCard>,
    pots: Vec<PotCard>,
    estimate: &'static str,
}

/// The finish and zone the air is judged for; those of the last coat where nobody says.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Chosen {
    material: Option<String>,
    zone: Option<String>,
}

async fn coats(shop: Shop, chosen: web::Query<Chosen>) -> Answer {
    let (material, zone) = {
        let bench = shop.bench();
        let last = bench.cures().iter().filter(|cure| cure.begun.cure_kind == CureKind::Coat);
        let last = last.max_by_key(|cure| cure.begun.started_at);
        let Chosen { material, zone } = chosen.into_inner();
        (
            material.or_else(|| last.map(|coat| coat.begun.material.to_string())),
            zone.or_else(|| last.map(|coat| coat.begun.zone.to_string())),
        )
    };
    let gun = material.clone().zip(zone.clone()).map(|(material, zone)| gun(&shop, material, zone)).transpose();
    let (gun, gun_wrong) = gun.map_or_else(|wrong| (None, wrong.to_string()), |gun| (gun, String::new()));
    let (bench, now_ms) = (shop.bench(), shop.now().ms());
    let finished = |of: &InstrumentAdded| shop.instrument_card(&bench, of, now_ms);
    let pots = bench.mixes().values().filter(|mix| now_ms - mix.at_ms < 2 * 24 * 3_600_000);
    let page = CoatsPage {
        frame: shop.frame("/coats"),
        finishes: shop.materials(&bench, MaterialKind::Finish, |id| material.as_deref() == Some(id)),
        zones: choice::zones(&bench, |id| zone.as_deref() == Some(id)),
        gun,
        gun_wrong,
        instruments: bench.instruments().values().filter_map(finished).collect(),
        pots: pots.map(|mix| shop.pot_card(&bench, mix, now_ms)).collect(),
        estimate: ESTIMATE,
    };
    show(&page, HttpResponse::Ok())
}

fn gun(shop: &Shop, material: String, zone: String) -> Result<Gun, Problem> {
    let judged =
        judge(shop, &Asked { material: MaterialId::new(material)?, zone, hours: None, surface_below_k: None })?;
    let now_ms = shop.now().ms();
    let window = |window: &clock::SprayWindow| {
        let text = |ms| shop.clock_text(ms, now_ms);
        let retard = if window.retard { ", with retarder" } else { "" };
        let (from, until) = (text(window.from_ms), text(window.until_ms));
        let sure = match window.sure_ms {
            Some(whole) if whole == (window.from_ms, window.until_ms) => ", surely".into(),
            Some((from_ms, until_ms)) => format!(", likely; surely {} to {}", text(from_ms), text(until_ms)),
            None => ", likely".into(),
        };
        format!("{from} to {until}{retard}{sure}")
    };
    Ok(Gun {
        says: judged.says.clone(),
        measured: judged.measured_ms.map_or_else(String::new, |ms| shop.clock_text(ms, now_ms)),
        cautions: judged.rule.sheet.cautions.clone(),
        against: against(shop, &judged.now),
        windows: judged.windows.iter().map(window).collect(),
    })
}

impl State {
    fn instrument_card(&self, bench: &Bench, of: &InstrumentAdded, now_ms: i64) -> Option<InstrumentCard> {
        let tops = bench.top_coats(of.id.as_str());
        if tops.is_empty() {
            return None;
        }
        Some(InstrumentCard {
            id: of.id.to_string(),
            name: of.name.clone(),
            surfaces: tops.iter().map(|coat| self.surface_card(bench, coat, now_ms)).collect(),
            touches: Touch::ALL.map(|touch| self.touch_row(bench, &tops, touch, now_ms)).into(),
        })
    }

    fn surface_card(&self, bench: &Bench, top: &Cure, now_ms: i64) -> SurfaceCard {
        let surface = top.begun.surface.clone().unwrap_or_default();
        let same = |cure: &&Cure| {
            let on = cure.begun.surface.as_ref().is_some_and(|s| s.trim().eq_ignore_ascii_case(surface.trim()));
            on && cure.begun.instrument == top.begun.instrument && cure.withdrawn.is_none()
        };
        let mut stack: Vec<&Cure> = bench.cures().iter().filter(same).collect();
        stack.sort_by_key(|coat| std::cmp::Reverse(coat.begun.started_at));
        let row = |coat: &Cure| CoatRow {
            id: coat.begun.id.to_string(),
            material: self.material_name(coat),
            laid: self.clock_text(coat.begun.started_at.timestamp_millis(), now_ms),
            film: coat
                .begun
                .coat
                .as_ref()
                .and_then(|laid| laid.film)
                .map_or_else(String::new, |film| format!("about {:.0} µm dry", film.dry_um)),
        };
        let milestones = bench.milestones(top, now_ms);
        let opens = |m: &&clock::Milestone<'_>| m.target.meets == facts::Meets::Opens;
        let next = milestones.iter().filter(opens).find(|m| !m.reached && top.is_open());
        let held_um: f64 = top.begun.coat.iter().flat_map(|laid| &laid.beneath).map(|coat| coat.solvent_um).sum();
        SurfaceCard {
            name: surface,
            top: top.begun.id.to_string(),
            reached: milestones
                .iter()
                .filter(opens)
                .rfind(|m| m.reached)
                .map_or_else(|| "wet".into(), |m| spoken(&m.target.stage)),
            next: next.and_then(|m| Some((spoken(&m.target.stage), self.moment(m.safe_ms?, now_ms)))),
            recoat: self.recoat_said(bench, top, now_ms),
            closed: !self.abrade(bench, top, now_ms).is_empty(),
            beneath: if held_um < 0.05 {
                String::new()
            } else {
                format!("{held_um:.1} µm of solvent beneath when it was laid")
            },
            stack: stack.into_iter().map(row).collect(),
        }
    }

    fn touch_row(&self, bench: &Bench, tops: &[&Cure], touch: Touch, now_ms: i64) -> TouchRow {
        let instrument = tops[0].begun.instrument.as_str();
        let states = bench.touched(instrument, touch, now_ms);
        let may = states.iter().all(|state| state.now);
        let marks = |coat: &&Cure| {
            let rule = self.rulebook.rule(&coat.begun.rule_version).ok();
            rule.is_some_and(|rule| {
                rule.sheet.film.iter().any(|film| film.marked_by.iter().any(|by| by == touch.name()))
            })
        };
        TouchRow {
            what: spoken(touch.name()),
            when: match states.last().and_then(|state| state.from_ms) {
                _ if may => "may now".into(),
                Some(ms) => format!("from {}", self.clock_text(ms, now_ms)),
                None => "not in this air".into(),
            },
            may,
            warning: tops.iter().any(marks),
        }
    }

    fn pot_card(&self, bench: &Bench, mix: &clock::Mix, now_ms: i64) -> PotCard {
        let gels = bench.gels(mix, now_ms);
        let text = |ms: Option<i64>| ms.map_or_else(|| "never".into(), |ms| self.clock_text(ms, now_ms));
        let part = |part: &facts::MixPart| format!("{} {:.1} ml", part.name, part.ml);
        let name = self.rulebook.rule(&mix.made.rule_version).map(|rule| rule.sheet.name.clone());
        let state = bench.mix_state(mix, now_ms);
        PotCard {
            material: name.unwrap_or_else(|_| mix.made.material.to_string()),
            parts: mix.made.parts.iter().map(part).collect::<Vec<_>>().join(", "),
            stirred: self.clock_text(mix.at_ms, now_ms),
            state: match state {
                clock::MixState::Live => "live",
                clock::MixState::Doubtful => "may have begun to gel",
                clock::MixState::Gelled => "gelled: do not use it",
            },
            gels: gels.earliest_ms.filter(|_| state == clock::MixState::Live).map(|ms| self.moment(ms, now_ms)),
            range: format!("gels {} to {}", text(gels.earliest_ms), text(gels.safe_ms)),
            findings: mix.made.findings.iter().map(|f| format!("{} {}", f.what, f.mend)).collect(),
        }
    }
}
