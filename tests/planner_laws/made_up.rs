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
        problem.wall =
            Wall { starts_min, frozen_until_min: draw.below(2000), moved_cost: draw.below(300), moved_over_min: 5 };
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
