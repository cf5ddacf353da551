//! The week of the plan as bars, one for each job: work, waits, windows, and clamps held.

use chrono::{Duration, NaiveTime};

use crate::{
    now::instant,
    pages::span::{Span, Stretch},
    plan::Standing,
    state::State,
    wall,
};

/// One job.
pub(super) struct Bar {
    pub(super) job: String,
    /// What the bar shows, in words.
    pub(super) said: String,
    pub(super) late: String,
    pub(super) stretches: Vec<Stretch>,
}

/// Seven days from this morning on.
pub(super) struct Week {
    pub(super) days: Vec<(f64, String)>,
    pub(super) now_pct: f64,
    pub(super) bars: Vec<Bar>,
}

const DAYS: i64 = 7;
/// A piece of work is never drawn thinner, percent: ten minutes of a week would not be seen.
const THINNEST_PCT: f64 = 0.6;

/// A stretch of the week; none where it lies outside.
fn stretch(span: Span, class: &'static str, from_ms: i64, to_ms: i64) -> Option<Stretch> {
    let least_pct = if class == "work" { THINNEST_PCT } else { 0.0 };
    let shown = to_ms >= span.from_ms && from_ms < span.to_ms;
    shown.then(|| span.stretch(class, from_ms, to_ms, least_pct))
}

impl Week {
    pub(super) fn of(state: &State, standing: &Standing, now_ms: i64) -> Self {
        let today = instant(now_ms).with_timezone(&state.zone).date_naive();
        let midnight = |days: i64| wall::first_ms(state.zone, (today + Duration::days(days)).and_time(NaiveTime::MIN));
        let span = Span { from_ms: midnight(0), to_ms: midnight(DAYS), plot: (0.0, 1.0) };
        let day = |days: i64| (span.pct(midnight(days)), (today + Duration::days(days)).format("%a %-d").to_string());
        let bars = (0..standing.draft.jobs.len()).filter_map(|job| bar(state, standing, job, span, now_ms));
        Self { days: (0..DAYS).map(day).collect(), now_pct: span.pct(now_ms), bars: bars.collect() }
    }
}

fn bar(state: &State, standing: &Standing, job: usize, span: Span, now_ms: i64) -> Option<Bar> {
    let problem = &standing.draft.problem;
    let of_job = |step: usize| problem.steps[step].job == job;
    let mut stretches = Vec::new();
    let times = |step: usize| standing.times_ms(step);
    let holds = problem.holds.iter().filter(|hold| of_job(hold.from));
    stretches.extend(holds.filter_map(|hold| stretch(span, "clamps", times(hold.from).0, times(hold.to).1)));
    let waits = problem.lags.iter().filter(|lag| of_job(lag.from) && lag.least_min.is_some_and(|least| least > 0));
    stretches.extend(waits.filter_map(|lag| {
        let from_ms = times(lag.from).1;
        stretch(span, "wait", from_ms, from_ms + lag.least_min.unwrap_or(0) * 60_000)
    }));
    let windows = problem.lags.iter().filter(|lag| of_job(lag.to));
    stretches.extend(windows.filter_map(|lag| {
        let closes_ms = times(lag.from).1 + lag.most_min? * 60_000;
        stretch(span, "window", times(lag.to).0, closes_ms)
    }));
    let mut said = Vec::new();
    for (i, _) in standing.pieces().filter(|(i, _)| of_job(*i)) {
        let parts = standing.stretches_ms(i).into_iter();
        let shown: Vec<Stretch> = parts.filter_map(|(from, to)| stretch(span, "work", from, to)).collect();
        if !shown.is_empty() {
            stretches.extend(shown);
            said.push(format!("{} {}", state.clock_text(times(i).0, now_ms), standing.draft.pieces[i].title));
        }
    }
    // A job that only cures has no bar; one of which nothing can be planned has.
    if !standing.draft.partly.contains(&job) && !standing.pieces().any(|(i, _)| of_job(i)) {
        return None;
    }
    let due_ms = problem.jobs[job].due_min.map(|at| at * 60_000);
    let (done, late) = match standing.done_ms(job) {
        None => ("not all of it can be planned".to_string(), "not all of it can be planned".to_string()),
        Some(done_ms) => {
            let done = format!("done {}", state.clock_text(done_ms, now_ms));
            let late = due_ms.filter(|due_ms| done_ms > *due_ms);
            let late = late.map(|due_ms| format!("{done}, late: due {}", state.clock_text(due_ms, now_ms)));
            (done, late.unwrap_or_default())
        }
    };
    let said = if said.is_empty() { "nothing this week".into() } else { said.join("; ") };
    let said = format!("{said}; {done}");
    Some(Bar { job: standing.draft.jobs[job].title.clone(), said, late, stretches })
}
