//! The bench board: what to do first stands first. Ready now, windows about to close, what is at risk and why, what
//! cures, what is next at the bench, what was told, the air and the clamps.

use std::collections::BTreeSet;

use actix_web::{HttpResponse, web};
use askama::Template;
use clock::{Alert, AlertState, Bench, Board, Cure, CureLine};
use facts::{AlertId, AlertKind, CureId, Fact, Meets};
use serde::Deserialize;

use super::{
    form::{Fields, new_key},
    frame::{Frame, see_other, show},
    moment::Moment,
};
use crate::{
    alerts::words::{self, ESTIMATE, place, spoken},
    problem::Problem,
    routes::{Answer, Shop},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config
        .service(web::resource("/").route(web::get().to(board)))
        .service(web::resource("/alerts/{id}/seen").route(web::post().to(seen)));
}

/// Something that can be done now: clamps to take off, or a stage that was reached and that nobody has seen yet.
struct ReadyCard {
    cure: String,
    what: String,
    /// "Clamps can come off", "recoat opens".
    stage: String,
    clamps: String,
    next: String,
    spoiled: bool,
    /// The alert to answer, where there is no clamp to take off.
    alert: Option<String>,
}

/// A glue-up or coat with something still to come.
struct CureCard {
    id: String,
    place: String,
    material: String,
    zone: String,
    stage: String,
    when: Option<Moment>,
    assumed: bool,
    /// What to do before the next coat, once the window to recoat has closed.
    recoat: &'static str,
}

/// Something that may go wrong, and why.
struct RiskCard {
    href: String,
    what: String,
    why: String,
    /// What to do, or to mind.
    then: String,
}

impl RiskCard {
    /// Its first sentence says why, what follows what to do.
    fn new(href: String, what: String, said: &str) -> Self {
        let (why, then) = said.split_once(". ").map_or((said, ""), |(why, then)| (why, then));
        Self { href, what, why: format!("{}.", why.trim_end_matches('.')), then: then.into() }
    }
}

struct NextCard {
    title: String,
    job: String,
    job_title: String,
    /// Where it is registered, if it is a glue-up or a coat that can be begun.
    register: Option<String>,
    waits: bool,
}

/// An instrument that is to be strung.
struct StringsCard {
    instrument: String,
    name: String,
    says: String,
}

struct AlertCard {
    id: String,
    title: String,
    body: String,
    when: String,
    late: bool,
}

struct AirCard {
    name: String,
    temp: String,
    rh: String,
    read: String,
}

#[derive(Template)]
#[template(path = "board.html")]
struct BoardPage {
    frame: Frame,
    key: String,
    now: String,
    /// What a shop that is new does first: where, and the words for it.
    first_steps: Vec<(&'static str, &'static str)>,
    ready: Vec<ReadyCard>,
    ready_more: usize,
    closing: Vec<CureCard>,
    risk: Vec<RiskCard>,
    risk_more: usize,
    curing: Vec<CureCard>,
    curing_more: usize,
    next: Vec<NextCard>,
    next_more: usize,
    strings: Vec<StringsCard>,
    alerts: Vec<AlertCard>,
    alerts_more: usize,
    airs: Vec<AirCard>,
    airs_more: usize,
    clamps_free: Vec<String>,
    clamps_all: usize,
    estimate: &'static str,
}

/// Most cures the board shows; a wall can hold no more.
const ON_THE_WALL: usize = 200;
/// Most cards of a kind, steps and alerts shown there.
const SHOWN: usize = 12;
/// Most of each where all are asked for.
const MOST: usize = 1000;
/// Most rooms whose air is shown.
const ROOMS: usize = 24;
/// A window closes soon when less than this is left, ms.
const SOON_MS: i64 = 12 * 3_600_000;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Which {
    /// Every card of what waits and what is at risk, and not the first few.
    #[serde(default)]
    all: bool,
}

async fn board(shop: Shop, which: web::Query<Which>) -> Answer {
    let (cures, shown) = if which.all { (MOST, MOST) } else { (ON_THE_WALL, SHOWN) };
    show(&shop.board_page(cures, shown), HttpResponse::Ok())
}

impl State {
    /// The board with so many cures, and so many cards of what waits and what is at risk.
    fn board_page(&self, cures: usize, shown: usize) -> BoardPage {
        let (bench, now_ms) = (self.bench(), self.now().ms());
        let board = bench.board(now_ms, cures);
        let (ready, of_ready) = self.ready(&bench, &board, shown);
        let mut risk = self.risks(&bench, &board);
        let is_closing = |line: &&CureLine<'_>| {
            let target = line.next.map(|m| &line.cure.begun.milestones[m]);
            target.is_some_and(|target| target.meets == Meets::Closes)
                && line.next_ms.is_some_and(|at_ms| at_ms - now_ms < SOON_MS)
        };
        let card = |line: &CureLine<'_>| self.cure_card(&bench, line, now_ms);
        // By what comes next: a cure whose clamps wait stands above, in what is ready.
        let mut coming: Vec<&CureLine<'_>> = board.cures.iter().filter(|line| line.next.is_some()).collect();
        coming.sort_by_key(|line| line.next_ms.unwrap_or(i64::MAX));
        let (closing, curing): (Vec<_>, Vec<_>) = coming.into_iter().partition(is_closing);
        let mut open: Vec<&Alert> = bench.alerts_open().collect();
        open.retain(|alert| is_news(&bench, alert, &of_ready));
        open.sort_by_key(|alert| std::cmp::Reverse(alert.seq));
        let risk_more = risk.len().saturating_sub(shown);
        risk.truncate(shown);
        BoardPage {
            frame: self.frame("/"),
            key: new_key(),
            now: self.long_text(now_ms),
            first_steps: first_steps(&bench),
            closing: closing.into_iter().map(card).collect(),
            risk,
            risk_more,
            curing: curing.into_iter().map(card).collect(),
            curing_more: bench.open_cures().saturating_sub(cures),
            next: first_doable(&board.next).into_iter().take(SHOWN).map(next_card).collect(),
            next_more: board.next.len().saturating_sub(SHOWN),
            strings: self.strings_cards(&bench, now_ms),
            alerts: open.iter().take(SHOWN).map(|alert| self.alert_card(alert, now_ms)).collect(),
            alerts_more: open.len().saturating_sub(SHOWN),
            airs: board.zones.iter().take(ROOMS).map(|line| self.air_card(line, now_ms)).collect(),
            airs_more: bench.zones().count().saturating_sub(ROOMS),
            clamps_free: clamp_names(&bench, &board),
            clamps_all: board.clamps.iter().filter(|line| !line.away).count(),
            ready_more: of_ready.len() - ready.len(),
            ready,
            estimate: ESTIMATE,
        }
    }

    /// Clamps that can come off, then stages reached that nobody has seen, the newest of each cure: at most so many, and
    /// every cure there is one of.
    fn ready(&self, bench: &Bench, board: &Board<'_>, at_most: usize) -> (Vec<ReadyCard>, BTreeSet<CureId>) {
        let (mut ready, mut of) = (Vec::new(), BTreeSet::new());
        for line in board.cures.iter().filter(|line| line.release_clamps) {
            of.insert(line.cure.begun.id.clone());
            if ready.len() < at_most {
                ready.push(ReadyCard {
                    cure: line.cure.begun.id.to_string(),
                    what: place(bench, line.cure),
                    stage: "Clamps can come off".into(),
                    clamps: names(bench, &line.cure.clamps_on),
                    next: line
                        .cure
                        .releasing()
                        .map_or_else(String::new, |m| line.cure.begun.milestones[m].next.clone()),
                    spoiled: !line.broken.is_empty(),
                    alert: None,
                });
            }
        }
        let reached = |alert: &&Alert| alert.raised.alert_kind == AlertKind::Milestone;
        let mut reached: Vec<&Alert> = bench.alerts_open().filter(reached).collect();
        reached.sort_by_key(|alert| std::cmp::Reverse(alert.seq));
        for alert in reached {
            let Some(cure) = opens(bench, alert) else { continue };
            let target = cure.begun.milestones.iter().find(|target| target.stage == alert.raised.stage);
            let (Some(target), true) = (target, of.insert(cure.begun.id.clone())) else { continue };
            if ready.len() < at_most {
                ready.push(ReadyCard {
                    cure: cure.begun.id.to_string(),
                    what: place(bench, cure),
                    stage: words::spoken(&target.stage),
                    clamps: String::new(),
                    next: target.next.clone(),
                    spoiled: false,
                    alert: Some(alert.raised.id.to_string()),
                });
            }
        }
        (ready, of)
    }

    fn risks(&self, bench: &Bench, board: &Board<'_>) -> Vec<RiskCard> {
        let mut risks = Vec::new();
        for line in &board.cures {
            let why = if let Some((limit, since_ms, air)) = line.broken.first() {
                words::broken(self, limit, *since_ms, *air)
            } else if line.next.is_some() && line.next_ms.is_none() {
                "In the air that is expected it does not get there: warm or dry the room.".into()
            } else {
                continue;
            };
            let href = format!("/cures/{}", line.cure.begun.id);
            risks.push(RiskCard::new(href, place(bench, line.cure), &why));
        }
        let of_room = [AlertKind::Climate, AlertKind::SensorSilent];
        let open = bench.alerts_open();
        let of_room = open.filter(|alert| of_room.contains(&alert.raised.alert_kind));
        risks.extend(
            of_room
                .map(|alert| RiskCard::new("/climate".into(), alert.raised.title.clone(), &bare(&alert.raised.body))),
        );
        risks
    }

    fn cure_card(&self, bench: &Bench, line: &CureLine<'_>, now_ms: i64) -> CureCard {
        CureCard {
            id: line.cure.begun.id.to_string(),
            place: place(bench, line.cure),
            material: self.material_name(line.cure),
            zone: bench.zone(line.zone.as_str()).map_or_else(String::new, |zone| zone.name.clone()),
            stage: line.next.map_or_else(String::new, |m| spoken(&line.cure.begun.milestones[m].stage)),
            when: line.next_ms.map(|at_ms| self.moment(at_ms, now_ms)),
            assumed: line.climate.is_assumed(),
            recoat: self.abrade(bench, line.cure, now_ms),
        }
    }

    /// Instruments that are not at pitch yet, or are too soon, and what holds their strings back. The wood is left to the
    /// sheet: running plates takes longer than the wall may wait.
    fn strings_cards(&self, bench: &Bench, now_ms: i64) -> Vec<StringsCard> {
        let target = self.settings.shop.target();
        let card = |instrument: &facts::InstrumentId| {
            let up = bench.string_up(instrument, self.settings.string_up.margin, target, now_ms)?;
            let strung = up.strung.stages.contains_key(&facts::Stage::FullPitch);
            let says = match (up.limiting(), up.times().safe) {
                _ if up.too_soon().is_some() => "at pitch too soon: slack it off".into(),
                _ if strung => return None,
                (None, _) => "nothing but the wood is left to look at".into(),
                (Some((item, _)), Some(safe_ms)) if safe_ms > now_ms => {
                    format!("not before {}: {}", self.clock_text(safe_ms, now_ms), item.name)
                }
                (Some((item, _)), _) => format!("held back by: {}", item.name),
            };
            let name = bench.instruments().get(instrument)?.name.clone();
            Some(StringsCard { instrument: instrument.to_string(), name, says })
        };
        bench.to_be_strung().filter_map(card).collect()
    }

    fn alert_card(&self, alert: &Alert, now_ms: i64) -> AlertCard {
        AlertCard {
            id: alert.raised.id.to_string(),
            title: alert.raised.title.clone(),
            body: bare(&alert.raised.body),
            when: self.clock_text(alert.raised.due_at.timestamp_millis(), now_ms),
            late: alert.raised.late,
        }
    }

    fn air_card(&self, line: &clock::ZoneLine<'_>, now_ms: i64) -> AirCard {
        AirCard {
            name: line.name.into(),
            temp: self.settings.shop.temp_unit.text(line.air.temp_c),
            rh: format!("{:.0} % RH", line.air.rh_pct),
            read: match line.read_ms {
                Some(ms) => format!("read {}", self.clock_text(ms, now_ms)),
                None => "assumed: no sensor".into(),
            },
        }
    }
}

/// What is still to be set up before a glue-up can be planned: nothing in a shop that has worked.
fn first_steps(bench: &Bench) -> Vec<(&'static str, &'static str)> {
    let steps = [
        (bench.zones().next().is_none(), "/climate#z-zones", "Add a zone: the bench, with the air it usually has"),
        (bench.clamps().is_empty(), "/materials#clamps", "Name the clamps, so that it is known which are free"),
        (
            bench.jobs().is_empty(),
            "/jobs/new",
            "Open a job: a procedure brings its steps, and the instrument is named there",
        ),
    ];
    let begun = !bench.cures().is_empty();
    steps.into_iter().filter(|(missing, ..)| *missing && !begun).map(|(_, to, says)| (to, says)).collect()
}

/// The text of an alert without the sentence that stands once at the foot of the page.
pub(super) fn bare(body: &str) -> String {
    body.trim_end_matches(ESTIMATE).trim_end().into()
}

/// Whether an open alert is for the list of what was told: what stands on a card of its own is not told twice.
fn is_news(bench: &Bench, alert: &Alert, on_cards: &BTreeSet<CureId>) -> bool {
    match alert.raised.alert_kind {
        AlertKind::Climate | AlertKind::SensorSilent => false,
        AlertKind::Milestone => !opens(bench, alert).is_some_and(|cure| on_cards.contains(&cure.begun.id)),
        AlertKind::StringUp
        | AlertKind::Digest
        | AlertKind::CalibrationDue
        | AlertKind::Mix
        | AlertKind::HookSetAside
        | AlertKind::ClockLeapt => true,
    }
}

/// The cure of an alert that says that something may be done.
fn opens<'a>(bench: &'a Bench, alert: &Alert) -> Option<&'a Cure> {
    let cure = bench.cure(alert.raised.cure.as_ref()?.as_str())?;
    let target = cure.begun.milestones.iter().find(|target| target.stage == alert.raised.stage)?;
    (target.meets == Meets::Opens).then_some(cure)
}

/// The earlier alerts of the same cure that nobody has seen: who knows of the later stage knows of those.
fn earlier(bench: &Bench, alert: &Alert) -> Vec<AlertId> {
    let of_cure = |other: &&Alert| {
        other.seq < alert.seq
            && other.raised.cure == alert.raised.cure
            && opens(bench, alert).is_some()
            && opens(bench, other).is_some()
    };
    bench.alerts_open().filter(of_cure).map(|other| other.raised.id.clone()).collect()
}

/// What a hand can do now before what waits for a cure; each in the order of the bench.
fn first_doable<'a, 'b>(next: &'a [clock::NextStep<'b>]) -> Vec<&'a clock::NextStep<'b>> {
    let (doable, waiting): (Vec<_>, Vec<_>) = next.iter().partition(|step| step.waits_for.is_none());
    doable.into_iter().chain(waiting).collect()
}

fn next_card(next: &clock::NextStep<'_>) -> NextCard {
    let page = match next.step.kind {
        facts::StepKind::GlueUp => Some("/glue-up"),
        facts::StepKind::Coat => Some("/coat"),
        _ => None,
    };
    let page = page.filter(|_| next.waits_for.is_none());
    NextCard {
        title: next.step.title.clone(),
        job: next.job.to_string(),
        job_title: next.title.into(),
        register: page.map(|page| format!("{page}?step={}+{}", next.job, next.step.id)),
        waits: next.waits_for.is_some(),
    }
}

/// Names of clamps, as they are written on them.
pub(super) fn names(bench: &Bench, clamps: &[facts::ClampId]) -> String {
    let name = |id: &facts::ClampId| bench.clamps().get(id).map_or_else(|| id.to_string(), |c| c.added.name.clone());
    clamps.iter().map(name).collect::<Vec<_>>().join(", ")
}

fn clamp_names(bench: &Bench, board: &Board<'_>) -> Vec<String> {
    let free = board.clamps.iter().filter(|line| line.is_free());
    free.map(|line| names(bench, std::slice::from_ref(line.clamp))).collect()
}

async fn seen(shop: Shop, id: web::Path<String>, fields: Fields) -> Answer {
    let to = if fields.get("from") == Some("alerts") { "/alerts" } else { "/" };
    let (alert, earlier) = {
        let bench = shop.bench();
        let alert = bench.alerts().get(id.as_str()).ok_or_else(|| Problem::not_found("alert", &id))?;
        // A form that was kept on a device may come after somebody else has seen it.
        if matches!(alert.state, AlertState::Acknowledged | AlertState::Retracted) {
            return see_other(to);
        }
        (alert.raised.id.clone(), earlier(&bench, alert))
    };
    let pressed_ms = fields.pressed_ms(shop.now().ms())?;
    let said = |alert, kept| shop.saying(Fact::AlertAcknowledged { alert }, pressed_ms, "bench", vec![], kept);
    let mut saying = said(alert, fields.answer(&format!("/alerts/{id}/seen"), &id));
    saying.entries.extend(earlier.into_iter().flat_map(|alert| said(alert, None).entries));
    shop.say_once(saying).await?;
    see_other(to)
}
