//! The chance that a job is done by a date: the bench is planned many times over, each time with other cures and other hands.
//!
//! Each cure takes a time drawn between its earliest and its safe one, read as the 5 %, 50 % and 95 % points of a spread
//! with straight lines between them; each piece of hands-on work takes 0.8, 1 or 1.6 times its minutes at the same points.
//! Cures and pieces are drawn apart from each other. Common practice, no source: it knows nothing of customers at the door,
//! illness or a joint that has to be done again.

use planner::{Edge, Effort, Lag, Problem, Step, solve};

use super::{draft::Draft, hours::ms};
use crate::now::Stopwatch;

/// Most samples.
const SAMPLES: usize = 100;
/// Schedules made for each of them.
const SCHEDULES: u64 = 20;
/// Longest all of them may take; fewer samples are said to be fewer.
const LONGEST: std::time::Duration = std::time::Duration::from_millis(1500);
/// Hands-on work at the 5 %, 50 % and 95 % points, percent of its minutes.
pub(super) const HANDS_PCT: [i64; 3] = [80, 100, 160];

/// When one job was done in each sample, in order; those without a plan are missing at the end.
#[derive(Debug)]
pub(crate) struct Ends {
    ends_ms: Vec<i64>,
    pub(crate) samples: usize,
}

impl Ends {
    /// The date that holds with this chance, ms; none where too few samples were done at all.
    pub(crate) fn date_ms(&self, chance: f64) -> Option<i64> {
        let place = (chance * self.samples as f64).ceil() as usize;
        self.ends_ms.get(place.saturating_sub(1)).copied()
    }

    /// The share of samples done by an instant.
    pub(crate) fn chance_by(&self, due_ms: i64) -> f64 {
        let kept = self.ends_ms.partition_point(|end_ms| *end_ms <= due_ms);
        kept as f64 / self.samples.max(1) as f64
    }
}

/// Plans a draft again and again with other cures and hands; when `job` was done each time.
pub(crate) fn ends(draft: &Draft, job: usize) -> Ends {
    let watch = Stopwatch::started();
    let (mut ends_ms, mut samples) = (Vec::new(), 0);
    for seed in 1..=SAMPLES as u64 {
        if watch.passed() > LONGEST {
            break;
        }
        let drawn = draw(draft, &mut Draw(seed));
        samples += 1;
        let Ok(plan) = solve(&drawn, Effort::schedules(seed, SCHEDULES)) else { continue };
        let of_job = drawn.steps.iter().zip(&plan.slots).filter(|(step, _)| step.job == job);
        ends_ms.extend(of_job.map(|(_, slot)| ms(slot.end_min)).max());
    }
    ends_ms.sort_unstable();
    Ends { ends_ms, samples }
}

/// The problem with a draw of every cure and of every piece of hands-on work.
fn draw(draft: &Draft, chance: &mut Draw) -> Problem {
    let mut problem = draft.problem.clone();
    // All that waits for one cure waits for the same draw of it.
    let cures: Vec<f64> = problem.steps.iter().map(|_| chance.share()).collect();
    for (lag, spread) in problem.lags.iter_mut().zip(&draft.spreads) {
        if let Some(spread) = spread {
            lag.least_min = Some(between(*spread, cures[lag.from]));
        }
    }
    for i in 0..problem.steps.len() {
        let step = &problem.steps[i];
        if step.begun.is_some() {
            continue;
        }
        let usual_min = step.length_min;
        let takes_min = between(HANDS_PCT.map(|pct| usual_min * pct / 100), chance.share());
        let longest = || problem.hours(i)?.open().iter().map(|(from, to)| to - from).max();
        if takes_min > usual_min && !step.splits && longest().is_some_and(|longest| longest < takes_min) {
            run_over(&mut problem, i, takes_min - usual_min);
        } else {
            problem.steps[i].length_min = takes_min;
        }
    }
    problem.wall = planner::Wall::default();
    problem
}

/// Lets a step that no shift is long enough for begin where its usual minutes fit in one, and go on after the break.
fn run_over(problem: &mut Problem, i: usize, more_min: i64) {
    let rest = problem.steps.len();
    problem.steps.push(Step { length_min: more_min, splits: true, ..problem.steps[i].clone() });
    problem.steps[i].needs.iter_mut().for_each(|need| need.tail_min = 0);
    // What waited for its end, or was held until then, waits for the end of the rest.
    for lag in problem.lags.iter_mut().filter(|lag| lag.from == i && lag.edge == Edge::End) {
        lag.from = rest;
    }
    problem.holds.iter_mut().filter(|hold| hold.to == i).for_each(|hold| hold.to = rest);
    problem.lags.push(Lag { from: i, edge: Edge::End, to: rest, least_min: Some(0), most_min: None });
}

/// The value at a share of a spread given at 5, 50 and 95 %.
fn between([low, middle, high]: [i64; 3], share: f64) -> i64 {
    let at = ((share - 0.05) / 0.9).clamp(0.0, 1.0);
    let (from, to, part) = if at < 0.5 { (low, middle, at * 2.0) } else { (middle, high, at * 2.0 - 1.0) };
    from + ((to - from) as f64 * part).round() as i64
}

/// Numbers from a seed: splitmix64 (Steele, Lea & Flood 2014).
struct Draw(u64);

impl Draw {
    fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
}

#[cfg(test)]
mod tests {
    use planner::{Calendar, Need, Resource};

    use super::*;

    #[test]
    fn a_spread_is_met_at_its_points() {
        for (share, value) in [(0.0, 60), (0.05, 60), (0.5, 90), (0.95, 180), (1.0, 180), (0.275, 75)] {
            assert_eq!(between([60, 90, 180], share), value, "{share}");
        }
    }

    #[test]
    fn work_is_begun_only_where_its_usual_minutes_fit_and_then_goes_on_after_the_break() {
        // Open from 9 to 13 and from 14 to 18 h; it is 10:28.
        let hours = (0..5).flat_map(|day| [(540, 780), (840, 1080)].map(|(a, b)| (day * 1440 + a, day * 1440 + b)));
        let mut draft = Draft::default();
        let hands =
            draft.resource("hands".into(), Resource { capacity: 1, hours: Some(Calendar::new(hours.collect())) });
        draft.problem.jobs.push(planner::Job { release_min: 0, due_min: None, weight: 0 });
        let needs = vec![Need { resource: hands, count: 1, tail_min: 0 }];
        draft.problem.steps.push(Step { length_min: 240, needs, ..Step::default() });
        (draft.problem.now_min, draft.problem.length_cost) = (628, 1);
        let ends = ends(&draft, 0);
        let at = |chance| ends.date_ms(chance).map(|at_ms| at_ms / 60_000);
        // Four hours do not fit before noon: from 14:00, by hand 192 minutes at the shortest, 240 as usual, and 384 at the
        // longest, of which 144 are left for the next morning.
        assert!(at(0.01) >= Some(840 + 192) && at(0.4) <= Some(1080), "{ends:?}");
        assert!(at(0.6) > Some(1440 + 540) && at(1.0) <= Some(1440 + 540 + 144), "{ends:?}");
    }

    #[test]
    fn the_date_and_the_chance_are_each_others_inverse() {
        let ends = Ends { ends_ms: (1..=80).map(|i| i * 1000).collect(), samples: 100 };
        assert_eq!(ends.date_ms(0.5), Some(50_000));
        assert!((ends.chance_by(50_000) - 0.5).abs() < 1e-9);
        // Twenty samples had no plan: no date holds with 95 %.
        assert_eq!(ends.date_ms(0.95), None);
        assert!((ends.chance_by(i64::MAX) - 0.8).abs() < 1e-9);
    }

    #[test]
    fn drawn_numbers_are_the_published_ones() {
        // First outputs of splitmix64 for seed 1234567, from the reference program's documentation (from memory).
        let mut draw = Draw(1_234_567);
        let first = (6_457_827_717_110_365_317_u64 >> 11) as f64 / (1u64 << 53) as f64;
        assert!((draw.share() - first).abs() < 1e-15);
    }
}
