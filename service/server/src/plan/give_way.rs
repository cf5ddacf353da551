//! A plan where there is one, and what had to give way where there is none. The planner never breaks a window; one that
//! cannot be met any more (the shop was closed, the coat is past it) is said with what it misses, and the rest is planned
//! without it. A job for which there is no place at all is said and left out, so that the others keep their plan.

use std::collections::BTreeSet;

use planner::{Edge, Effort, NoPlan, Plan, solve};

use super::draft::{Draft, JobLine, Part, Piece};

/// Something that cannot be, as the plan stands.
#[derive(Debug, Clone)]
pub(crate) struct Cannot {
    pub(crate) kind: Given,
    pub(crate) job: JobLine,
    /// The piece that comes too late or has no place; none where only its title is known.
    pub(crate) piece: Option<Piece>,
    pub(crate) title: String,
    /// What opened the window.
    pub(crate) after: Option<Piece>,
    pub(crate) by_min: Option<i64>,
}

/// What had to give way, and why.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Given {
    /// A window is missed; the step is planned as soon as it can be, without it.
    Window,
    /// Waits and windows of a job contradict each other; its windows are left out.
    Contradiction,
    /// No shift is long enough, or the hours laid out end too soon; its job is left out.
    Hours,
    /// More of this is asked than there is; its job is left out.
    Capacity(String),
    /// What it needs is taken for good by what has begun; its job is left out.
    Taken,
    /// The expected air never brings this stage; what waits for it is left out.
    Never(String),
}

/// Plans, giving way one thing at a time.
///
/// # Errors
/// When the problem was not put well, which is a fault of this room.
pub(crate) fn settle(mut draft: Draft, effort: Effort<'_>) -> Result<(Draft, Plan, Vec<Cannot>), NoPlan> {
    let mut cannot: Vec<Cannot> = never(&draft);
    let (mut emptied, mut opened) = (BTreeSet::new(), Vec::new());
    loop {
        let missed = match solve(&draft.problem, effort) {
            Ok(plan) => {
                keep(&mut draft, &plan, &mut cannot, &opened);
                return Ok((draft, plan, cannot));
            }
            Err(NoPlan::Flawed(flaw)) => return Err(NoPlan::Flawed(flaw)),
            Err(missed) => missed,
        };
        draft = match missed {
            NoPlan::Window { from, to, by_min } => {
                cannot.push(said(&draft, Given::Window, to, Some(from), Some(by_min)));
                let windows = draft.problem.lags.iter().filter(|lag| lag.from == from && lag.to == to);
                opened.extend(windows.filter_map(|lag| Some((lag.edge, lag.most_min?, cannot.last()?.clone()))));
                open(draft, &mut emptied, to, |lag| lag.to == to && lag.from == from)
            }
            NoPlan::Contradiction { steps, by_min } => {
                let first = steps.first().copied().unwrap_or(0);
                cannot.push(said(&draft, Given::Contradiction, first, None, Some(by_min)));
                open(draft, &mut emptied, first, |lag| steps.contains(&lag.from) && steps.contains(&lag.to))
            }
            NoPlan::Hours { step } => {
                cannot.push(said(&draft, Given::Hours, step, None, None));
                leave_out(draft, &mut emptied, step)
            }
            NoPlan::Capacity { step, resource } => {
                let what = Given::Capacity(draft.resources[resource].clone());
                cannot.push(said(&draft, what, step, None, None));
                leave_out(draft, &mut emptied, step)
            }
            NoPlan::Taken { step } => {
                cannot.push(said(&draft, Given::Taken, step, None, None));
                leave_out(draft, &mut emptied, step)
            }
            NoPlan::Flawed(flaw) => return Err(NoPlan::Flawed(flaw)),
        };
    }
}

fn never(draft: &Draft) -> Vec<Cannot> {
    let of_step = |(job, title, stage): &(usize, String, String)| Cannot {
        kind: Given::Never(stage.clone()),
        job: draft.jobs[*job].clone(),
        piece: None,
        title: title.clone(),
        after: None,
        by_min: None,
    };
    draft.never.iter().map(of_step).collect()
}

fn said(draft: &Draft, kind: Given, step: usize, after: Option<usize>, by_min: Option<i64>) -> Cannot {
    Cannot {
        kind,
        job: draft.jobs[draft.problem.steps[step].job].clone(),
        piece: Some(draft.pieces[step].clone()),
        title: draft.pieces[step].title.clone(),
        after: after.map(|after| draft.pieces[after].clone()),
        by_min,
    }
}

/// Keeps the windows after all that the plan keeps without being asked: what stood in their way was another.
fn keep(draft: &mut Draft, plan: &Plan, cannot: &mut Vec<Cannot>, opened: &[(Edge, i64, Cannot)]) {
    let key = |piece: &Option<Piece>| piece.as_ref().map(|piece| piece.key.clone());
    for (edge, most_min, missed) in opened {
        let place = |of| draft.pieces.iter().position(|piece| Some(&piece.key) == key(of).as_ref());
        let (Some(from), Some(to)) = (place(&missed.after), place(&missed.piece)) else { continue };
        let slot = plan.slots[from];
        let opens = edge.of(slot.start_min, slot.end_min);
        if plan.slots[to].start_min - opens > *most_min {
            continue;
        }
        let lags = draft.problem.lags.iter_mut().filter(|lag| lag.from == from && lag.to == to && lag.edge == *edge);
        if let Some(lag) = { lags }.find(|lag| lag.least_min.is_none() && lag.most_min.is_none()) {
            lag.most_min = Some(*most_min);
            cannot.retain(|one| {
                one.kind != Given::Window
                    || key(&one.piece) != key(&missed.piece)
                    || key(&one.after) != key(&missed.after)
            });
        }
    }
}

/// Leaves the windows out that were named; the job if there are none, so that the planning ends whatever it is told.
fn open(mut draft: Draft, emptied: &mut BTreeSet<usize>, step: usize, named: impl Fn(&planner::Lag) -> bool) -> Draft {
    let windows = draft.problem.lags.iter_mut().filter(|lag| lag.most_min.is_some() && named(lag));
    if windows.map(|lag| lag.most_min = None).count() > 0 {
        return draft;
    }
    leave_out(draft, emptied, step)
}

/// Leaves out what has not begun of a step's job; what clamps it holds are still taken off. If that was done before, all
/// of it goes.
fn leave_out(mut draft: Draft, emptied: &mut BTreeSet<usize>, step: usize) -> Draft {
    let job = draft.problem.steps[step].job;
    draft.partly.insert(job);
    let all = !emptied.insert(job);
    let began = |step: usize| draft.problem.steps[step].begun.is_some();
    let frees = |off: usize| draft.problem.holds.iter().any(|hold| hold.to == off && began(hold.from));
    let stays: BTreeSet<usize> = (0..draft.pieces.len())
        .filter(|i| {
            draft.problem.steps[*i].job != job
                || !all && (began(*i) || draft.pieces[*i].part == Part::ClampsOff && frees(*i))
        })
        .collect();
    draft.without(|i| !stays.contains(&i))
}
