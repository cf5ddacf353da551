//! A problem for the planner beside what its numbers stand for: which piece of work each step is, which job, which resource.

use std::collections::BTreeSet;

use facts::{CureId, JobId, StepId, StepKind, ZoneId};
use planner::{Begun, Hold, Lag, Need, Problem, Resource, Step};

/// Which part of a step of a job a piece of work is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Part {
    /// The step itself.
    Step,
    /// Taking its clamps off again.
    ClampsOff,
}

/// One piece of work: what one step of the problem stands for.
#[derive(Debug, Clone)]
pub(crate) struct Piece {
    /// The same on every plan, so that one can be held against the one before.
    pub(crate) key: String,
    pub(crate) part: Part,
    pub(crate) step: Option<StepId>,
    pub(crate) cure: Option<CureId>,
    pub(crate) kind: StepKind,
    pub(crate) title: String,
    pub(crate) zone: Option<ZoneId>,
    /// Clamps it puts on or takes off.
    pub(crate) clamps: u32,
    /// Whether it should be under way by the plan before; nobody has said so.
    pub(crate) under_way: bool,
}

/// What a job of the problem stands for.
#[derive(Debug, Clone)]
pub(crate) struct JobLine {
    /// None for a cure that belongs to no open job.
    pub(crate) id: Option<JobId>,
    pub(crate) title: String,
    pub(crate) instrument: String,
}

/// The earliest, likely and safe minutes of a wait, if it is a cure's.
pub(crate) type Spread = Option<[i64; 3]>;

/// A problem and what it stands for; each list goes with the one of the problem beside it.
#[derive(Debug, Clone, Default)]
pub(crate) struct Draft {
    pub(crate) problem: Problem,
    pub(crate) pieces: Vec<Piece>,
    pub(crate) jobs: Vec<JobLine>,
    pub(crate) resources: Vec<String>,
    pub(crate) spreads: Vec<Spread>,
    /// What had to be taken for granted, in sentences.
    pub(crate) assumed: BTreeSet<String>,
    /// Steps of jobs that cannot be planned at all, with what stands against them.
    pub(crate) never: Vec<(usize, String, String)>,
    /// Jobs of which something is not planned: nobody can say when they are done.
    pub(crate) partly: BTreeSet<usize>,
}

impl Draft {
    pub(crate) fn resource(&mut self, name: String, resource: Resource) -> usize {
        self.resources.push(name);
        self.problem.resources.push(resource);
        self.resources.len() - 1
    }

    pub(crate) fn piece(&mut self, piece: Piece, step: Step) -> usize {
        self.pieces.push(piece);
        self.problem.steps.push(step);
        self.pieces.len() - 1
    }

    /// Says that a step of a job hangs on a stage that never comes.
    pub(crate) fn never(&mut self, job: usize, title: &str, stage: &str) {
        self.partly.insert(job);
        self.never.push((job, title.into(), stage.into()));
    }

    pub(crate) fn lag(&mut self, lag: Lag, spread: Spread) {
        self.problem.lags.push(lag);
        self.spreads.push(spread);
    }

    /// The same without some of its steps.
    pub(crate) fn without(mut self, out: impl Fn(usize) -> bool) -> Self {
        let mut place = vec![None; self.pieces.len()];
        let mut kept = 0;
        for (i, place) in place.iter_mut().enumerate() {
            if !out(i) {
                *place = Some(kept);
                kept += 1;
            }
        }
        let keeps = |i: usize| place[i].is_some();
        let mut at = 0..;
        self.pieces.retain(|_| keeps(at.next().unwrap_or_default()));
        let mut at = 0..;
        self.problem.steps.retain(|_| keeps(at.next().unwrap_or_default()));
        let mut at = 0..;
        self.problem.wall.starts_min.retain(|_| keeps(at.next().unwrap_or_default()));
        let lags = self.problem.lags.into_iter().zip(self.spreads);
        let lag =
            |(lag, spread): (Lag, Spread)| Some((Lag { from: place[lag.from]?, to: place[lag.to]?, ..lag }, spread));
        (self.problem.lags, self.spreads) = lags.filter_map(lag).unzip();
        let hold = |hold: Hold| Some(Hold { from: place[hold.from]?, to: place[hold.to]?, ..hold });
        self.problem.holds = self.problem.holds.into_iter().filter_map(hold).collect();
        self
    }
}

/// What a piece that is over or under way stands as: it takes nobody's hands any more.
pub(crate) fn begun(job: usize, at_min: i64, needs: Vec<Need>) -> Step {
    Step { job, needs, begun: Some(Begun { start_min: at_min, end_min: at_min }), ..Step::default() }
}
