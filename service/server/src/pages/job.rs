//! One job: its steps as a timeline with the climate beneath, its notes and photos.

mod coming;
mod keep;
mod timeline;

use actix_web::{HttpResponse, web};
use askama::Template;
use clock::{Bench, Job, StepState};
use facts::StepKind;

use self::{coming::Coming, timeline::Timeline};
use super::{
    choice::Cautions,
    form::new_key,
    frame::{Frame, show},
    jobs::instrument_name,
};
use crate::{
    alerts::words::ESTIMATE,
    problem::Problem,
    routes::{Answer, Shop},
    schedules::{Schedule, schedules},
    state::State,
};

pub(super) fn configure(config: &mut web::ServiceConfig) {
    config.service(web::resource("/jobs/{id}").route(web::get().to(job))).configure(keep::configure);
}

pub(super) struct StepRow {
    pub(super) id: String,
    pub(super) title: String,
    pub(super) kind: &'static str,
    pub(super) state: &'static str,
    /// Can be said to be done with a button.
    pub(super) by_hand: bool,
    /// Can be registered as a glue-up.
    pub(super) glue_up: bool,
    /// Can be registered as a coat.
    pub(super) coat: bool,
    pub(super) cure: Option<String>,
    /// What it waits for, and when that comes.
    pub(super) coming: Option<Coming>,
    /// Clamps are on its cure, so that they can be said to be off.
    pub(super) clamped: bool,
}

struct NoteRow {
    when: String,
    text: String,
}

struct PhotoRow {
    photo: String,
    shows: String,
    when: String,
    width_px: u32,
    height_px: u32,
}

#[derive(Template)]
#[template(path = "job.html")]
struct JobPage {
    frame: Frame,
    key: String,
    id: String,
    title: String,
    instrument: String,
    instrument_id: String,
    due: String,
    closed: bool,
    /// What closing the job would end.
    cures_on: Vec<String>,
    steps: Vec<StepRow>,
    timeline: Option<Timeline>,
    notes: Vec<NoteRow>,
    photos: Vec<PhotoRow>,
    photo_limit_mib: usize,
    /// Cautions of what is still to be used.
    minded: Vec<Cautions>,
    /// Coat stacks that can be laid onto it: file and name.
    schedules: Vec<(String, String)>,
    estimate: &'static str,
}

async fn job(shop: Shop, id: web::Path<String>) -> Answer {
    // A file that cannot be read is named where schedules are asked for; a job is shown without.
    let schedules = schedules(&shop.settings.scripts.folder).unwrap_or_default();
    let bench = shop.bench();
    let job = bench.jobs().get(id.as_str()).ok_or_else(|| Problem::not_found("job", &id))?;
    show(&shop.job_page(&bench, job, schedules), HttpResponse::Ok())
}

impl State {
    fn job_page(&self, bench: &Bench, job: &Job, schedules: Vec<(String, Schedule)>) -> JobPage {
        let now_ms = self.now().ms();
        JobPage {
            frame: self.frame("/jobs"),
            key: new_key(),
            id: job.opened.id.to_string(),
            title: job.opened.title.clone(),
            instrument: instrument_name(bench, &job.opened.instrument),
            instrument_id: job.opened.instrument.to_string(),
            due: job.opened.due_at.map_or_else(String::new, |due| self.day_text(due.timestamp_millis())),
            closed: job.closed,
            cures_on: self.cures_on(bench, job, now_ms),
            steps: self.step_rows(bench, job, now_ms),
            timeline: Timeline::of(self, bench, job, now_ms),
            notes: job
                .notes
                .iter()
                .rev()
                .map(|note| NoteRow { when: self.clock_text(note.at_ms, now_ms), text: note.text.clone() })
                .collect(),
            photos: job.photos.iter().rev().map(|photo| self.photo_row(photo, now_ms)).collect(),
            photo_limit_mib: self.settings.store.photo_limit_mib,
            minded: self.cautions_ahead(bench, job),
            schedules: schedules.into_iter().map(|(id, schedule)| (id, schedule.name)).collect(),
            estimate: ESTIMATE,
        }
    }

    fn photo_row(&self, photo: &clock::Photo, now_ms: i64) -> PhotoRow {
        PhotoRow {
            photo: photo.added.photo.to_string(),
            shows: match photo.added.shows.as_str() {
                "" => "photo of the job".into(),
                shows => shows.into(),
            },
            when: self.clock_text(photo.at_ms, now_ms),
            width_px: photo.added.width_px,
            height_px: photo.added.height_px,
        }
    }

    pub(super) fn step_rows(&self, bench: &Bench, job: &Job, now_ms: i64) -> Vec<StepRow> {
        let row = |(step, state, cure): (&facts::Step, StepState, Option<&facts::CureId>)| {
            let curing = cure.filter(|_| state == StepState::Curing).and_then(|id| bench.cure(id.as_str()));
            let of_step = curing.filter(|cure| cure.is_open() && step.kind != StepKind::Wait);
            let can = state == StepState::Ready && !job.closed;
            StepRow {
                id: step.id.to_string(),
                title: step.title.clone(),
                kind: match step.kind {
                    StepKind::HandsOn => "at the bench",
                    StepKind::GlueUp => "glue-up",
                    StepKind::Coat => "coat",
                    StepKind::Wait => "wait",
                    StepKind::Check => "check",
                },
                state: match state {
                    StepState::Done => "done",
                    StepState::Curing => "curing",
                    StepState::Ready => "next",
                    StepState::Waiting => "waiting",
                },
                by_hand: can && !matches!(step.kind, StepKind::GlueUp | StepKind::Coat),
                glue_up: can && step.kind == StepKind::GlueUp,
                coat: can && step.kind == StepKind::Coat,
                cure: cure.map(ToString::to_string),
                coming: match step.kind {
                    // A wait lasts longer than the cure it waits for lets its own step go on.
                    StepKind::Wait => curing.and_then(|_| self.whole_wait(bench, job, now_ms)),
                    _ => of_step.and_then(|cure| self.coming(bench, cure, now_ms)),
                },
                clamped: of_step.is_some_and(|cure| !cure.clamps_on.is_empty()),
            }
        };
        bench.steps(job).into_iter().map(row).collect()
    }
}
