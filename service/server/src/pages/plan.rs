//! The bench plan: today as a list to tick, the week as bars, and what one job more would do.

mod ask;
mod days;
mod week;

use actix_web::{HttpResponse, web};
use askama::Template;
use clock::{Bench, StepState};
use facts::StepKind;
use serde::Deserialize;

use self::{ask::Asking, days::DayRow, week::Week};
use super::{
    form::new_key,
    frame::{Frame, show},
};
use crate::{
    alerts::words::ESTIMATE,
    now::instant,
    plan::{FIRST, Part, Piece, Standing, length, said},
    problem::Problem,
    routes::{Answer, Shop},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/plan").route(web::get().to(plan))).configure(days::configure);
}

/// A piece of work with what can be pressed.
struct Row {
    key: String,
    when: String,
    at_ms: i64,
    title: String,
    job: String,
    job_id: Option<String>,
    instrument: String,
    /// Why it is done then.
    why: String,
    /// How long it could wait.
    float: String,
    window: Option<String>,
    /// Where its tick goes: the step, or the clamps.
    tick: Option<String>,
    tick_says: &'static str,
    /// Where it is registered instead.
    register: Option<String>,
}

#[derive(Template)]
#[template(path = "plan.html")]
struct PlanPage {
    frame: Frame,
    made: String,
    cannot: Vec<(String, &'static str)>,
    /// What was to stay where it was told, and could not.
    unfrozen: Vec<String>,
    today: Vec<Row>,
    /// What comes after today.
    then: Vec<Row>,
    week: Week,
    asking: Asking,
    /// Makes forms sent twice one saying.
    key: String,
    days: Vec<DayRow>,
    assumed: Vec<String>,
    estimate: &'static str,
}

/// How much of what comes after today is listed.
const THEN_SHOWN: usize = 8;

/// A job somebody thinks of taking: a procedure or a finish schedule, and the day it is wanted.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Wanted {
    job: Option<String>,
    by: Option<String>,
}

async fn plan(shop: Shop, wanted: web::Query<Wanted>) -> Answer {
    let asking =
        shop.asking(wanted.job.as_deref().unwrap_or_default(), wanted.by.as_deref().unwrap_or_default()).await?;
    let standing = shop.bench_plan().await?;
    show(&shop.plan_page(&standing, asking), HttpResponse::Ok())
}

impl State {
    fn plan_page(&self, standing: &Standing, asking: Asking) -> PlanPage {
        let (bench, now_ms) = (self.bench(), self.now().ms());
        let today = |at_ms: i64| {
            let day = |at_ms: i64| instant(at_ms).with_timezone(&self.zone).date_naive();
            day(at_ms) <= day(now_ms)
        };
        let open = standing.pieces().filter(|(i, _)| !self.is_over(&bench, &standing.draft.pieces[*i], standing, *i));
        let mut rows: Vec<Row> = open.map(|(i, _)| self.row(&bench, standing, i, now_ms)).collect();
        let then = rows.split_off(rows.partition_point(|row| today(row.at_ms)));
        PlanPage {
            frame: self.frame("/plan"),
            made: self.clock_text(standing.made_ms, now_ms),
            cannot: standing.cannot.iter().map(said).map(|(_, says, mend)| (says, mend)).collect(),
            unfrozen: standing
                .unfrozen()
                .map(|(i, job)| format!("{} ({})", standing.draft.pieces[i].title, job.title))
                .collect(),
            today: rows,
            then: then.into_iter().take(THEN_SHOWN).collect(),
            week: Week::of(self, standing, now_ms),
            asking,
            key: new_key(),
            days: self.day_rows(),
            assumed: standing.draft.assumed.iter().cloned().collect(),
            estimate: ESTIMATE,
        }
    }

    /// Whether a piece was done since the plan was made.
    fn is_over(&self, bench: &Bench, piece: &Piece, standing: &Standing, i: usize) -> bool {
        let job = standing.job_of(i).id.as_ref().and_then(|id| bench.jobs().get(id));
        match (piece.part, &piece.step, job) {
            (Part::Step, Some(step), Some(job)) => job.done.contains_key(step),
            (Part::ClampsOff, ..) => {
                piece.cure.as_ref().and_then(|id| bench.cure(id.as_str())).is_some_and(|cure| cure.clamps_on.is_empty())
            }
            _ => false,
        }
    }

    fn row(&self, bench: &Bench, standing: &Standing, i: usize, now_ms: i64) -> Row {
        let (piece, line) = (&standing.draft.pieces[i], standing.job_of(i));
        let (start_ms, end_ms) = standing.times_ms(i);
        let (tick, tick_says, register) = self.pressed(bench, standing, i);
        let float_min = standing.told[i].float_min;
        let when = match end_ms - start_ms {
            _ if piece.kind == StepKind::Wait => format!("until {}", self.clock_text(end_ms, now_ms)),
            0 => self.clock_text(start_ms, now_ms),
            _ => self.span_text(start_ms, end_ms, now_ms),
        };
        Row {
            key: format!("{}-{i}", new_key()),
            when,
            at_ms: start_ms,
            title: piece.title.clone(),
            job: line.title.clone(),
            job_id: line.id.as_ref().map(ToString::to_string),
            instrument: line.instrument.clone(),
            why: self.why_besides_window(standing, i, now_ms),
            float: if float_min > 0 { format!("can wait {}", length(float_min)) } else { String::new() },
            window: standing.closes_min(i).map(|at| self.clock_text(at * 60_000, now_ms)),
            tick,
            tick_says,
            register,
        }
    }

    /// What can be pressed for a piece now: done, clamps off, or registering a glue-up or a coat.
    fn pressed(&self, bench: &Bench, standing: &Standing, i: usize) -> (Option<String>, &'static str, Option<String>) {
        let piece = &standing.draft.pieces[i];
        if piece.part == Part::ClampsOff {
            let on =
                piece.cure.as_ref().and_then(|id| bench.cure(id.as_str())).filter(|cure| !cure.clamps_on.is_empty());
            let may = on.filter(|cure| standing.may_begin_ms(i) <= self.now().ms() && cure.is_open());
            return (may.map(|cure| format!("/cures/{}/clamps-off", cure.begun.id)), "Clamps off", None);
        }
        let job = standing.job_of(i).id.as_ref().and_then(|id| bench.jobs().get(id));
        let state = job.and_then(|job| {
            let steps = bench.steps(job).into_iter();
            steps.into_iter().find(|(step, ..)| Some(&step.id) == piece.step.as_ref()).map(|(_, state, _)| state)
        });
        let (Some(job), Some(step), Some(StepState::Ready)) = (job, &piece.step, state) else {
            return (None, "", None);
        };
        match piece.kind {
            StepKind::GlueUp => (None, "", Some(format!("/glue-up?step={}+{step}", job.opened.id))),
            StepKind::Coat => (None, "", Some(format!("/coat?step={}+{step}", job.opened.id))),
            StepKind::HandsOn | StepKind::Check | StepKind::Wait => {
                (Some(format!("/jobs/{}/steps/{step}/done", job.opened.id)), "Done", None)
            }
        }
    }

    /// Plans anew after a button on the plan, so that the page shows what it did.
    pub(super) async fn follow_tick(self: &std::sync::Arc<Self>) -> Result<(), Problem> {
        self.replan(FIRST).await.map(drop)
    }
}
