//! The bench plan in the product: the bench is translated into a problem, planned, explained and put on the wall. It is
//! derived: whatever happens to it, it is made anew from the bench.
//!
//! Start reading at `plan/translate.rs`, then `standing.rs`. Making a plan runs beside the requests on a blocking thread.

mod chance;
mod day;
mod days;
mod draft;
mod foresee;
mod give_way;
mod hours;
mod places;
mod replan;
mod standing;
mod translate;
mod under_way;
mod what_if;
mod wire;
mod words;

use std::{
    path::{Path, PathBuf},
    sync::{
        Arc, PoisonError, RwLock,
        atomic::{AtomicUsize, Ordering},
    },
};

use clock::Job;
pub(crate) use days::SpecialDay;
pub(crate) use draft::{Part, Piece};
pub(crate) use give_way::Cannot;
pub(crate) use replan::run;
pub(crate) use standing::Standing;
pub(crate) use what_if::{Asked, AskedJob, HOW, WhatIf};
pub(crate) use wire::{PlanWire, WhatIfWire};
pub(crate) use words::{cannot as said, length};

use crate::{
    news::{News, What},
    now::Stopwatch,
    problem::{Kind, Problem},
    settings::Certainty,
    state::State,
};
use draft::Draft;
use places::Places;
use standing::stand;
pub(crate) use standing::{Budget, FIRST, LONGER};
use translate::{Shop, translate, wants};

/// The plan people go by, and the right to make another.
pub(crate) struct PlanWall {
    standing: RwLock<Option<Arc<Standing>>>,
    /// Where each piece stood when it was last kept.
    kept: RwLock<Places>,
    file: PathBuf,
    /// One plan is made at a time: two would each be held against the same one before.
    making: tokio::sync::Mutex<()>,
    /// How many wait to make one; a search that goes on ends early for them.
    waiting: AtomicUsize,
}

impl PlanWall {
    /// An empty wall, which knows where each piece stood before the restart.
    pub(crate) fn open(folder: &Path) -> Self {
        let file = folder.join("plan-places.json");
        let kept = RwLock::new(places::read(&file));
        Self {
            standing: RwLock::default(),
            kept,
            file,
            making: tokio::sync::Mutex::default(),
            waiting: AtomicUsize::new(0),
        }
    }

    fn is_waited_for(&self) -> bool {
        self.waiting.load(Ordering::Relaxed) > 0
    }

    /// Where each piece stands, or stood before the restart.
    fn places(&self) -> Places {
        self.kept.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Puts a plan there. Returns whether anything stands elsewhere than before.
    fn put(&self, standing: Arc<Standing>) -> bool {
        let places = standing.places();
        *self.standing.write().unwrap_or_else(PoisonError::into_inner) = Some(standing);
        let mut kept = self.kept.write().unwrap_or_else(PoisonError::into_inner);
        let differs = *kept != places;
        if differs {
            places::keep(&self.file, &places);
            *kept = places;
        }
        differs
    }
}

/// One who waits, counted until it has its turn or goes away.
struct Waits<'a>(&'a AtomicUsize);

impl<'a> Waits<'a> {
    fn begin(waiting: &'a AtomicUsize) -> Self {
        waiting.fetch_add(1, Ordering::Relaxed);
        Self(waiting)
    }
}

impl Drop for Waits<'_> {
    fn drop(&mut self) {
        self.0.fetch_sub(1, Ordering::Relaxed);
    }
}

impl State {
    /// The plan on the wall; made if there is none yet.
    ///
    /// # Errors
    /// When it cannot be made.
    pub(crate) async fn bench_plan(self: &Arc<Self>) -> Result<Arc<Standing>, Problem> {
        match self.standing() {
            Some(standing) => Ok(standing),
            None => self.replan(FIRST).await,
        }
    }

    /// The plan on the wall, if there is one.
    pub(crate) fn standing(&self) -> Option<Arc<Standing>> {
        self.plan_wall.standing.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Plans anew from the bench as it stands, beginning with the plan on the wall, and puts the outcome there.
    ///
    /// # Errors
    /// When it cannot be made.
    pub(crate) async fn replan(self: &Arc<Self>, budget: Budget) -> Result<Arc<Standing>, Problem> {
        let waits = Waits::begin(&self.plan_wall.waiting);
        let _alone = self.plan_wall.making.lock().await;
        drop(waits);
        let state = self.clone();
        beside(move || {
            let watch = Stopwatch::started();
            let draft = state.draft(None, state.settings.plan.certainty);
            let made =
                Arc::new(state.stood(draft, &state.plan_wall.places(), budget, &|| state.plan_wall.is_waited_for())?);
            if state.plan_wall.put(made.clone()) {
                // Nobody listening is fine.
                drop(state.shared.news.send(News::of(What::Planned(made.made_ms))));
            }
            state.shared.meters.note(|| metrics::histogram!(crate::meters::PLAN).record(watch.passed()));
            Ok(made)
        })
        .await
    }

    /// The problem of the bench, with one job more that is only thought of. Runs scripts: not for a request's thread.
    fn draft(&self, more: Option<&Job>, certainty: Certainty) -> Draft {
        let now_ms = self.now().ms();
        let wanted = wants(&self.bench(), more);
        let foreseen = self.foreseen(wanted, now_ms);
        let shop = Shop { settings: &self.settings, zone: self.zone, now_ms, certainty };
        translate(&self.bench(), &shop, &foreseen, more)
    }

    fn stood(
        &self,
        draft: Draft,
        before: &Places,
        budget: Budget,
        enough: &dyn Fn() -> bool,
    ) -> Result<Standing, Problem> {
        let freeze_min = i64::from(self.settings.plan.freeze_hours) * 60;
        stand(draft, before, freeze_min, self.now().ms(), budget, enough).map_err(|flaw| {
            tracing::error!(?flaw, "the bench could not be put as a problem to plan");
            Problem::new(
                Kind::Internal,
                "the bench plan could not be made",
                "the log says more; the board still stands",
            )
        })
    }
}

/// Does something long on a blocking thread.
async fn beside<T: Send + 'static>(work: impl FnOnce() -> Result<T, Problem> + Send + 'static) -> Result<T, Problem> {
    let span = tracing::Span::current();
    let done = tokio::task::spawn_blocking(move || span.in_scope(work)).await;
    done.unwrap_or_else(|_| Err(Problem::new(Kind::Internal, "making the plan failed", "try again; the log says more")))
}
