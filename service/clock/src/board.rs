//! The board: what is ready, what cures, what is next, computed whole from the bench at an instant.

use facts::{ClampId, CureId, InstrumentId, JobId, JobOpened, Limit, Meets, Step, StepKind, ZoneId};

use crate::{Air, Bench, Climate, Cure, Job, nearest::Headline};

/// One glue-up or coat with something still to come.
pub struct CureLine<'a> {
    /// The cure.
    pub cure: &'a Cure,
    /// Where it is now.
    pub zone: &'a ZoneId,
    /// Index of the next milestone not reached, if any is left.
    pub next: Option<usize>,
    /// When that comes, ms, at the time it may be relied on; none where the expected air never gets there.
    pub next_ms: Option<i64>,
    /// Whether its clamps can come off and are still on.
    pub release_clamps: bool,
    /// How well its air is known.
    pub climate: Climate,
    /// Limits of its rule that recorded air broke: the limit, since when, ms, and that air.
    pub broken: Vec<(&'a Limit, i64, Air)>,
}

/// What a job waits for next.
pub struct NextStep<'a> {
    /// The job.
    pub job: &'a JobId,
    /// Its title.
    pub title: &'a str,
    /// The instrument.
    pub instrument: &'a InstrumentId,
    /// The step to do.
    pub step: &'a Step,
    /// The cure it waits for, if it cannot be begun yet.
    pub waits_for: Option<CureId>,
}

/// One zone's air.
pub struct ZoneLine<'a> {
    /// The zone.
    pub zone: &'a ZoneId,
    /// What the shop calls it.
    pub name: &'a str,
    /// The air now: recorded or expected.
    pub air: Air,
    /// When it was last measured, ms.
    pub read_ms: Option<i64>,
}

/// A clamp and when it will be free.
pub struct ClampLine<'a> {
    /// The clamp.
    pub clamp: &'a ClampId,
    /// The glue-up it is on.
    pub on: Option<&'a CureId>,
    /// Whether it is out of use.
    pub away: bool,
    /// When that glue-up can let it go, ms, if that can be told.
    pub free_ms: Option<i64>,
}

impl ClampLine<'_> {
    /// Whether a glue-up may take it.
    pub fn is_free(&self) -> bool {
        self.on.is_none() && !self.away
    }
}

/// Everything at a glance.
pub struct Board<'a> {
    /// Open cures: those to act on first, then by what comes next.
    pub cures: Vec<CureLine<'a>>,
    /// What each open job waits for.
    pub next: Vec<NextStep<'a>>,
    /// The air of the first zones: as many as cures were asked for.
    pub zones: Vec<ZoneLine<'a>>,
    /// Every clamp.
    pub clamps: Vec<ClampLine<'a>>,
    /// How many alerts nobody has answered.
    pub alerts_open: usize,
}

/// Where a step of a job stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StepState {
    /// Finished.
    Done,
    /// Its glue-up or coat cures.
    Curing,
    /// It can be begun.
    Ready,
    /// Steps before it are not finished.
    Waiting,
}

impl Bench {
    /// The board at `now_ms`, with at most `at_most` cures, those with the nearest milestones, and as many zones.
    pub fn board(&self, now_ms: i64, at_most: usize) -> Board<'_> {
        let cures = self.nearest(now_ms, at_most);
        Board {
            cures: cures.into_iter().map(|(cure, next, next_ms)| self.line(cure, next, next_ms, now_ms)).collect(),
            next: self.next_steps(),
            zones: self.zone_lines(now_ms, at_most),
            clamps: self.clamp_lines(now_ms),
            alerts_open: self.alerts_open().count(),
        }
    }

    /// One cure as the board shows it.
    pub fn cure_line<'a>(&'a self, cure: &'a Cure, now_ms: i64) -> CureLine<'a> {
        let (cure, next, next_ms) = self.headline(cure, now_ms);
        self.line(cure, next, next_ms, now_ms)
    }

    pub(crate) fn headline<'a>(&self, cure: &'a Cure, now_ms: i64) -> Headline<'a> {
        let coming = (0..cure.told.len()).filter(|m| cure.told[*m].alert.is_none()).map(|m| {
            let milestone = self.milestone(cure, m, now_ms);
            let at_ms = match milestone.target.meets {
                Meets::Opens => milestone.safe_ms,
                Meets::Closes => milestone.earliest_ms,
            };
            (m, at_ms)
        });
        let next = coming.min_by_key(|(_, at_ms)| at_ms.unwrap_or(i64::MAX));
        (cure, next.map(|(m, _)| m), next.and_then(|(_, at_ms)| at_ms))
    }

    fn line<'a>(&'a self, cure: &'a Cure, next: Option<usize>, next_ms: Option<i64>, now_ms: i64) -> CureLine<'a> {
        CureLine {
            cure,
            zone: self.lies_in(cure),
            next,
            next_ms,
            release_clamps: self.release_clamps(cure),
            climate: self.climate(cure, now_ms),
            broken: self.broken_limits(cure, now_ms),
        }
    }

    pub(crate) fn release_clamps(&self, cure: &Cure) -> bool {
        !cure.clamps_on.is_empty() && cure.releasing().is_some_and(|m| cure.told[m].alert.is_some())
    }

    /// The steps of a job with where each stands and the cure that belongs to it.
    pub fn steps<'a>(&'a self, job: &'a Job) -> Vec<(&'a Step, StepState, Option<&'a CureId>)> {
        let cure_of = |step: &Step| {
            let of_step = |id: &&CureId| {
                self.cure(id.as_str()).is_some_and(|c| c.begun.step.as_ref() == Some(&step.id) && c.withdrawn.is_none())
            };
            job.cures.iter().rev().find(of_step)
        };
        let done = |step: &Step| {
            job.done.contains_key(&step.id)
                || cure_of(step).and_then(|id| self.cure(id.as_str())).is_some_and(Cure::step_done)
        };
        let mut before: Vec<(&Step, bool)> = Vec::new();
        let mut states = Vec::new();
        for step in &job.opened.steps {
            // A step that names none follows the one above it.
            let free = match (step.follows.as_slice(), before.last()) {
                ([], last) => last.is_none_or(|(_, done)| *done),
                (follows, _) => before.iter().all(|(other, done)| *done || !follows.contains(&other.id)),
            };
            let waits = step.kind == StepKind::Wait && free && !done(step);
            // A wait lasts until everything glued or coated before it has told its last milestone.
            let cure = if waits { self.unfinished(job) } else { cure_of(step) };
            let is_done = done(step) || (waits && cure.is_none() && !job.cures.is_empty());
            let state = match (is_done, cure, free) {
                (true, ..) => StepState::Done,
                (false, Some(_), _) => StepState::Curing,
                (false, None, true) => StepState::Ready,
                (false, None, false) => StepState::Waiting,
            };
            states.push((step, state, cure));
            before.push((step, is_done));
        }
        states
    }

    /// A glue-up or coat of a job that has not told its last milestone yet.
    fn unfinished<'a>(&self, job: &'a Job) -> Option<&'a CureId> {
        let known = |id: &&CureId| self.cure(id.as_str()).is_some_and(|c| c.withdrawn.is_none() && !c.all_told());
        job.cures.iter().find(known)
    }

    /// What comes after a cure in its job: the first step not done that follows its step, or the first not done.
    pub fn step_after<'a>(&'a self, cure: &'a Cure) -> Option<&'a Step> {
        let job = self.jobs.get(cure.begun.job.as_ref()?)?;
        let steps = self.steps(job);
        let own = cure.begun.step.as_ref();
        let ahead = || {
            let not_own = move |step: &Step| Some(&step.id) != own;
            let undone = |state: StepState| matches!(state, StepState::Ready | StepState::Waiting);
            steps.iter().filter(move |(step, state, _)| undone(*state) && not_own(step)).map(|(step, ..)| *step)
        };
        let follows = |step: &&Step| own.is_some_and(|own| step.follows.contains(own));
        ahead().find(follows).or_else(|| ahead().next())
    }

    fn next_steps(&self) -> Vec<NextStep<'_>> {
        let of_job = |job| {
            let steps = self.steps(job);
            let curing = steps.iter().find(|(_, state, _)| *state == StepState::Curing).and_then(|(.., cure)| *cure);
            let ready = steps.iter().filter(|(_, state, _)| *state == StepState::Ready);
            let mut next: Vec<NextStep<'_>> = ready.map(|(step, ..)| self.next_step(job, step, None)).collect();
            if next.is_empty()
                && let Some((step, ..)) = steps.iter().find(|(_, state, _)| *state == StepState::Waiting)
            {
                next.push(self.next_step(job, step, curing.cloned()));
            }
            next
        };
        self.jobs.values().filter(|job| !job.closed).flat_map(of_job).collect()
    }

    fn next_step<'a>(&self, job: &'a Job, step: &'a Step, waits_for: Option<CureId>) -> NextStep<'a> {
        let JobOpened { id, title, instrument, .. } = &job.opened;
        NextStep { job: id, title, instrument, step, waits_for }
    }

    /// Zones with their air, at most so many.
    pub fn zone_lines(&self, now_ms: i64, at_most: usize) -> Vec<ZoneLine<'_>> {
        let lines = self.zones.iter().take(at_most).map(|zone| {
            let air = zone.air_at(now_ms, self.forecast.as_ref());
            let read_ms = zone.timeline.last().map(|(at_ms, _)| at_ms);
            ZoneLine { zone: &zone.set.id, name: &zone.set.name, air, read_ms }
        });
        lines.collect()
    }

    /// Every clamp, where it is, and when it will be free.
    pub fn clamp_lines(&self, now_ms: i64) -> Vec<ClampLine<'_>> {
        let free_ms = |on: &CureId| {
            let cure = self.cure(on.as_str())?;
            self.milestone(cure, cure.releasing()?, now_ms).safe_ms
        };
        self.clamps
            .values()
            .map(|clamp| ClampLine {
                clamp: &clamp.added.id,
                on: clamp.on.as_ref(),
                away: clamp.away,
                free_ms: clamp.on.as_ref().and_then(free_ms),
            })
            .collect()
    }
}
