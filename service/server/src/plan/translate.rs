//! From the bench to a problem for the planner: open jobs, their steps, cures, clamps, windows, hours and due dates.
//!
//! A glue-up is two pieces of work, closing it and taking its clamps off, with the cure between and the clamps held from
//! one to the other. A coat is one; the next coat may follow while the window is open, other work when it can be sanded.

mod clamps;

use std::collections::BTreeMap;

use clock::{Bench, Cure, Job, StepState};
use facts::{CureId, CureKind, StepKind, ZoneId};
use planner::{Edge, FARTHEST_MIN, Lag, Need, Problem, Resource, Step};

use super::{
    draft::{Draft, JobLine, Part, Piece, Spread, begun},
    foresee::{Foreseen, Stage, Stages, Want, want},
    hours::{calendar, minute},
};
use crate::settings::{Certainty, Settings};

/// What a minute of lateness weighs against a minute of the whole plan's length.
const LATENESS: i64 = 10;
/// Stages after which a coat leaves the booth to the next: the first its rule names.
const LEAVES: [&str; 4] = ["dust_free", "tack_free", "set_to_touch", "dry_to_touch"];

/// What the shop decides about its plan.
pub(crate) struct Shop<'a> {
    pub(crate) settings: &'a Settings,
    pub(crate) zone: chrono_tz::Tz,
    pub(crate) now_ms: i64,
    pub(crate) certainty: Certainty,
}

/// Open jobs, and one more that is only thought of.
pub(crate) fn jobs<'a>(bench: &'a Bench, more: Option<&'a Job>) -> impl Iterator<Item = &'a Job> {
    bench.jobs().values().filter(|job| !job.closed).chain(more)
}

/// Where a step is done: as it says, where its instrument is, or in the first zone there is.
fn zone_of(bench: &Bench, job: &Job, step: &facts::Step) -> Option<ZoneId> {
    let place = || bench.place(job.opened.instrument.as_str()).map(|(zone, _)| zone.clone());
    step.work.zone.clone().or_else(place).or_else(|| bench.zones().next().map(|zone| zone.id.clone()))
}

/// Every cure the steps of open jobs will begin, once each.
pub(crate) fn wants(bench: &Bench, more: Option<&Job>) -> Vec<Want> {
    let mut wants: Vec<Want> = Vec::new();
    for job in jobs(bench, more) {
        for step in &job.opened.steps {
            let wanted = want(bench, step, zone_of(bench, job, step).as_ref());
            wants.extend(wanted.filter(|want| !wants.contains(want)));
        }
    }
    wants
}

/// The problem of the bench as it stands.
pub(crate) fn translate(bench: &Bench, shop: &Shop<'_>, foreseen: &Foreseen, more: Option<&Job>) -> Draft {
    let mut room = Room::new(bench, shop, foreseen);
    for job in jobs(bench, more) {
        room.add_job(job);
    }
    room.add_loose();
    more.into_iter().for_each(|job| room.look_at_end(job));
    room.draft
}

/// The pieces of one step.
#[derive(Clone, Default)]
struct Placed {
    work: Option<usize>,
    off: Option<usize>,
    stages: Stages,
    is_done: bool,
    /// Of a finished glue-up: how long after it was closed its clamps came off, or it let go without any, minutes.
    let_go_min: Option<i64>,
    /// It waits for something that never comes.
    skipped: bool,
}

struct Room<'a> {
    bench: &'a Bench,
    shop: &'a Shop<'a>,
    foreseen: &'a Foreseen,
    draft: Draft,
    hands: usize,
    places: BTreeMap<ZoneId, usize>,
    clamps: usize,
    kinds: BTreeMap<String, usize>,
    /// Cures that stand in the problem already, with the steps they belong to.
    known: Vec<CureId>,
}

impl<'a> Room<'a> {
    fn new(bench: &'a Bench, shop: &'a Shop<'a>, foreseen: &'a Foreseen) -> Self {
        let mut draft = Draft {
            problem: Problem { now_min: minute(shop.now_ms + 59_999), length_cost: 1, ..Problem::default() },
            ..Draft::default()
        };
        let (plan, open) = (&shop.settings.plan, &shop.settings.shop.hours);
        let open = calendar(open, bench.days(), shop.zone, shop.now_ms);
        let hands = draft.resource("hands".into(), Resource { capacity: plan.people, hours: Some(open) });
        let mut places = BTreeMap::new();
        for place in &plan.places {
            let own = |hours| calendar(hours, &BTreeMap::new(), shop.zone, shop.now_ms);
            let hours = place.hours.as_ref().map(own);
            if !bench.zones().any(|zone| zone.id.as_str() == place.zone) {
                draft.assumed.insert(format!(
                    "the settings name a place \"{}\" (plan.places), which is no zone: nothing is counted in it",
                    place.zone
                ));
            }
            if let Ok(zone) = ZoneId::new(place.zone.clone()) {
                let resource = Resource { capacity: place.holds, hours };
                places.insert(zone, draft.resource(format!("room in {}", place.zone), resource));
            }
        }
        let count = |kind: Option<&str>| {
            let in_use = bench.clamps().values().filter(|clamp| !clamp.away);
            let of_kind = in_use.filter(|clamp| kind.is_none_or(|kind| clamp.added.clamp_kind == kind));
            Resource { capacity: of_kind.count() as u32, hours: None }
        };
        let clamps = draft.resource("clamps".into(), count(None));
        let mut kinds = BTreeMap::new();
        for clamp in bench.clamps().values().filter(|clamp| !clamp.added.clamp_kind.is_empty()) {
            let kind = &clamp.added.clamp_kind;
            if !kinds.contains_key(kind) {
                kinds.insert(kind.clone(), draft.resource(format!("{kind} clamps"), count(Some(kind))));
            }
        }
        Self { bench, shop, foreseen, draft, hands, places, clamps, kinds, known: Vec::new() }
    }

    fn job_line(&mut self, line: JobLine, due_ms: Option<i64>, weight: u32) -> usize {
        self.draft.jobs.push(line);
        // What is due in two thousand years is as good as never late.
        let due_min = due_ms.map(minute).map(|due| due.min(FARTHEST_MIN));
        let release_min = self.draft.problem.now_min - 60 * 24 * 3660;
        self.draft.problem.jobs.push(planner::Job { release_min, due_min, weight: LATENESS * i64::from(weight) });
        self.draft.jobs.len() - 1
    }

    fn add_job(&mut self, job: &Job) {
        let states = self.bench.steps(job);
        if states.iter().all(|(_, state, _)| *state == StepState::Done) {
            return;
        }
        let name = self.bench.instruments().get(&job.opened.instrument);
        let line = JobLine {
            id: Some(job.opened.id.clone()),
            title: job.opened.title.clone(),
            instrument: name.map_or_else(|| job.opened.instrument.to_string(), |instrument| instrument.name.clone()),
        };
        let due_ms = job.opened.due_at.map(|due| due.timestamp_millis());
        let ix = self.job_line(line, due_ms, job.opened.weight);
        let mut placed: Vec<Placed> = Vec::with_capacity(states.len());
        for (i, (step, state, cure)) in states.iter().enumerate() {
            let before = preds(&job.opened.steps, i);
            let own = cure.filter(|_| step.kind != StepKind::Wait).and_then(|id| self.bench.cure(id.as_str()));
            let one = match (state, own) {
                (_, Some(cure)) => self.begun_cure(job, ix, step, cure, *state == StepState::Done),
                (StepState::Done, None) => self.done_step(job, ix, step),
                _ if before.iter().any(|p| placed[*p].skipped) => Placed { skipped: true, ..Placed::default() },
                _ => self.planned(job, ix, step),
            };
            placed.push(one);
            if own.is_none() && !placed[i].is_done {
                self.tie(job, i, &before, &mut placed);
            } else {
                let open = before.iter().filter(|p| !placed[**p].is_done && states[**p].2.is_none());
                self.overtaken(job, step, open.map(|p| &job.opened.steps[*p]));
            }
        }
    }

    fn piece(&self, job: &Job, step: &facts::Step, part: Part) -> Piece {
        let (key, title) = match part {
            Part::Step => (format!("{}/{}", job.opened.id, step.id), step.title.clone()),
            Part::ClampsOff => (format!("{}/{}:clamps_off", job.opened.id, step.id), clamps_off_title(&step.title)),
        };
        Piece {
            key,
            part,
            step: Some(step.id.clone()),
            cure: None,
            kind: step.kind,
            title,
            zone: zone_of(self.bench, job, step),
            clamps: step.work.clamps.unwrap_or(0),
            under_way: false,
        }
    }

    /// A step that was said to be done; it stands where it was, for what may not wait long after it.
    fn done_step(&mut self, job: &Job, ix: usize, step: &facts::Step) -> Placed {
        let at = job.done.get(&step.id).map(|at_ms| minute(*at_ms));
        let work = at.map(|at_min| self.draft.piece(self.piece(job, step, Part::Step), begun(ix, at_min, vec![])));
        Placed { work, is_done: true, ..Placed::default() }
    }

    /// A glue-up or coat that cures or has cured.
    fn begun_cure(&mut self, job: &Job, ix: usize, step: &facts::Step, cure: &Cure, is_done: bool) -> Placed {
        self.known.push(cure.begun.id.clone());
        let stages = self.stages_of(cure);
        let start_min = minute(cure.begun.started_at.timestamp_millis());
        let (id, zone) = (Some(cure.begun.id.clone()), Some(self.bench.lies_in(cure).clone()));
        let piece = |part| Piece { cure: id.clone(), zone: zone.clone(), ..self.piece(job, step, part) };
        let (piece, off_piece) = (piece(Part::Step), piece(Part::ClampsOff));
        let stuck = !is_done && self.never_lets_go(ix, step.title.as_str(), &stages);
        let clamped = !stuck && !cure.clamps_on.is_empty();
        let needs = if clamped { vec![] } else { self.stays(cure, &stages) };
        let work = self.draft.piece(piece, begun(ix, start_min, needs));
        if stuck {
            self.keep(cure);
        }
        let off = clamped.then(|| self.off_begun(ix, work, off_piece, cure, &stages));
        let came_off = cure.clamps_off_ms.map(|off_ms| minute(off_ms) - start_min);
        let let_go_min = came_off.or_else(|| self.minutes(stages.release()?)).filter(|_| is_done);
        Placed { work: Some(work), off, stages, is_done, let_go_min, skipped: stuck }
    }

    /// The room a cure takes where it lies: a coat until it may leave, a joint until it lets go. Clamps hold it themselves.
    fn stays(&self, cure: &Cure, stages: &Stages) -> Vec<Need> {
        let is_coat = cure.begun.cure_kind == CureKind::Coat;
        let stage = if is_coat { stages.named(&LEAVES) } else { stages.release().filter(|_| !cure.step_done()) };
        let place = self.places.get(self.bench.lies_in(cure)).filter(|_| cure.is_open());
        let Some((resource, stage)) = place.copied().zip(stage) else { return vec![] };
        let Some(tail_min) = self.minutes(stage) else { return vec![] };
        let left = minute(cure.begun.started_at.timestamp_millis()) + tail_min <= self.draft.problem.now_min;
        if left { vec![] } else { vec![Need { resource, count: 1, tail_min }] }
    }

    /// Whether a cure never comes so far in the expected air that the job could go on; then that is said.
    fn never_lets_go(&mut self, job: usize, title: &str, stages: &Stages) -> bool {
        let stage = stages.release().filter(|stage| self.minutes(stage).is_none());
        if let Some(stage) = stage {
            self.draft.never(job, title, &stage.stage);
        }
        stage.is_some()
    }

    fn stages_of(&self, cure: &Cure) -> Stages {
        let times = self.bench.milestones(cure, self.shop.now_ms).into_iter();
        let times: Vec<_> = times.map(|m| [m.earliest_ms, m.likely_ms, m.safe_ms]).collect();
        Stages::of(&cure.begun.milestones, cure.begun.started_at.timestamp_millis(), &times)
    }

    fn planned(&mut self, job: &Job, ix: usize, step: &facts::Step) -> Placed {
        let piece = self.piece(job, step, Part::Step);
        let wanted = want(self.bench, step, piece.zone.as_ref());
        let found = wanted.as_ref().and_then(|want| self.foreseen.iter().find(|(known, _)| known == want));
        if matches!(step.kind, StepKind::GlueUp | StepKind::Coat) && found.is_none() {
            let what = format!(
                "how long \"{}\" of \"{}\" cures is not known (it names no material in force, or its place has no air): no \
                 wait is planned after it",
                step.title, job.opened.title
            );
            self.draft.assumed.insert(what);
        }
        let stages = found.map_or_else(Stages::default, |(_, stages)| stages.clone());
        if self.never_lets_go(ix, &step.title, &stages) {
            return Placed { skipped: true, ..Placed::default() };
        }
        let length_min = i64::from(step.work.minutes(step.kind));
        let mut needs = self.hands(length_min, step.work.people.unwrap_or(1));
        // What a weight or tape holds is said to have no clamps: nobody takes any off.
        let may_clamp = step.kind == StepKind::GlueUp && step.work.clamps != Some(0);
        let clamped = may_clamp && (piece.clamps > 0 || stages.release().is_some());
        if !clamped {
            needs.extend(self.leaving(piece.zone.as_ref(), step.kind, &stages));
        }
        let zone = piece.zone.clone();
        // Spread glue and a wet edge wait for nobody.
        let splits = step.work.may_split && matches!(step.kind, StepKind::HandsOn | StepKind::Check);
        self.look_at_assembly(step, length_min, &stages);
        let planned = Step { job: ix, length_min, needs, splits, begun: None };
        let work = self.draft.piece(piece, planned);
        let off = clamped.then(|| {
            let off = self.clamps_off(ix, self.piece(job, step, Part::ClampsOff));
            self.cure_lag(work, off, stages.release());
            self.hold_clamps(&step.work, work, off);
            if let Some(place) = zone.as_ref().and_then(|zone| self.places.get(zone)).copied() {
                self.hold(place, 1, work, off);
            }
            off
        });
        Placed { work: Some(work), off, stages, ..Placed::default() }
    }

    /// Says of which steps what follows them has begun: perhaps nobody ticked them.
    fn overtaken<'s>(&mut self, job: &Job, by: &facts::Step, open: impl Iterator<Item = &'s facts::Step>) {
        let says = |step: &facts::Step| {
            let (title, job) = (&step.title, &job.opened.title);
            format!("\"{title}\" of \"{job}\" is still to do, though \"{}\" has begun: tick it if it is done", by.title)
        };
        self.draft.assumed.extend(open.filter(|step| step.kind != StepKind::Wait).map(says));
    }

    /// Says where a glue-up takes longer than its open assembly.
    fn look_at_assembly(&mut self, step: &facts::Step, length_min: i64, stages: &Stages) {
        let closes = stages.named(&["assembly_closes"]).and_then(|stage| stage.minutes[0]);
        if let Some(closes) = closes.filter(|closes| *closes < length_min) {
            let after = if closes < 1 { "less than a minute".into() } else { format!("{closes} min") };
            let what = format!(
                "\"{}\" is planned with {length_min} min, and its open assembly may end after {after}: spread last, or in parts",
                step.title
            );
            self.draft.assumed.insert(what);
        }
    }

    /// Says what cures on after the last work of a job: its date has nothing of that.
    fn look_at_end(&mut self, job: &Job) {
        let steps = &job.opened.steps;
        let ends = |i: usize| !(i + 1..steps.len()).any(|later| preds(steps, later).contains(&i));
        let cures = |i: &usize| matches!(steps[*i].kind, StepKind::GlueUp | StepKind::Coat) && ends(*i);
        for step in (0..steps.len()).filter(cures).map(|i| &steps[i]) {
            self.draft.assumed.insert(format!(
                "\"{}\" is the last work and cures on: the date is when it is done, not when it has cured. A step of \
                 waiting after it would be in the date",
                step.title
            ));
        }
    }

    fn hands(&self, length_min: i64, people: u32) -> Vec<Need> {
        let need = Need { resource: self.hands, count: people, tail_min: 0 };
        if length_min > 0 { vec![need] } else { vec![] }
    }

    /// The room work takes where there is only so much: a coat until it may leave, a joint without clamps until it lets go.
    fn leaving(&self, zone: Option<&ZoneId>, kind: StepKind, stages: &Stages) -> Vec<Need> {
        let Some(resource) = zone.and_then(|zone| self.places.get(zone)).copied() else { return vec![] };
        let leaves = match kind {
            StepKind::Wait => return vec![],
            StepKind::Coat => stages.named(&LEAVES),
            StepKind::GlueUp => stages.release(),
            StepKind::HandsOn | StepKind::Check => None,
        };
        let tail_min = leaves.and_then(|stage| self.minutes(stage)).unwrap_or(0).max(0);
        vec![Need { resource, count: 1, tail_min }]
    }

    /// Minutes to a stage at the certainty chosen.
    fn minutes(&self, stage: &Stage) -> Option<i64> {
        stage.minutes[match self.shop.certainty {
            Certainty::Earliest => 0,
            Certainty::Likely => 1,
            Certainty::Safe => 2,
        }]
    }

    /// A wait for a stage of a cure; none where nothing is known of it.
    fn cure_lag(&mut self, from: usize, to: usize, stage: Option<&Stage>) {
        let least_min = stage.and_then(|stage| self.minutes(stage)).unwrap_or(0);
        let spread: Spread = stage.and_then(|stage| Some([stage.minutes[0]?, stage.minutes[1]?, stage.minutes[2]?]));
        self.draft.lag(Lag { from, edge: Edge::End, to, least_min: Some(least_min), most_min: None }, spread);
    }

    /// Ties a step that is not done to those it follows.
    fn tie(&mut self, job: &Job, i: usize, before: &[usize], placed: &mut [Placed]) {
        let steps = &job.opened.steps;
        let Some(work) = placed[i].work else { return };
        let mut waits: Vec<(usize, Option<Stage>, Option<i64>)> = Vec::new();
        for p in before {
            let one = &placed[*p];
            let Some(from) = one.off.or(one.work) else { continue };
            let (stage, closes) = match (steps[*p].kind, one.off) {
                (_, Some(_)) => (None, None),
                (StepKind::GlueUp, None) if one.is_done => (None, None),
                (StepKind::GlueUp, None) => (one.stages.release().cloned(), None),
                (StepKind::Coat, None) if steps[i].kind == StepKind::Coat => {
                    (one.stages.release().cloned(), one.stages.named(&["recoat_closes"]).and_then(|s| s.minutes[0]))
                }
                (StepKind::Coat, None) => (one.stages.named(&["sandable"]).or(one.stages.release()).cloned(), None),
                _ => (None, None),
            };
            let ready = stage.as_ref().and_then(|stage| self.minutes(stage)).or(one.let_go_min).unwrap_or(0);
            let most = steps[i].work.max_wait_before_min.map(|most| ready + i64::from(most));
            waits.push((from, stage, [most, closes].into_iter().flatten().min()));
        }
        if steps[i].kind == StepKind::Wait {
            waits.extend(uncovered(steps, i).filter_map(|k| {
                let covered = placed[k].work.and_then(|work| self.draft.pieces[work].cure.as_ref());
                let covered =
                    covered.and_then(|id| self.bench.cure(id.as_str())).is_some_and(|c| c.covered_ms().is_some());
                Some((placed[k].work?, placed[k].stages.last().filter(|_| !covered)?.clone().into(), None))
            }));
        }
        let never = waits.iter().filter_map(|(_, stage, _)| stage.as_ref()).find(|stage| self.minutes(stage).is_none());
        if let Some(stage) = never {
            let job_ix = self.draft.problem.steps[work].job;
            self.draft.never(job_ix, &steps[i].title, &stage.stage);
            placed[i].skipped = true;
            self.leave_out(work, placed[i].off);
            placed[i].work = None;
            placed[i].off = None;
            return;
        }
        for (from, stage, most_min) in waits {
            self.cure_lag(from, work, stage.as_ref());
            if most_min.is_some() {
                self.draft.lag(Lag { from, edge: Edge::End, to: work, least_min: None, most_min }, None);
            }
        }
    }

    /// Takes back the pieces just made for a step that cannot be planned; they are the last.
    fn leave_out(&mut self, work: usize, off: Option<usize>) {
        let last = off.unwrap_or(work);
        let draft = std::mem::take(&mut self.draft);
        self.draft = draft.without(|piece| piece >= work && piece <= last);
    }
}

fn clamps_off_title(of: &str) -> String {
    format!("Clamps off: {of}")
}

/// What a step follows: as it says, else the one above it.
fn preds(steps: &[facts::Step], i: usize) -> Vec<usize> {
    if steps[i].follows.is_empty() {
        return i.checked_sub(1).into_iter().collect();
    }
    (0..i).filter(|p| steps[i].follows.contains(&steps[*p].id)).collect()
}

/// Cures before a step on which no later coat lies.
fn uncovered(steps: &[facts::Step], i: usize) -> impl Iterator<Item = usize> {
    let cure = |k: &usize| matches!(steps[*k].kind, StepKind::GlueUp | StepKind::Coat);
    let covers = move |k: usize| (k + 1..i).any(|j| steps[j].kind == StepKind::Coat && preds(steps, j).contains(&k));
    (0..i).filter(cure).filter(move |k| steps[*k].kind != StepKind::Coat || !covers(*k))
}
