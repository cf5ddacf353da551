//! Made-up problems from a seed: whole benches with everything in them, and tiny ones for an exhaustive search.

use bench::draw::Draw;
use planner::{Begun, Calendar, Edge, Hold, Job, Lag, Need, Problem, Resource, Step, Wall};

/// Two to six jobs of two to six steps: hands, booth with flash-off, clamps, windows, splits, things begun, a wall.
pub(super) fn bench(seed: u64) -> Problem {
    let mut draw = Draw::new(seed);
    let hours = |from: i64, to: i64| Calendar::new((0..70).map(|day| (day * 1440 + from, day * 1440 + to)).collect());
    let mut problem = Problem {
        now_min: draw.below(900),
        resources: vec![
            Resource { capacity: 1 + draw.below(2) as u32, hours: Some(hours(540, 1080)) },
            Resource { capacity: 1, hours: Some(hours(600, 960)) },
            Resource { capacity: 6, hours: None },
        ],
        length_cost: draw.below(2),
        ..Problem::default()
    };
    for job in 0..2 + draw.below(5) as usize {
        let due_min = (draw.below(3) > 0).then(|| draw.below(8000));
        problem.jobs.push(Job { release_min: draw.below(2000), due_min, weight: draw.below(4) });
        for k in 0..2 + draw.below(5) {
            add_step(&mut problem, &mut draw, job, k > 0);
        }
    }
    if draw.below(2) == 0 {
        let starts_min = (0..problem.steps.len()).map(|_| (draw.below(3) > 0).then(|| draw.below(6000))).collect();
        problem.wall = Wall {
            starts_min,
            frozen_until_min: draw.below(2000),
            moved_cost: draw.below(300),
            moved_over_min: 5,
            pull_over_min: 60,
        };
    }
    problem
}

fn add_step(problem: &mut Problem, draw: &mut Draw, job: usize, follows: bool) {
    let at = problem.steps.len();
    let coat = draw.below(4) == 0;
    let mut needs = vec![Need { resource: 0, count: 1, tail_min: 0 }];
    if coat {
        needs.push(Need { resource: 1, count: 1, tail_min: 30 });
    }
    let splits = !coat && draw.below(4) == 0;
    let length_min = 5 + draw.below(if splits { 700 } else { 60 });
    let begins = !follows && draw.below(5) == 0;
    let begun = begins.then(|| Begun { start_min: problem.now_min - 50, end_min: problem.now_min + draw.below(30) });
    problem.steps.push(Step { job, length_min, needs, splits, begun });
    if follows {
        let least = draw.below(3) * draw.below(900);
        let most_min = (draw.below(3) == 0).then(|| least + 900 + draw.below(2000));
        let edge = if draw.below(4) == 0 { Edge::Start } else { Edge::End };
        problem.lags.push(Lag { from: at - 1, edge, to: at, least_min: Some(least), most_min });
        if edge == Edge::Start {
            problem.lags.push(Lag { from: at - 1, edge: Edge::End, to: at, least_min: Some(0), most_min: None });
        }
        if draw.below(3) == 0 {
            problem.holds.push(Hold { resource: 2, count: 1 + draw.below(5) as u32, from: at - 1, to: at });
        }
    }
}

/// A shop in the middle of its week: noon breaks and closed days, one to three people and steps for two of them, clamps of a
/// kind, a warm box, waits without hands, forks and joins, tight windows, clamps held over other steps, and jobs that are
/// some way along, with what they hold.
pub(super) fn week(seed: u64) -> Problem {
    let mut draw = Draw::new(seed);
    let hours = |spans: &[(i64, i64)]| {
        let weekdays = (0..84).filter(|day| day % 7 < 5);
        Calendar::new(
            weekdays.flat_map(|day| spans.iter().map(move |(a, b)| (day * 1440 + a, day * 1440 + b))).collect(),
        )
    };
    let people = 1 + draw.below(3) as u32;
    let mut problem = Problem {
        now_min: 540 + draw.below(6000),
        resources: vec![
            Resource { capacity: people, hours: Some(hours(&[(540, 780), (840, 1080)])) },
            Resource { capacity: 1, hours: Some(hours(&[(600, 960)])) },
            Resource { capacity: 8, hours: None },
            Resource { capacity: 3, hours: None },
            Resource { capacity: 2, hours: None },
        ],
        length_cost: 1,
        ..Problem::default()
    };
    for job in 0..3 + draw.below(5) as usize {
        let due_min = (draw.below(4) > 0).then(|| problem.now_min + draw.below(12_000) - 1000);
        problem.jobs.push(Job { release_min: 0, due_min, weight: 10 * draw.below(4) });
        let first = problem.steps.len();
        for _ in 0..2 + draw.below(5) {
            add_to_week(&mut problem, &mut draw, (job, first), people);
        }
        begin_some(&mut problem, &mut draw, first);
    }
    if draw.below(2) == 0 {
        let start = |draw: &mut Draw, now: i64| (draw.below(3) > 0).then(|| now + draw.below(4000));
        let starts_min = (0..problem.steps.len()).map(|_| start(&mut draw, problem.now_min)).collect();
        let frozen_until_min = problem.now_min + draw.below(300);
        problem.wall = Wall { starts_min, frozen_until_min, moved_cost: 300, moved_over_min: 10, pull_over_min: 60 };
    }
    problem
}

/// A piece of work, a coat, a wait, or a glue-up with its clamps off, after one or two steps of its job.
fn add_to_week(problem: &mut Problem, draw: &mut Draw, (job, first): (usize, usize), people: u32) {
    let hand = |count| Need { resource: 0, count, tail_min: 0 };
    let at = problem.steps.len();
    let step = |length_min, needs| Step { job, length_min, needs, ..Step::default() };
    let after =
        (at > first).then(|| if draw.below(3) > 0 { at - 1 } else { first + draw.below((at - first) as i64) as usize });
    let joins = (at > first + 1 && draw.below(4) == 0).then(|| first + draw.below((at - first) as i64) as usize);
    let least = [0, 0, 30, 240, 900][draw.below(5) as usize];
    let most = [None, None, Some(1440), Some(240), Some(60)][draw.below(5) as usize];
    let lag = |from, to, least| Lag { from, edge: Edge::End, to, least_min: Some(least), most_min: None };
    if let Some(from) = after {
        problem.lags.push(Lag { most_min: most.map(|most| least + most), ..lag(from, at, least) });
    }
    problem.lags.extend(joins.filter(|from| Some(*from) != after).map(|from| lag(from, at, 0)));
    match draw.below(6) {
        0 => problem.steps.push(step(0, vec![])),
        1 => {
            let booth = Need { resource: 1, count: 1, tail_min: draw.below(3) * 45 };
            problem.steps.push(step(20, vec![hand(1), booth]));
        }
        2 => problem.steps.push(Step { splits: true, ..step(60 + draw.below(600), vec![hand(1)]) }),
        3 | 4 => {
            let count = 1 + draw.below(i64::from(people.min(2))) as u32;
            problem.steps.push(step(15 + draw.below(40), vec![hand(count)]));
            let between = draw.below(3) == 0;
            if between {
                // Something is done to it while it is in its clamps.
                problem.steps.push(step(10 + draw.below(30), vec![hand(1)]));
                problem.lags.push(lag(at, at + 1, 0));
            }
            let off = problem.steps.len();
            problem.steps.push(step(10, vec![hand(1)]));
            problem.lags.push(lag(at, off, 60 + draw.below(1200)));
            if between {
                problem.lags.push(lag(at + 1, off, 0));
            }
            let (of_kind, boxed) = (draw.below(2) == 0, draw.below(3) == 0);
            let clamps = 1 + draw.below(if of_kind { 3 } else { 6 }) as u32;
            problem.holds.push(Hold { resource: 2, count: clamps, from: at, to: off });
            problem.holds.extend(of_kind.then_some(Hold { resource: 3, count: clamps, from: at, to: off }));
            problem.holds.extend(boxed.then_some(Hold { resource: 4, count: 1, from: at, to: off }));
        }
        _ => {
            let count = 1 + draw.below(i64::from(people.min(2))) as u32;
            problem.steps.push(step(5 + draw.below(115), vec![hand(count)]));
        }
    }
}

/// Some of a job is done already, and perhaps one step of it is under way.
fn begin_some(problem: &mut Problem, draw: &mut Draw, first: usize) {
    let done = if draw.below(2) == 0 { 0 } else { draw.below((problem.steps.len() - first) as i64) };
    for i in first..first + done as usize {
        let last = i + 1 == first + done as usize;
        let start_min = problem.now_min - 30 * (first as i64 + done - i as i64);
        let end_min = if last && draw.below(2) == 0 { problem.now_min + draw.below(60) } else { start_min };
        problem.steps[i].begun = Some(Begun { start_min, end_min: end_min.max(start_min) });
    }
}

/// Four steps of a few minutes in two jobs, hours with a gap, perhaps a window and a hold.
pub(super) fn tiny(seed: u64) -> Problem {
    let mut draw = Draw::new(seed);
    let open = Calendar::new(vec![(0, 5 + draw.below(4)), (10, 18), (21, 60)]);
    let mut problem = Problem {
        resources: vec![
            Resource { capacity: 1, hours: Some(open) },
            Resource { capacity: 1 + draw.below(2) as u32, hours: None },
        ],
        length_cost: 1,
        ..Problem::default()
    };
    for job in 0..2 {
        problem.jobs.push(Job { release_min: 0, due_min: Some(draw.below(20)), weight: 1 + draw.below(3) });
        for _ in 0..2 {
            let needs = vec![Need { resource: 0, count: 1, tail_min: 0 }];
            problem.steps.push(Step { job, length_min: 1 + draw.below(5), needs, ..Step::default() });
        }
        let least = draw.below(5);
        let most_min = (draw.below(2) == 0).then(|| least + draw.below(4));
        let (from, to) = (2 * job, 2 * job + 1);
        problem.lags.push(Lag { from, edge: Edge::End, to, least_min: Some(least), most_min });
        if draw.below(2) == 0 {
            problem.holds.push(Hold { resource: 1, count: 1 + draw.below(2) as u32, from, to });
        }
    }
    problem
}
