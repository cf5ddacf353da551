//! The glue-ups and coats of a job as bars over one stretch of time: curing, then from its earliest over its likely to
//! its safe time, with the air of the zone beneath.

use clock::{Bench, Cure, Job};

use super::coming::next_opening;
use crate::{
    alerts::words::{place, spoken},
    chart::PLOT,
    pages::span::{Span, Stretch},
    state::State,
};

/// One glue-up or coat.
pub(in crate::pages) struct Bar {
    pub(in crate::pages) cure: String,
    pub(in crate::pages) what: String,
    /// The times in words: what the bar shows is said too.
    pub(in crate::pages) said: String,
    pub(in crate::pages) stretches: Vec<Stretch>,
}

/// All of a job.
pub(in crate::pages) struct Timeline {
    pub(in crate::pages) bars: Vec<Bar>,
    pub(in crate::pages) now_pct: f64,
    pub(in crate::pages) from: String,
    pub(in crate::pages) to: String,
    /// The zone whose air is shown beneath: that of the last glue-up or coat.
    pub(in crate::pages) zone: String,
    pub(in crate::pages) zone_name: String,
    /// The stretch as the chart is asked for it.
    pub(in crate::pages) from_at: String,
    pub(in crate::pages) to_at: String,
}

const HOUR_MS: i64 = 3_600_000;
/// Furthest a timeline looks back and ahead, ms: a job that rests for weeks would show nothing of today.
const BACK_MS: i64 = 7 * 24 * HOUR_MS;
const AHEAD_MS: i64 = 3 * 24 * HOUR_MS;

/// When a cure began and when its next stage comes, or the one came that let the job go on: earliest, likely, safe.
struct Times {
    start_ms: i64,
    stage: String,
    ages_ms: Option<[i64; 3]>,
}

fn times(bench: &Bench, cure: &Cure, now_ms: i64) -> Option<Times> {
    let next = next_opening(bench, cure, now_ms).filter(|_| cure.is_open());
    let releasing = || bench.milestones(cure, now_ms).into_iter().nth(cure.releasing()?);
    let milestone = next.or_else(releasing)?;
    let ages_ms = || Some([milestone.earliest_ms?, milestone.likely_ms?, milestone.safe_ms?]);
    Some(Times {
        start_ms: cure.begun.started_at.timestamp_millis(),
        stage: spoken(&milestone.target.stage),
        ages_ms: ages_ms(),
    })
}

impl Timeline {
    /// None while nothing has been glued or coated.
    pub(super) fn of(state: &State, bench: &Bench, job: &Job, now_ms: i64) -> Option<Self> {
        let of_job = job.cures.iter().filter_map(|id| bench.cure(id.as_str())).filter(|c| c.withdrawn.is_none());
        let cures: Vec<(&Cure, Times)> = of_job.filter_map(|cure| Some((cure, times(bench, cure, now_ms)?))).collect();
        let last = cures.last().map(|(cure, _)| *cure)?;
        let first_ms = cures.iter().map(|(_, times)| times.start_ms).min()?;
        let latest_ms = cures.iter().filter_map(|(_, times)| times.ages_ms).map(|ages_ms| ages_ms[2]).max();
        let span = Span {
            from_ms: first_ms.max(now_ms - BACK_MS) - HOUR_MS,
            to_ms: latest_ms.unwrap_or(now_ms).clamp(now_ms + 2 * HOUR_MS, now_ms + AHEAD_MS) + HOUR_MS,
            plot: PLOT,
        };
        let zone = bench.cure_line(last, now_ms).zone.to_string();
        Some(Self {
            bars: cures.iter().map(|(cure, times)| bar(state, bench, cure, times, span, now_ms)).collect(),
            now_pct: span.pct(now_ms),
            from: state.clock_text(span.from_ms, now_ms),
            to: state.clock_text(span.to_ms, now_ms),
            zone_name: bench.zone(&zone).map_or_else(String::new, |zone| zone.name.clone()),
            zone,
            // In UTC: a plus sign in an address would be read as a blank.
            from_at: crate::now::instant(span.from_ms).format("%Y-%m-%dT%H:%M:%SZ").to_string(),
            to_at: crate::now::instant(span.to_ms).format("%Y-%m-%dT%H:%M:%SZ").to_string(),
        })
    }
}

fn bar(state: &State, bench: &Bench, cure: &Cure, times: &Times, span: Span, now_ms: i64) -> Bar {
    let text = |at_ms| state.clock_text(at_ms, now_ms);
    let (begun, stage) = (text(times.start_ms), &times.stage);
    let (said, stretches) = match times.ages_ms {
        Some([earliest, likely, safe]) => (
            format!(
                "begun {begun}; {stage}: earliest {}, likely {}, safe {}",
                text(earliest),
                text(likely),
                text(safe)
            ),
            vec![
                span.stretch("cures", times.start_ms, earliest, 0.0),
                span.stretch("may", earliest, likely, 0.0),
                span.stretch("likely", likely, safe, 0.0),
                span.stretch("safe", safe, span.to_ms, 0.0),
            ],
        ),
        None => {
            let end_ms = if cure.is_open() { span.to_ms } else { times.start_ms };
            let said = if cure.is_open() { "not in the air that is expected" } else { "closed before it was told" };
            (format!("begun {begun}; {stage}: {said}"), vec![span.stretch("cures", times.start_ms, end_ms, 0.0)])
        }
    };
    let material = state.material_name(cure);
    Bar { cure: cure.begun.id.to_string(), what: format!("{}, {material}", place(bench, cure)), said, stretches }
}
